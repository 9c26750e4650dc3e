"""Depth of a cell below both sides of a strip, direction by direction.

The stencils (which cells, which weights) come from `wetscout.linework.stencils`; the kernels only add up.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from wetscout.kernels.leaf import leaf

# where the best even direction answers less than this share of the depth wanted, its neighbours do not reach it either
EVEN_SHARE = 0.65


@njit(nogil=True, cache=True)
def box_mean(z, k):
    """Mean of the k x k cells around each cell, no-data left out.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where there is none.
    k : int
        Odd box width [cells].

    Returns
    -------
    float32 (rows, cols)
        NaN where the cell itself has no ground. Added up in row, column order in float64, so that the value does not
        depend on where a tile begins.
    """
    rows, cols = z.shape
    h = k // 2
    out = np.empty_like(z)
    total = np.empty(cols)
    n = np.empty(cols)
    for r in range(rows):
        # a row at a time: each cell still adds up its box in the same order, and the processor does several at once
        total[:] = 0.0
        n[:] = 0.0
        for i in range(max(0, r - h), min(rows, r + h + 1)):
            for j in range(-h, h + 1):
                for c in range(max(0, -j), min(cols, cols - j)):
                    v = z[i, c + j]
                    known = v == v
                    total[c] += np.float64(v) if known else 0.0
                    n[c] += 1.0 if known else 0.0
        for c in range(cols):
            out[r, c] = np.nan if np.isnan(z[r, c]) else total[c] / n[c]
    return out


@leaf
def stencil_mean(flat, at, offset, w, whole, first, last, least):
    """Weighted mean of the ground under one stencil placed at a cell.

    Parameters
    ----------
    flat : float32 (n,)
        Smoothed ground [m] with a margin of NaN all round, row by row.
    at : int
        Place of the cell in `flat`.
    offset, w : int64, float64 (m,)
        Places relative to the cell and weights of all stencils, one after the other.
    whole : float
        Sum of the weights of this stencil.
    first, last : int
        Part of the list that belongs to this stencil.
    least : float
        Share of the weight that must lie on ground.

    Returns
    -------
    float
        NaN when too much of the stencil lies off the ground.
    """
    total = 0.0
    for i in range(first, last):
        total += w[i] * flat[at + offset[i]]
    if not np.isnan(total):
        return total / whole
    # only near holes and edges: the same sum over what is ground
    total = 0.0
    weight = 0.0
    for i in range(first, last):
        v = flat[at + offset[i]]
        if not np.isnan(v):
            total += w[i] * v
            weight += w[i]
    if weight < least * whole or weight == 0.0:
        return np.nan
    return total / weight


@njit(nogil=True, cache=True)
def _sums(w, start):
    """Sum of the weights of each stencil."""
    whole = np.zeros(start.size - 1)
    for k in range(whole.size):
        for i in range(start[k], start[k + 1]):
            whole[k] += w[i]
    return whole


@leaf
def lower_side(flat, at, offset, w, whole, start, base, bed, least, wanted):
    """Lower of the two sides minus the bed, or -1 if the first side already stays below `wanted`."""
    a = stencil_mean(flat, at, offset, w, whole[base], start[base], start[base + 1], least)
    if np.isnan(a) or a - bed <= wanted:
        return -1.0
    b = stencil_mean(flat, at, offset, w, whole[base + 1], start[base + 1], start[base + 2], least)
    if np.isnan(b):
        return -1.0
    return min(a, b) - bed


@leaf
def _ring_totals(flat, at, ring, total):
    """Sums over the rings of the cells from `at` on, NaN where part of a ring is off the ground; a row at a time."""
    total[:] = 0.0
    for i in range(ring.size):
        first = at + ring[i]
        for c in range(total.size):
            total[c] += flat[first + c]


@leaf
def below_ring(flat, at, ring, total):
    """How far a cell lies below the mean of its ring [m]; infinite where half of the ring is off the ground.

    `total` is the sum over the ring, NaN where part of it is off the ground.
    """
    if not np.isnan(total):
        return total / ring.size - flat[at]
    total = 0.0
    n = 0
    for i in range(ring.size):
        v = flat[at + ring[i]]
        if not np.isnan(v):
            total += v
            n += 1
    if 2 * n < ring.size:
        return np.inf
    return total / n - flat[at]


@njit(nogil=True, cache=True)
def directional_depth(padded, margin, ring, stencils, n_dir, least, limits):
    """Greatest depth below both sides over all directions, and how far it is saturated.

    A cell that does not lie below the mean of a ring at bank distance lies in no cut of whatever direction: that test
    passes some percent of cells. Even-numbered directions are then tried, and the two neighbours of the best one.

    Parameters
    ----------
    padded : float32 (rows + 2 margin, cols + 2 margin)
        Smoothed ground [m], NaN where there is none, with a margin of NaN as wide as the stencils reach.
    margin : int
        [cells].
    ring : int64 (n,)
        Places of the ring relative to a cell in the flattened array.
    stencils : tuple of (int64 offset, float64 w, int64 start)
        Five stencils a direction: bed, near left, near right, far left, far right; `start` (5 n_dir + 1,).
    n_dir : int
        Number of directions over half a turn, even.
    least : float
        Share of a stencil that must lie on ground.
    limits : (float, float)
        Depth below the ring [m] at which a cell is tested; depth [m] from which saturation is worked out. Weaker
        answers are only kept from 0.65 of the latter.

    Returns
    -------
    depth : float32 (rows, cols)
        [m], 0 where not tested or not low enough.
    direction : int8 (rows, cols)
        Index of the direction along the line, -1 where depth is 0.
    saturation : float32 (rows, cols)
        Depth against the near band over depth against the far band, 0 where depth is less than wanted.
    """
    offset, w, start = stencils
    whole = _sums(w, start)
    screen, wanted = limits
    flat = padded.ravel()
    wide = padded.shape[1]
    rows = padded.shape[0] - 2 * margin
    cols = wide - 2 * margin
    depth = np.zeros((rows, cols), dtype=np.float32)
    direction = np.full((rows, cols), -1, dtype=np.int8)
    saturation = np.zeros((rows, cols), dtype=np.float32)
    total = np.empty(cols)
    for r in range(rows):
        _ring_totals(flat, (r + margin) * wide + margin, ring, total)
        for c in range(cols):
            here = (r + margin) * wide + c + margin
            if np.isnan(flat[here]) or below_ring(flat, here, ring, total[c]) < screen:
                continue
            best = EVEN_SHARE * wanted
            at = -1
            for d in range(0, n_dir, 2):
                k = 5 * d
                bed = stencil_mean(flat, here, offset, w, whole[k], start[k], start[k + 1], least)
                if np.isnan(bed):
                    continue
                v = lower_side(flat, here, offset, w, whole, start, k + 1, bed, least, best)
                if v > best:
                    best = v
                    at = d
            if at < 0:
                continue
            centre = at
            for step in (-1, 1):
                d = (centre + step) % n_dir
                k = 5 * d
                bed = stencil_mean(flat, here, offset, w, whole[k], start[k], start[k + 1], least)
                if np.isnan(bed):
                    continue
                v = lower_side(flat, here, offset, w, whole, start, k + 1, bed, least, best)
                if v > best:
                    best = v
                    at = d
            depth[r, c] = best
            direction[r, c] = at
            if best >= wanted:
                k = 5 * at
                bed = stencil_mean(flat, here, offset, w, whole[k], start[k], start[k + 1], least)
                far = lower_side(flat, here, offset, w, whole, start, k + 3, bed, least, 0.0)
                # a side that cannot be seen, or lies lower farther out, does not go on rising: saturated
                saturation[r, c] = best / far if far > best else 1.0
    return depth, direction, saturation


@njit(nogil=True, cache=True)
def mean_depth_at(padded, margin, at_row, at_col, stencils, directions, least):
    """Bed below the average of both near bands in given directions (for the small relief of open ground).

    Parameters
    ----------
    padded, margin, stencils, least : as in `directional_depth`
    at_row, at_col : int64 (n,)
        Cells, without the margin.
    directions : int64 (m,)

    Returns
    -------
    float32 (n, m)
        [m], NaN where it cannot be told.
    """
    offset, w, start = stencils
    whole = _sums(w, start)
    flat = padded.ravel()
    out = np.full((at_row.size, directions.size), np.nan, dtype=np.float32)
    for i in range(at_row.size):
        here = (at_row[i] + margin) * padded.shape[1] + at_col[i] + margin
        if np.isnan(flat[here]):
            continue
        for j in range(directions.size):
            k = 5 * directions[j]
            bed = stencil_mean(flat, here, offset, w, whole[k], start[k], start[k + 1], least)
            a = stencil_mean(flat, here, offset, w, whole[k + 1], start[k + 1], start[k + 2], least)
            b = stencil_mean(flat, here, offset, w, whole[k + 2], start[k + 2], start[k + 3], least)
            out[i, j] = 0.5 * (a + b) - bed
    return out
