"""Places of a shore counted across lines of many directions."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled


@compiled
def straightest(rows, cols, turns, cell_m, bin_m):
    """Most places within three bins across a line, over all directions, divided by the larger of |cosine| and |sine|.

    Parameters
    ----------
    rows, cols : float64 (n,)
        Places [cells]; at least one.
    turns : (float64 (m,), float64 (m,))
        Cosine and sine of the directions across.
    cell_m, bin_m : float
        [m].

    Returns
    -------
    float
        Cells that touch at corners stand up to 1.4 sizes apart along a line, hence the division.
    """
    at = np.empty(rows.size, np.int64)
    counts = np.zeros(64, np.int64)
    most = 0.0
    for t in range(turns[0].size):
        cos, sin = turns[0][t], turns[1][t]
        low, high = np.int64(1) << 62, -(np.int64(1) << 62)
        for i in range(rows.size):
            at[i] = np.int64(np.rint((rows[i] * cos + cols[i] * sin) * cell_m / bin_m))
            low = min(low, at[i])
            high = max(high, at[i])
        n = high - low + 1
        if n + 2 > counts.size:
            counts = np.zeros(2 * n + 2, np.int64)
        counts[: n + 2] = 0
        for i in range(rows.size):
            counts[at[i] - low] += 1
        best = 0
        for k in range(n):
            best = max(best, counts[k] + counts[k + 1] + counts[k + 2])
        most = max(most, best / max(abs(cos), abs(sin)))
    return most


@compiled
def _two_lines(off, bin_m, apart, counts):
    """Places on the line that holds most, and on another one more than `apart` bins from it; counts may have grown."""
    low, high = np.inf, -np.inf
    for i in range(off.size):
        low = min(low, off[i])
        high = max(high, off[i])
    n = np.int64((high - low) / bin_m) + 1
    if n + 4 > counts.size:
        counts = np.zeros(2 * n + 4, np.int64)
    counts[: n + 4] = 0
    for i in range(off.size):
        counts[np.int64((off[i] - low) / bin_m) + 2] += 1
    first = np.int64(0)
    most = np.int64(-1)
    for k in range(n + 2):
        on = counts[k] + counts[k + 1] + counts[k + 2]
        if on > most:
            most = on
            first = np.int64(k)
    other = np.int64(0)
    for k in range(n + 2):
        if abs(k - first) > apart:
            other = max(other, counts[k] + counts[k + 1] + counts[k + 2])
    return most + other, counts


@compiled
def four_sides(rows, cols, turns, bin_m, apart):
    """Most places within three bins across two pairs of lines square to each other, over all directions.

    Parameters
    ----------
    rows, cols : float64 (n,)
        Places [m]; at least one.
    turns : (float64 (m,), float64 (m,))
        Cosine and sine of the directions.
    bin_m : float
        [m].
    apart : int
        The lines of a pair are more than so many bins apart.

    Returns
    -------
    int
        Places on lines that cross count twice.
    """
    counts = np.zeros(64, np.int64)
    across = np.empty(rows.size)
    along = np.empty(rows.size)
    best = np.int64(0)
    for t in range(turns[0].size):
        cos, sin = turns[0][t], turns[1][t]
        for i in range(rows.size):
            across[i] = cols[i] * cos + rows[i] * sin
            along[i] = rows[i] * cos - cols[i] * sin
        one, counts = _two_lines(across, bin_m, apart, counts)
        other, counts = _two_lines(along, bin_m, apart, counts)
        best = max(best, one + other)
    return best


@compiled
def outer_shore(mask):
    """Cells of a pool with its islands that have a side towards the ground around it.

    Parameters
    ----------
    mask : bool (h, w)
        The pool. What is dry and hangs together with the window's margin by sides is no island.

    Returns
    -------
    rows, cols : float64 (n,)
        Counted from a margin of one cell around the window; in no order.
    """
    h, w = mask.shape
    wide = w + 2
    # 0 not come to, 1 outside, 2 shore; the margin is outside
    state = np.zeros((h + 2) * wide, np.uint8)
    todo = np.empty((h + 2) * wide, np.int64)
    shore = np.empty(h * w, np.int64)
    state[0] = 1
    todo[0] = 0
    n = 1
    k = 0
    while n > 0:
        n -= 1
        here = todo[n]
        r, c = here // wide, here % wide
        for side in range(4):
            i = r + (1 if side == 0 else -1 if side == 1 else 0)
            j = c + (1 if side == 2 else -1 if side == 3 else 0)
            if i < 0 or j < 0 or i > h + 1 or j > w + 1:
                continue
            at = i * wide + j
            if state[at]:
                continue
            if 0 < i <= h and 0 < j <= w and mask[i - 1, j - 1]:
                state[at] = 2
                shore[k] = at
                k += 1
            else:
                state[at] = 1
                todo[n] = at
                n += 1
    rows, cols = np.empty(k), np.empty(k)
    for i in range(k):
        rows[i] = shore[i] // wide
        cols[i] = shore[i] % wide
    return rows, cols
