"""Ground carried across a gap: the surface that was there before a cut or a fill."""

from __future__ import annotations

import numpy as np
from numba import njit

from wetscout.kernels.rays import (
    GAP,
    N_DIRECTIONS,
    depth_in_gap,
    directions,
    fit_terms,
    free_distance,
    free_end,
    ray_tables,
    solve6,
    with_margin,
)


@njit(nogil=True, cache=True)
def _close(deep, state, here, reach, nearest, ends):
    """Distances to both ends of every line through a cell into `ends` (16, 6); -1 where a line does not close.

    Returns the shortest line [cells], infinite if none closes. Levels and slopes are worked out by `_weigh` for the
    lines that count only.
    """
    shortest = np.inf
    for k in range(N_DIRECTIONS):
        ends[k, 0] = -1.0
        da = free_distance(deep, state, here, k, reach, nearest)
        if da < 0:
            continue
        db = free_distance(deep, state, here, k + N_DIRECTIONS, reach, nearest)
        if db < 0:
            continue
        ends[k, 0] = da
        ends[k, 1] = np.nan
        ends[k, 3] = db
        shortest = min(shortest, float(da + db))
    return shortest


@njit(nogil=True, cache=True)
def _weigh(flat, state, here, k, run, tables, ends):
    """Level and slope of both ends of line k, unless known."""
    if np.isnan(ends[k, 1]):
        ends[k, 1], ends[k, 2] = free_end(flat, state, here, k, int(ends[k, 0]), run, tables)
        ends[k, 4], ends[k, 5] = free_end(flat, state, here, k + N_DIRECTIONS, int(ends[k, 3]), run, tables)


@njit(nogil=True, cache=True)
def _high_and_low(ends, across, shortest, level):
    """High and low level of the short lines, all others being left out."""
    ratio, damping, rank, ridge = across
    top = -np.inf
    bottom = np.inf
    rise = 0.0
    used = 0
    for k in range(N_DIRECTIONS):
        g = ends[k, 0] + ends[k, 3]
        level[k] = -np.inf
        if ends[k, 0] < 0.0 or g > ratio * shortest:
            continue
        la = ends[k, 1]
        lb = ends[k, 4]
        t = ends[k, 0] / g
        # cubic through both ends; slopes point into the gap
        ma = damping * ends[k, 2] * g
        mb = -damping * ends[k, 5] * g
        t2 = t * t
        t3 = t2 * t
        h = (2.0 * t3 - 3.0 * t2 + 1.0) * la + (t3 - 2.0 * t2 + t) * ma
        h += (-2.0 * t3 + 3.0 * t2) * lb + (t3 - t2) * mb
        level[k] = h
        top = max(top, h)
        bottom = min(bottom, h)
        # of the undamped cubic over the straight line, in the middle of the gap
        rise += (ends[k, 2] + ends[k, 5]) * g / 8.0
        used += 1
    inner = bottom
    for _ in range(min(rank, used)):
        at = 0
        for k in range(1, N_DIRECTIONS):
            if level[k] > level[at]:
                at = k
        inner = level[at]
        level[at] = -np.inf
    share = min(max(rise / used / ridge, 0.0), 1.0)
    return inner + share * (top - inner), bottom


@njit(nogil=True, cache=True)
def _bend(flat, state, here, samples, a, b, half):
    """Quadratic fitted to the free ground around, in `b`; False where there is too little of it."""
    place, term, product = samples
    half[:] = 0.0
    b[:] = 0.0
    base = np.float64(0.0) if np.isnan(flat[here]) else np.float64(flat[here])
    count = 0
    for n in range(place.size):
        i = here + place[n]
        if state[i] & 3:
            continue
        d = flat[i] - base
        for p in range(6):
            b[p] += term[n, p] * d
        for p in range(21):
            half[p] += product[n, p]
        count += 1
    if count < 20:
        return False
    k = 0
    for p in range(6):
        for q in range(p, 6):
            a[p, q] = half[k]
            a[q, p] = half[k]
            k += 1
    return solve6(a, b)


@njit(nogil=True, cache=True)
def _careful(flat, state, here, run, tables, ends, b, radius, best, dirs, bends):
    """Level along the `best` lines with the smallest bend, straight and corrected by half the bend."""
    dirs_r, dirs_c = dirs
    for k in range(N_DIRECTIONS):
        bends[k] = np.inf
        if ends[k, 0] >= 0.0:
            bends[k] = abs(_curve(b, dirs_r[k], dirs_c[k], radius))
    total = 0.0
    used = 0
    for _ in range(best):
        at = np.int64(-1)
        low = np.inf
        for k in range(N_DIRECTIONS):
            if bends[k] < low:
                low = bends[k]
                at = np.int64(k)
        if at < 0:
            break
        _weigh(flat, state, here, at, run, tables, ends)
        da = ends[at, 0]
        db = ends[at, 3]
        la = ends[at, 1]
        lb = ends[at, 4]
        total += la + (lb - la) * da / (da + db) - 0.5 * _curve(b, dirs_r[at], dirs_c[at], radius) * da * db
        used += 1
        bends[at] = np.inf
    return total / used if used else np.nan


@njit(nogil=True, cache=True)
def _curve(b, dr, dc, radius):
    """Second derivative of the fitted quadratic along a direction, halved [m per cell squared]."""
    return (b[3] * dc * dc + b[4] * dc * dr + b[5] * dr * dr) / (radius * radius)


@njit(nogil=True, cache=True)
def _levels(ground, reach, run, across, tables, samples, dirs, fit, out):
    """The levels of `carry` at every masked cell, into `out`."""
    flat, state, deep, margin = ground
    radius, _, best = fit
    high, low, cautious = out
    rows, cols = high.shape
    wide = cols + 2 * margin
    a = np.empty((6, 6))
    b = np.empty(6)
    half = np.empty(21)
    level = np.empty(N_DIRECTIONS)
    ends = np.empty((N_DIRECTIONS, 6))
    for r in range(rows):
        for c in range(cols):
            here = (r + margin) * wide + margin + c
            if not state[here] & GAP:
                continue
            shortest = _close(deep, state, here, reach, tables[0], ends)
            if shortest == np.inf:
                high[r, c] = np.nan
                low[r, c] = np.nan
                cautious[r, c] = np.nan
                continue
            for k in range(N_DIRECTIONS):
                if ends[k, 0] >= 0.0 and ends[k, 0] + ends[k, 3] <= across[0] * shortest:
                    _weigh(flat, state, here, k, run, tables, ends)
            high[r, c], low[r, c] = _high_and_low(ends, across, shortest, level)
            if best > 0:
                bent = _bend(flat, state, here, samples, a, b, half)
                around = (
                    _careful(flat, state, here, run, tables, ends, b, radius, best, dirs, level) if bent else np.nan
                )
                cautious[r, c] = around


def carry(z, mask, reach, run, across, fit):
    """Levels carried across masked cells along 16 lines: high and low ones, and cautious ones.

    **High and low**: ends joined by a cubic with damped end slopes.

    A rim is a ridge and cuts often cross it obliquely; only the lines along the crest join crest to crest, so the
    highest of the short lines is the ground that was there. Averages over directions put a saddle into the ridge
    (-0.15 m measured, against -0.01 m). In a hollow the highest line climbs its sides instead: there one of the next
    is taken. Which of both it is, the ends tell: on a ridge they rise into the gap. With the highest line everywhere
    80 % of spill levels on real ground at 3 m cells lay within 0.18 m, now within 0.03 m.

    **Cautious**: a quadratic is fitted to the free ground within `radius`; the `best` of the lines with the smallest
    bend give the level. Unlike the highest line it does not dam a valley that a ditch crosses.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    mask : bool (rows, cols)
        Cells to bridge.
    reach : int
        Longest way to free ground on each side [cells].
    run : int
        Free cells that give level and slope of an end.
    across : (float, float, int, float)
        Lines up to this many times the shortest count; share of the end slopes kept; which line counts in a hollow,
        from the highest (the lowest where fewer close); how much the cubic must stand above the straight lines, on
        average of the short ones, for a full ridge [m].
    fit : (int, int, int)
        Radius of the fit and stride of its samples [cells]; lines used, 0 for no cautious levels.

    Returns
    -------
    high, low, cautious : float32 (rows, cols)
        Equal to z on free cells, NaN where nothing could be carried; the last as z where not asked for.
    """
    radius, stride, _ = fit
    margin = max(reach + run + 2, radius + 1)
    wide = z.shape[1] + 2 * margin
    flat, state = with_margin(z, mask, margin)
    at_row, at_col, term, product = fit_terms(radius, stride)
    ground = (flat, state, depth_in_gap(state, wide, reach + 1), margin)
    samples = (at_row * wide + at_col, term, product)
    out = (z.copy(), z.copy(), z.copy())
    _levels(ground, reach, run, across, ray_tables(reach + run, wide), samples, directions(), fit, out)
    return out


__all__ = ["carry"]
