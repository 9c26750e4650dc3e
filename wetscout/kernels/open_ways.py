"""Stations of ditches in and beside pools, and where boxes meet; to the bit what `tests/naive_open_ways.py` gives."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.along import middle
from wetscout.kernels.compiled import compiled, leaf


@leaf
def _inside(mask, row0, col0, row, col):
    """Whether the cell of a place is set in a window whose corner is (row0, col0)."""
    r, c = int(np.floor(row + 0.5)) - row0, int(np.floor(col + 0.5)) - col0
    return 0 <= r < mask.shape[0] and 0 <= c < mask.shape[1] and mask[r, c]


@compiled
def inside(mask, row0, col0, row, col):
    """Which places lie on set cells of a window.

    Parameters
    ----------
    mask : bool (h, w)
    row0, col0 : int
        Place of the window [cells].
    row, col : float64 (n,)
        [cells]

    Returns
    -------
    bool (n,)
    """
    out = np.empty(row.size, np.bool_)
    for i in range(row.size):
        out[i] = _inside(mask, row0, col0, row[i], col[i])
    return out


@compiled
def last_inside(mask, row0, col0, row, col):
    """The last place of a line on a set cell, as in `inside`; -1 where there is none."""
    for i in range(row.size - 1, -1, -1):
        if _inside(mask, row0, col0, row[i], col[i]):
            return i
    return -1


@compiled
def parted(mask, row0, col0, stations):
    """Stations (3, n) of row, column and bed: those on set cells of a window and the others, each (3, m)."""
    n = stations.shape[1]
    here = np.empty(n, np.bool_)
    count = 0
    for i in range(n):
        here[i] = _inside(mask, row0, col0, stations[0, i], stations[1, i])
        count += here[i]
    own, rest = np.empty((3, count)), np.empty((3, n - count))
    a, b = 0, 0
    for i in range(n):
        for k in range(3):
            if here[i]:
                own[k, a] = stations[k, i]
            else:
                rest[k, b] = stations[k, i]
        a += here[i]
        b += not here[i]
    return own, rest


@compiled
def shown_at(shown, row, col):
    """How deep a cut shows at the cells of places, the nearest cell of the raster beyond its edge.

    Parameters
    ----------
    shown : float32 (rows, cols)
        [m]
    row, col : float64 (n,)
        [cells]

    Returns
    -------
    float64 (n,)
        [m]
    """
    out = np.empty(row.size)
    for i in range(row.size):
        r = min(max(int(np.floor(row[i] + 0.5)), 0), shown.shape[0] - 1)
        c = min(max(int(np.floor(col[i] + 0.5)), 0), shown.shape[1] - 1)
        out[i] = shown[r, c]
    return out


@compiled
def full_depth(shown, row, col, share):
    """First and last place of a line that shows by this share of its median depth; (0, -1) where none does."""
    deep = shown_at(shown, row, col)
    least = share * middle(deep)
    first, last = 0, -1
    for i in range(deep.size):
        if deep[i] >= least:
            first = i if last < 0 else first
            last = i
    return first, last


@compiled
def meeting(boxes, row0, row1, col0, col1):
    """Numbers of boxes that meet one window.

    Parameters
    ----------
    boxes : float64 (n, 4)
        First and last row, first and last column.
    row0, row1, col0, col1 : float
        The window, its ends included.

    Returns
    -------
    int64 (m,)
        In order.
    """
    out = np.empty(boxes.shape[0], np.int64)
    n = 0
    for k in range(out.size):
        if boxes[k, 1] >= row0 and boxes[k, 0] <= row1 and boxes[k, 3] >= col0 and boxes[k, 2] <= col1:
            out[n] = k
            n += 1
    return out[:n].copy()


@compiled
def near_window(places, row0, col0, rows, cols, margin, closed):
    """Places in a window or beside it: only these of a county's are looked at.

    Parameters
    ----------
    places : float64 (n, 2)
        Row, column [cells].
    row0, col0, rows, cols : int
        Corner and size of the window [cells].
    margin : float
        How far beside it [cells].
    closed : bool
        Whether just so far counts.

    Returns
    -------
    int64 (m,)
        Their numbers, in order.
    """
    out = np.empty(places.shape[0], np.int64)
    n = 0
    for k in range(out.size):
        r, c = places[k, 0] - row0, places[k, 1] - col0
        if closed:
            near = r >= -margin and c >= -margin and r <= rows + margin and c <= cols + margin
        else:
            near = r > -margin and c > -margin and r < rows + margin and c < cols + margin
        if near:
            out[n] = k
            n += 1
    return out[:n].copy()
