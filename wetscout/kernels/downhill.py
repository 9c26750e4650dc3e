"""The way water takes over a surface without depressions."""

from __future__ import annotations

import numpy as np
from numba import njit, typed, types


@njit(nogil=True, cache=True)
def _lowest_beside(z, r, c):
    """Lowest of the eight neighbours, the first in row, col order of equals; `out` where one is unknown or missing."""
    rows, cols = z.shape
    best = np.float64(z[r, c])
    to = np.int64(-1)
    for dr in range(-1, 2):
        for dc in range(-1, 2):
            rr = r + dr
            cc = c + dc
            if rr < 0 or cc < 0 or rr >= rows or cc >= cols or z[rr, cc] != z[rr, cc]:
                return np.int64(-1), True
            if np.float64(z[rr, cc]) < best:
                best = np.float64(z[rr, cc])
                to = rr * cols + cc
    return to, False


@njit(nogil=True, cache=True)
def _over_flat(z, start):
    """Shortest way over level ground to a cell from which water leaves it, the first found of equals."""
    cols = z.shape[1]
    came = typed.Dict.empty(key_type=types.int64, value_type=types.int64)
    came[start] = np.int64(-1)
    queue = [start]
    level = z[start // cols, start % cols]
    head = 0
    at = start
    while head < len(queue):
        at = queue[head]
        head += 1
        r = at // cols
        c = at - r * cols
        to, out = _lowest_beside(z, r, c)
        if to >= 0 or out:
            break
        for dr in range(-1, 2):
            for dc in range(-1, 2):
                to = (r + dr) * cols + c + dc
                if z[r + dr, c + dc] == level and to not in came:
                    came[to] = at
                    queue.append(to)
    way = [at]
    while came[at] >= 0:
        at = came[at]
        way.append(at)
    return way


@njit(nogil=True, cache=True)
def follow_down(z, row, col, most):
    """Cells that water passes from a place, to the border, unknown ground or `most` cells.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground with depressions raised to their spill levels [m]; NaN is outside.
    row, col : int
        Where it begins.
    most : int
        Cells at most.

    Returns
    -------
    int64 (n,)
        row * cols + col of the cells, the first one included. On level ground the shortest way is taken.
    """
    cols = z.shape[1]
    at = np.int64(row) * cols + np.int64(col)
    out = [at]
    while len(out) < most:
        to, leaves = _lowest_beside(z, at // cols, at % cols)
        if leaves or z[at // cols, at % cols] != z[at // cols, at % cols]:
            break
        if to >= 0:
            out.append(to)
            at = to
            continue
        way = _over_flat(z, at)
        if len(way) == 1:
            break
        for k in range(len(way) - 2, -1, -1):
            out.append(way[k])
        at = out[-1]
    n = min(len(out), most)
    cells = np.empty(n, dtype=np.int64)
    for k in range(n):
        cells[k] = out[k]
    return cells
