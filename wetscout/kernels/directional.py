"""Depth of a cell below both sides of a strip, direction by direction.

The stencils (which cells, which weights) come from `wetscout.linework.stencils`; the kernels only add up.
"""

from __future__ import annotations

import numpy as np
from numba import njit

# a cell of a cut may lie higher than the bed around it by noise: of the ring test only this share is asked
RING_SHARE = 0.6


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
    for r in range(rows):
        for c in range(cols):
            if np.isnan(z[r, c]):
                out[r, c] = np.nan
                continue
            total = 0.0
            n = 0
            for i in range(max(0, r - h), min(rows, r + h + 1)):
                for j in range(max(0, c - h), min(cols, c + h + 1)):
                    v = z[i, j]
                    if not np.isnan(v):
                        total += v
                        n += 1
            out[r, c] = total / n
    return out


@njit(nogil=True, cache=True)
def stencil_mean(s, r, c, dr, dc, w, first, last, least):
    """Weighted mean of the ground under one stencil placed at a cell.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m], NaN where there is none.
    r, c : int
        Cell.
    dr, dc, w : int32, int32, float64 (n,)
        Offsets [cells] and weights of all stencils, one after the other.
    first, last : int
        Part of the list that belongs to this stencil.
    least : float
        Share of the weight that must lie on ground.

    Returns
    -------
    float
        NaN when too much of the stencil lies off the ground.
    """
    rows, cols = s.shape
    total = 0.0
    weight = 0.0
    whole = 0.0
    for i in range(first, last):
        whole += w[i]
        y = r + dr[i]
        x = c + dc[i]
        if 0 <= y < rows and 0 <= x < cols:
            v = s[y, x]
            if not np.isnan(v):
                total += w[i] * v
                weight += w[i]
    if weight < least * whole or weight == 0.0:
        return np.nan
    return total / weight


@njit(nogil=True, cache=True)
def lower_side(s, r, c, dr, dc, w, start, base, bed, least, wanted):
    """Lower of the two sides minus the bed, or -1 if the first side already stays below `wanted`."""
    a = stencil_mean(s, r, c, dr, dc, w, start[base], start[base + 1], least)
    if np.isnan(a) or a - bed <= wanted:
        return -1.0
    b = stencil_mean(s, r, c, dr, dc, w, start[base + 1], start[base + 2], least)
    if np.isnan(b):
        return -1.0
    return min(a, b) - bed


@njit(nogil=True, cache=True)
def below_ring(s, r, c, ring):
    """How far a cell lies below the mean of its ring [m]; infinite where half of the ring is off the ground."""
    rows, cols = s.shape
    total = 0.0
    n = 0
    for i in range(ring.shape[0]):
        y = r + ring[i, 0]
        x = c + ring[i, 1]
        if 0 <= y < rows and 0 <= x < cols and not np.isnan(s[y, x]):
            total += s[y, x]
            n += 1
    if 2 * n < ring.shape[0]:
        return np.inf
    return total / n - s[r, c]


@njit(nogil=True, cache=True)
def directional_depth(s, fired, ring, stencils, n_dir, least, t_keep):
    """Greatest depth below both sides over all directions, and how far it is saturated.

    Even-numbered directions are tried first, then the two neighbours of the best one.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m], NaN where there is none.
    fired : bool (rows, cols)
        Cells to test.
    ring : int64 (n, 2)
        Offsets of cells all round at bank distance: a cell of a cut lies below their mean too, whatever its
        direction, which spares three quarters of the cells that the screen passes because of noise.
    stencils : tuple of (int32 dr, int32 dc, float64 w, int64 start)
        Five stencils a direction: bed, near left, near right, far left, far right; `start` (5 n_dir + 1,).
    n_dir : int
        Number of directions over half a turn, even.
    least : float
        Share of a stencil that must lie on ground.
    t_keep : float
        Least depth wanted [m]: saturation is worked out from here, weaker answers are only kept from 0.65 of it.

    Returns
    -------
    depth : float32 (rows, cols)
        [m], 0 where not tested or not low enough.
    direction : int8 (rows, cols)
        Index of the direction along the line, -1 where depth is 0.
    saturation : float32 (rows, cols)
        Depth against the near band over depth against the far band, 0 where depth < t_keep.
    """
    dr, dc, w, start = stencils
    rows, cols = s.shape
    depth = np.zeros((rows, cols), dtype=np.float32)
    direction = np.full((rows, cols), -1, dtype=np.int8)
    saturation = np.zeros((rows, cols), dtype=np.float32)
    for r in range(rows):
        for c in range(cols):
            if not fired[r, c] or below_ring(s, r, c, ring) < RING_SHARE * t_keep:
                continue
            # a neighbouring direction answers at most half as strongly again: less than this never reaches t_keep
            best = 0.65 * t_keep
            at = -1
            for d in range(0, n_dir, 2):
                k = 5 * d
                bed = stencil_mean(s, r, c, dr, dc, w, start[k], start[k + 1], least)
                if np.isnan(bed):
                    continue
                v = lower_side(s, r, c, dr, dc, w, start, k + 1, bed, least, best)
                if v > best:
                    best = v
                    at = d
            if at < 0:
                continue
            centre = at
            for step in (-1, 1):
                d = (centre + step) % n_dir
                k = 5 * d
                bed = stencil_mean(s, r, c, dr, dc, w, start[k], start[k + 1], least)
                if np.isnan(bed):
                    continue
                v = lower_side(s, r, c, dr, dc, w, start, k + 1, bed, least, best)
                if v > best:
                    best = v
                    at = d
            depth[r, c] = best
            direction[r, c] = at
            if best >= t_keep:
                k = 5 * at
                bed = stencil_mean(s, r, c, dr, dc, w, start[k], start[k + 1], least)
                far = lower_side(s, r, c, dr, dc, w, start, k + 3, bed, least, 0.0)
                # a side that cannot be seen, or lies lower farther out, does not go on rising: saturated
                saturation[r, c] = best / far if far > best else 1.0
    return depth, direction, saturation


@njit(nogil=True, cache=True)
def mean_depth_at(s, at_row, at_col, stencils, directions, least):
    """Bed below the average of both near bands in given directions (for the small relief of open ground).

    Parameters
    ----------
    s : float32 (rows, cols)
    at_row, at_col : int64 (n,)
    stencils : as in `directional_depth`
    directions : int64 (m,)
    least : float

    Returns
    -------
    float32 (n, m)
        [m], NaN where it cannot be told.
    """
    dr, dc, w, start = stencils
    out = np.full((at_row.size, directions.size), np.nan, dtype=np.float32)
    for i in range(at_row.size):
        r = at_row[i]
        c = at_col[i]
        if np.isnan(s[r, c]):
            continue
        for j in range(directions.size):
            k = 5 * directions[j]
            bed = stencil_mean(s, r, c, dr, dc, w, start[k], start[k + 1], least)
            a = stencil_mean(s, r, c, dr, dc, w, start[k + 1], start[k + 2], least)
            b = stencil_mean(s, r, c, dr, dc, w, start[k + 2], start[k + 3], least)
            out[i, j] = 0.5 * (a + b) - bed
    return out
