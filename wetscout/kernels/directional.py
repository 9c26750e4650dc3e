"""Depth of a cell below both sides of a strip, direction by direction.

The stencils (which cells, which weights) come from `wetscout.linework.stencils`; the kernels only add up.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, inlined, leaf

# where the best even direction answers less than this share of the depth wanted, its neighbours do not reach it either
EVEN_SHARE = 0.65


@compiled
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


@compiled
def _sums(w, start):
    """Sum of the weights of each stencil."""
    whole = np.zeros(start.size - 1)
    for k in range(whole.size):
        for i in range(start[k], start[k + 1]):
            whole[k] += w[i]
    return whole


@leaf
def _below_rings(flat, at, ring, below):
    """How far cells from `at` on lie below the mean of their ring [m], NaN where part of it is off the ground.

    A row at a time and four places of the ring at once, which the processor does for several cells together.
    """
    n = below.size
    below[:] = 0.0
    whole = ring.size // 4 * 4
    for k in range(0, whole, 4):
        one, two = at + ring[k], at + ring[k + 1]
        three, four = at + ring[k + 2], at + ring[k + 3]
        a, b, c, d = flat[one : one + n], flat[two : two + n], flat[three : three + n], flat[four : four + n]
        for i in range(n):
            below[i] = (((below[i] + a[i]) + b[i]) + c[i]) + d[i]
    for k in range(whole, ring.size):
        for i in range(n):
            below[i] += flat[at + ring[k] + i]
    for i in range(n):
        below[i] = below[i] / ring.size - flat[at + i]


@leaf
def below_ring(flat, at, ring):
    """How far a cell lies below the mean of what is ground of its ring [m]; infinite where half of it is none."""
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


@inlined
def _mean(flat, at, stencils, whole, k, least):
    """`stencil_mean` of stencil k; its loop stands here, where a call would take as long as the sum."""
    offset, w, start = stencils
    total = 0.0
    for i in range(start[k], start[k + 1]):
        total += w[i] * flat[np.uint64(at + offset[i])]
    if np.isnan(total):
        return stencil_mean(flat, at, offset, w, whole[k], start[k], start[k + 1], least)
    return total / whole[k]


@inlined
def _two_means(flat, at, stencils, whole, k, least):
    """`stencil_mean` of stencils k and k + 1: added up side by side, as one sum waits for its last addition."""
    offset, w, start = stencils
    a, b, end = start[k], start[k + 1], start[k + 2]
    both = min(b - a, end - b)
    one = two = 0.0
    # unsigned: the compiler asks of signed places whether they count from the end
    for i in range(both):
        one += w[a + i] * flat[np.uint64(at + offset[a + i])]
        two += w[b + i] * flat[np.uint64(at + offset[b + i])]
    for i in range(a + both, b):
        one += w[i] * flat[np.uint64(at + offset[i])]
    for i in range(b + both, end):
        two += w[i] * flat[np.uint64(at + offset[i])]
    one = stencil_mean(flat, at, offset, w, whole[k], a, b, least) if np.isnan(one) else one / whole[k]
    two = stencil_mean(flat, at, offset, w, whole[k + 1], b, end, least) if np.isnan(two) else two / whole[k + 1]
    return one, two


@leaf
def _deepest(flat, here, stencils, whole, n_dir, least, wanted):
    """Greatest depth below the lower side, of the even directions and the two beside the best, and that direction."""
    best = EVEN_SHARE * wanted
    at = np.int64(-1)
    centre = np.int64(-1)
    half = n_dir // 2
    for m in range(half + 2):
        d = np.int64(2 * m)
        if m == half:
            centre = at
        if m >= half:
            d = (centre + (1 if m > half else -1)) % n_dir
        if m >= half and centre < 0:
            break
        k = 5 * d
        bed, one = _two_means(flat, here, stencils, whole, k, least)
        if np.isnan(bed) or np.isnan(one) or one - bed <= best:
            continue
        other = _mean(flat, here, stencils, whole, k + 2, least)
        if not np.isnan(other) and min(one, other) - bed > best:
            best = min(one, other) - bed
            at = d
    return best, at


@leaf
def _saturation(flat, here, stencils, whole, k, best, least):
    """Depth against the near bands over depth against the far ones of a direction whose stencils begin at k."""
    bed = _mean(flat, here, stencils, whole, k, least)
    one, other = _two_means(flat, here, stencils, whole, k + 3, least)
    # a side that cannot be seen, or lies lower farther out, does not go on rising: saturated
    return best / (min(one, other) - bed) if one - bed > best and other - bed > best else 1.0


@compiled
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
    whole = _sums(stencils[1], stencils[2])
    screen, wanted = limits
    flat = padded.ravel()
    wide = padded.shape[1]
    rows = padded.shape[0] - 2 * margin
    cols = wide - 2 * margin
    depth = np.empty((rows, cols), np.float32)
    direction = np.empty((rows, cols), np.int8)
    saturation = np.empty((rows, cols), np.float32)
    below = np.empty(cols)
    for r in range(rows):
        for c in range(cols):
            depth[r, c], direction[r, c], saturation[r, c] = 0.0, -1, 0.0
        first = (r + margin) * wide + margin
        _below_rings(flat, first, ring, below)
        for c in range(cols):
            if below[c] < screen:
                continue
            here = first + c
            if np.isnan(below[c]) and (np.isnan(flat[here]) or below_ring(flat, here, ring) < screen):
                continue
            best, at = _deepest(flat, here, stencils, whole, n_dir, least, wanted)
            if at < 0:
                continue
            depth[r, c] = best
            direction[r, c] = at
            if best >= wanted:
                saturation[r, c] = _saturation(flat, here, stencils, whole, 5 * at, best, least)
    return depth, direction, saturation


@compiled
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
    out = np.empty((at_row.size, directions.size), np.float32)
    for i in range(at_row.size):
        for j in range(directions.size):
            out[i, j] = np.nan
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
