"""What the cells of one pool show, in one pass over its window each."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf


@compiled
def count_labels(labels, water, corridor, road, dug, counts):
    """Add the cells of each label to its row of counts, and how many are water, have a road bit, have no dug bit.

    Parameters
    ----------
    labels : int32 (h, w)
        -1 for none.
    water : bool (h, w)
    corridor : uint8 (h, w)
    road, dug : int
        Bits.
    counts : int64 (labels, 4)
        In place. A pool has labels that follow each other, so sums up to each of them tell all pools.
    """
    for r in range(labels.shape[0]):
        for c in range(labels.shape[1]):
            k = labels[r, c]
            if k >= 0:
                counts[k, 0] += 1
                counts[k, 1] += water[r, c]
                counts[k, 2] += corridor[r, c] & road != 0
                counts[k, 3] += corridor[r, c] & dug == 0


@compiled
def pool_heights(labels, first, last, ground, corridor, dug, n):
    """Heights of the cells of a pool without a dug bit (0 for all cells), and the place of the lowest.

    Parameters
    ----------
    labels : int32 (h, w)
        The pool's window.
    first, last : int
        Its labels.
    corridor : uint8 (h, w)
    ground : float32 (h, w)
        [m].
    dug : int
        Bits.
    n : int
        How many cells that are.

    Returns
    -------
    heights : float32 (n,)
    at : int
        row * w + col of the lowest, the first of equals.
    """
    heights = np.empty(n, ground.dtype)
    at = 0
    k = 0
    for r in range(labels.shape[0]):
        for c in range(labels.shape[1]):
            if first <= labels[r, c] <= last and not corridor[r, c] & dug:
                heights[k] = ground[r, c]
                if k == 0 or ground[r, c] < ground[at // labels.shape[1], at % labels.shape[1]]:
                    at = r * labels.shape[1] + c
                k += 1
    return heights, at


@compiled
def rises(ground, away, steps, corridor, dug):
    """Differences of the ground across the undug cells along a shore, along rows and along columns.

    Parameters
    ----------
    ground : float32 (h, w)
        [m]; beyond it the ground goes on level.
    away : int32 (h, w)
        Steps to the shore, 0 outside the pool.
    steps : int
        Cells so near to the shore count.
    corridor : uint8 (h, w)
    dug : int
        Bits of cells that do not.

    Returns
    -------
    d_row, d_col : float32 (n,)
        Of the two neighbours on both sides [m].
    """
    rows, cols = away.shape
    n = 0
    for r in range(rows):
        for c in range(cols):
            n += (away[r, c] > 0) & (away[r, c] <= steps) & (corridor[r, c] & dug == 0)
    d_row = np.empty(n, ground.dtype)
    d_col = np.empty(n, ground.dtype)
    k = 0
    for r in range(rows):
        for c in range(cols):
            if 0 < away[r, c] <= steps and corridor[r, c] & dug == 0:
                d_row[k] = ground[min(r + 1, rows - 1), c] - ground[max(r - 1, 0), c]
                d_col[k] = ground[r, min(c + 1, cols - 1)] - ground[r, max(c - 1, 0)]
                k += 1
    return d_row, d_col


@leaf
def _known(ground, row, col):
    """Height of a cell, NaN outside [m]."""
    inside = 0 <= row < ground.shape[0] and 0 <= col < ground.shape[1]
    return np.float64(ground[row, col]) if inside else np.nan


@compiled
def third_differences(ground, rows, cols, steps):
    """Median over directions of the third difference of the ground at cells.

    Parameters
    ----------
    ground : float32 (rows, cols)
        [m].
    rows, cols : int64 (n,)
    steps : int64 (4, 2)
        Row and column from one of the four places of a difference to the next, for each direction.

    Returns
    -------
    float64 (n,)
        [m]; NaN where one of the places is unknown or outside.
    """
    height, width = ground.shape
    out = np.empty(rows.size)
    seen = np.empty(4)
    reach = 0
    for k in range(4):
        reach = max(reach, 2 * abs(steps[k, 0]), 2 * abs(steps[k, 1]))
    for i in range(rows.size):
        r, c = rows[i], cols[i]
        inside = reach <= r < height - reach and reach <= c < width - reach
        for k in range(4):
            d_row, d_col = steps[k, 0], steps[k, 1]
            if inside:
                a, b = np.float64(ground[r - d_row, c - d_col]), np.float64(ground[r, c])
                e, f = np.float64(ground[r + d_row, c + d_col]), np.float64(ground[r + 2 * d_row, c + 2 * d_col])
            else:
                a, b = _known(ground, r - d_row, c - d_col), _known(ground, r, c)
                e, f = _known(ground, r + d_row, c + d_col), _known(ground, r + 2 * d_row, c + 2 * d_col)
            seen[k] = abs(a - 3.0 * b + 3.0 * e - f)
        # the two in the middle, without a guess at which they are
        low = max(min(seen[0], seen[1]), min(seen[2], seen[3]))
        high = min(max(seen[0], seen[1]), max(seen[2], seen[3]))
        unknown = np.isnan(seen[0]) or np.isnan(seen[1]) or np.isnan(seen[2]) or np.isnan(seen[3])
        out[i] = np.nan if unknown else 0.5 * (low + high)
    return out


@compiled
def spread_pool(pool, catchment, natural, level, steps):
    """A pool at a level a little above its own: it may spread over lower ground of its catchment, islands left out.

    Parameters
    ----------
    pool, catchment : bool (h, w)
    natural : float32 (h, w)
        [m].
    level : float32
        [m].
    steps : int
        To 8 neighbours, this far at most [cells].

    Returns
    -------
    bool (h, w)
        With the holes that it encloses, where they lie lower than the level.
    """
    h, w = pool.shape
    out = pool.copy()
    here = np.empty(h * w, np.int64)
    n = 0
    for i in range(h):
        for j in range(w):
            if pool[i, j]:
                here[n] = i * w + j
                n += 1
    begin = 0
    for _ in range(steps):
        end = n
        for k in range(begin, end):
            r, c = here[k] // w, here[k] % w
            for i in range(max(0, r - 1), min(h, r + 2)):
                for j in range(max(0, c - 1), min(w, c + 2)):
                    if not out[i, j] and catchment[i, j] and natural[i, j] < level:
                        out[i, j] = True
                        here[n] = i * w + j
                        n += 1
        begin = end
    # what is dry and hangs together with the window's edge by sides is no hole
    outside = np.zeros((h, w), np.bool_)
    n = 0
    for i in range(h):
        for j in range(w):
            if (i in (0, h - 1) or j in (0, w - 1)) and not out[i, j]:
                outside[i, j] = True
                here[n] = i * w + j
                n += 1
    while n > 0:
        n -= 1
        r, c = here[n] // w, here[n] % w
        for k in range(4):
            i = r + (1 if k == 0 else -1 if k == 1 else 0)
            j = c + (1 if k == 2 else -1 if k == 3 else 0)
            if 0 <= i < h and 0 <= j < w and not out[i, j] and not outside[i, j]:
                outside[i, j] = True
                here[n] = i * w + j
                n += 1
    for i in range(h):
        for j in range(w):
            if not outside[i, j] and natural[i, j] < level:
                out[i, j] = True
    return out


@compiled
def count_beside(cells, near):
    """How many of some cells (h, w) bool lie on or beside (8 neighbours) cells of another mask."""
    h, w = cells.shape
    n = 0
    for i in range(h):
        for j in range(w):
            beside = False
            for y in range(max(0, i - 1), min(h, i + 2) if cells[i, j] else 0):
                for x in range(max(0, j - 1), min(w, j + 2)):
                    beside |= near[y, x]
            n += 1 if beside else 0
    return n
