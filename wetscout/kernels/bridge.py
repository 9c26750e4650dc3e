"""Ground carried across a gap: the surface that was there before a cut or a fill."""

from __future__ import annotations

import numpy as np
from numba import njit

from wetscout.kernels.sections import bilinear

N_DIRECTIONS = 16


@njit(nogil=True, cache=True)
def _free_square(z, mask, row, col):
    """Whether the four cells around a point are all free and known."""
    r0 = int(np.floor(row))
    c0 = int(np.floor(col))
    if r0 < 0 or c0 < 0 or r0 + 1 >= z.shape[0] or c0 + 1 >= z.shape[1]:
        return False
    for i in range(2):
        for j in range(2):
            if mask[r0 + i, c0 + j] or not np.isfinite(z[r0 + i, c0 + j]):
                return False
    return True


@njit(nogil=True, cache=True)
def _free_end(z, mask, row, col, dr, dc, reach, run):
    """Distance to free ground along a ray, and its level and slope there.

    Samples lie between four free cells; the nearest cell alone would be off by up to 15 mm on a slope of 3 %, and the
    highest of 16 lines collects such errors. Where there are fewer than three such samples, nearest cells serve.

    Returns (distance [cells], level [m], slope into the gap [m per cell]); distance < 0 if none within reach.
    """
    rows, cols = z.shape
    d = 0
    while True:
        d += 1
        if d > reach:
            return -1.0, 0.0, 0.0
        ri = int(np.floor(row + dr * d + 0.5))
        ci = int(np.floor(col + dc * d + 0.5))
        if ri < 0 or ci < 0 or ri >= rows or ci >= cols:
            return -1.0, 0.0, 0.0
        if not mask[ri, ci]:
            if not np.isfinite(z[ri, ci]):
                return -1.0, 0.0, 0.0
            break
    near = 0.0
    near_n = 0
    s0 = 0.0
    s1 = 0.0
    s2 = 0.0
    t0 = 0.0
    t1 = 0.0
    for k in range(run + 1):
        rr = row + dr * (d + k)
        cc = col + dc * (d + k)
        ri = int(np.floor(rr + 0.5))
        ci = int(np.floor(cc + 0.5))
        if ri < 0 or ci < 0 or ri >= rows or ci >= cols or mask[ri, ci] or not np.isfinite(z[ri, ci]):
            break
        near += z[ri, ci]
        near_n += 1
        if _free_square(z, mask, rr, cc):
            value = bilinear(z, rr, cc)
            s0 += 1.0
            s1 += k
            s2 += k * k
            t0 += value
            t1 += k * value
    if s0 < 3.0:
        return float(d), near / near_n, 0.0
    slope = (s0 * t1 - s1 * t0) / (s0 * s2 - s1 * s1)
    return float(d), (t0 - slope * s1) / s0, -slope


@njit(nogil=True, cache=True)
def _directions():
    """Unit vectors of the lines over half a turn."""
    dirs_r = np.empty(N_DIRECTIONS)
    dirs_c = np.empty(N_DIRECTIONS)
    for k in range(N_DIRECTIONS):
        angle = np.pi * k / N_DIRECTIONS
        dirs_r[k] = np.sin(angle)
        dirs_c[k] = np.cos(angle)
    return dirs_r, dirs_c


@njit(nogil=True, cache=True)
def carry_across(z, mask, reach, run, ratio, damping, hollow):
    """Levels carried across masked cells along 16 lines, ends joined by a cubic with damped end slopes.

    A rim is a ridge and cuts often cross it obliquely; only the lines along the crest join crest to crest, so the
    highest of the short lines is the ground that was there. Averages over directions put a saddle into the ridge
    (-0.15 m measured, against -0.01 m). In a hollow the highest line climbs its sides instead: there one of the next
    is taken. Which of both it is, the ends tell: on a ridge they rise into the gap. With the highest line everywhere
    80 % of spill levels on real ground at 3 m cells lay within 0.18 m, now within 0.03 m.

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
    ratio : float
        Lines up to this many times the shortest count [-].
    damping : float
        Share of the end slopes kept [-].
    hollow : (int, float)
        Which line counts in a hollow, from the highest (the lowest where fewer close); how much the cubic must stand
        above the straight lines, on average of the short ones, for a full ridge [m].

    Returns
    -------
    high, low : float32 (rows, cols)
        High and lowest level of the short lines; equal to z on free cells, NaN where no line closes.
    """
    rows, cols = z.shape
    high = z.copy()
    low = z.copy()
    dirs_r, dirs_c = _directions()
    gap = np.empty(N_DIRECTIONS)
    level = np.empty(N_DIRECTIONS)
    lift = np.empty(N_DIRECTIONS)
    rank, ridge = hollow
    for r in range(rows):
        for c in range(cols):
            if not mask[r, c]:
                continue
            shortest = np.inf
            for k in range(N_DIRECTIONS):
                gap[k] = np.inf
                da, la, sa = _free_end(z, mask, r, c, dirs_r[k], dirs_c[k], reach, run)
                if da < 0.0:
                    continue
                db, lb, sb = _free_end(z, mask, r, c, -dirs_r[k], -dirs_c[k], reach, run)
                if db < 0.0:
                    continue
                g = da + db
                t = da / g
                # cubic through both ends; slopes point into the gap
                ma = damping * sa * g
                mb = -damping * sb * g
                t2 = t * t
                t3 = t2 * t
                h = (2.0 * t3 - 3.0 * t2 + 1.0) * la + (t3 - 2.0 * t2 + t) * ma
                h += (-2.0 * t3 + 3.0 * t2) * lb + (t3 - t2) * mb
                gap[k] = g
                level[k] = h
                # of the undamped cubic over the straight line, in the middle of the gap
                lift[k] = (sa + sb) * g / 8.0
                shortest = min(shortest, g)
            if shortest == np.inf:
                high[r, c] = np.nan
                low[r, c] = np.nan
                continue
            top = -np.inf
            bottom = np.inf
            rise = 0.0
            used = 0
            for k in range(N_DIRECTIONS):
                if gap[k] <= ratio * shortest:
                    top = max(top, level[k])
                    bottom = min(bottom, level[k])
                    rise += lift[k]
                    used += 1
                else:
                    level[k] = -np.inf
            inner = bottom
            for _ in range(min(rank, used)):
                at = 0
                for k in range(1, N_DIRECTIONS):
                    if level[k] > level[at]:
                        at = k
                inner = level[at]
                level[at] = -np.inf
            share = min(max(rise / used / ridge, 0.0), 1.0)
            high[r, c] = inner + share * (top - inner)
            low[r, c] = bottom
    return high, low


@njit(nogil=True, cache=True)
def _solve6(a, b):
    """Gaussian elimination with pivoting for a 6 x 6 system; False if singular."""
    for i in range(6):
        p = i
        for j in range(i + 1, 6):
            if abs(a[j, i]) > abs(a[p, i]):
                p = j
        if abs(a[p, i]) < 1e-9:
            return False
        if p != i:
            for k in range(6):
                a[i, k], a[p, k] = a[p, k], a[i, k]
            b[i], b[p] = b[p], b[i]
        for j in range(i + 1, 6):
            f = a[j, i] / a[i, i]
            if f != 0.0:
                for k in range(i, 6):
                    a[j, k] -= f * a[i, k]
                b[j] -= f * b[i]
    for i in range(5, -1, -1):
        s = b[i]
        for k in range(i + 1, 6):
            s -= a[i, k] * b[k]
        b[i] = s / a[i, i]
    return True


@njit(nogil=True, cache=True)
def _fit_terms(radius, stride):
    """Samples of a disc with the six terms of a quadratic and their 21 products: worked out once, not at every cell.

    Returns (row offset, column offset, terms (n, 6), products (n, 21)); samples lie at multiples of `stride` from the
    cell, so that a tile sees the same ones.
    """
    n = 0
    for i in range(-radius, radius + 1, stride):
        for j in range(-radius, radius + 1, stride):
            if i * i + j * j <= radius * radius:
                n += 1
    at_row = np.empty(n, dtype=np.int64)
    at_col = np.empty(n, dtype=np.int64)
    term = np.empty((n, 6))
    product = np.empty((n, 21))
    n = 0
    for i in range(-radius, radius + 1, stride):
        for j in range(-radius, radius + 1, stride):
            if i * i + j * j > radius * radius:
                continue
            at_row[n] = i
            at_col[n] = j
            y = i / radius
            x = j / radius
            term[n, 0] = 1.0
            term[n, 1] = x
            term[n, 2] = y
            term[n, 3] = x * x
            term[n, 4] = x * y
            term[n, 5] = y * y
            k = 0
            for p in range(6):
                for q in range(p, 6):
                    product[n, k] = term[n, p] * term[n, q]
                    k += 1
            n += 1
    return at_row, at_col, term, product


@njit(nogil=True, cache=True)
def carry_cautious(z, mask, reach, run, radius, stride, best):
    """Levels carried across masked cells along the lines in which the free ground around bends least.

    A quadratic is fitted to the free ground within `radius`; the `best` of 16 lines with the smallest bend give the
    level, straight between their ends and corrected by half the bend. Unlike the highest line it does not dam a valley
    that a ditch crosses.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    mask : bool (rows, cols)
        Cells to bridge.
    reach, run : int
        As in `carry_across` [cells].
    radius, stride : int
        Of the fit, and of its samples [cells].
    best : int
        Lines used.

    Returns
    -------
    float32 (rows, cols)
        z on free cells, NaN where nothing could be carried.
    """
    rows, cols = z.shape
    out = z.copy()
    at_row, at_col, term, product = _fit_terms(radius, stride)
    a = np.empty((6, 6))
    b = np.empty(6)
    half = np.empty(21)
    dirs_r, dirs_c = _directions()
    bends = np.empty(N_DIRECTIONS)
    levels = np.empty(N_DIRECTIONS)
    for r in range(rows):
        for c in range(cols):
            if not mask[r, c]:
                continue
            half[:] = 0.0
            b[:] = 0.0
            base = np.float64(0.0) if np.isnan(z[r, c]) else np.float64(z[r, c])
            count = 0
            for n in range(at_row.size):
                ri = r + at_row[n]
                ci = c + at_col[n]
                if ri < 0 or ci < 0 or ri >= rows or ci >= cols or mask[ri, ci] or not np.isfinite(z[ri, ci]):
                    continue
                d = z[ri, ci] - base
                for p in range(6):
                    b[p] += term[n, p] * d
                for p in range(21):
                    half[p] += product[n, p]
                count += 1
            k = 0
            for p in range(6):
                for q in range(p, 6):
                    a[p, q] = half[k]
                    a[q, p] = half[k]
                    k += 1
            if count < 20 or not _solve6(a, b):
                out[r, c] = np.nan
                continue
            for k in range(N_DIRECTIONS):
                dr = dirs_r[k]
                dc = dirs_c[k]
                bends[k] = np.inf
                da, la, _ = _free_end(z, mask, r, c, dr, dc, reach, run)
                if da < 0.0:
                    continue
                db, lb, _ = _free_end(z, mask, r, c, -dr, -dc, reach, run)
                if db < 0.0:
                    continue
                g = da + db
                curve = (b[3] * dc * dc + b[4] * dc * dr + b[5] * dr * dr) / (radius * radius)
                bends[k] = abs(curve)
                levels[k] = la + (lb - la) * da / g - 0.5 * curve * da * db
            total = 0.0
            used = 0
            for _ in range(best):
                at = -1
                low = np.inf
                for k in range(N_DIRECTIONS):
                    if bends[k] < low:
                        low = bends[k]
                        at = k
                if at < 0:
                    break
                total += levels[at]
                used += 1
                bends[at] = np.inf
            out[r, c] = total / used if used else np.nan
    return out


__all__ = ["bilinear", "carry_across", "carry_cautious"]
