"""Sections across lines: sampling them, and painting what lies between their shoulders."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(nogil=True, cache=True)
def bilinear(z, row, col):
    """Value between four cells, NaN if any of them is missing.

    Parameters
    ----------
    z : float32 (rows, cols)
    row, col : float
        Position [cells].

    Returns
    -------
    float
    """
    r0 = int(np.floor(row))
    c0 = int(np.floor(col))
    if r0 < 0 or c0 < 0 or r0 + 1 >= z.shape[0] or c0 + 1 >= z.shape[1]:
        ri = int(np.floor(row + 0.5))
        ci = int(np.floor(col + 0.5))
        if ri < 0 or ci < 0 or ri >= z.shape[0] or ci >= z.shape[1]:
            return np.nan
        return np.float64(z[ri, ci])
    fr = row - r0
    fc = col - c0
    top = z[r0, c0] * (1.0 - fc) + z[r0, c0 + 1] * fc
    low = z[r0 + 1, c0] * (1.0 - fc) + z[r0 + 1, c0 + 1] * fc
    return top * (1.0 - fr) + low * fr


@njit(nogil=True, cache=True)
def sections(z, row, col, across_row, across_col, half, step):
    """Sections across a line.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    row, col : float64 (n,)
        Stations [cells].
    across_row, across_col : float64 (n,)
        Unit vector across the line at each station.
    half : int
        Samples on each side.
    step : float
        Distance of two samples [cells].

    Returns
    -------
    float64 (n, 2 half + 1)
        Ground at each sample [m], NaN where unknown.
    """
    n = row.shape[0]
    out = np.empty((n, 2 * half + 1), dtype=np.float64)
    for i in range(n):
        for k in range(-half, half + 1):
            out[i, k + half] = bilinear(z, row[i] + across_row[i] * k * step, col[i] + across_col[i] * k * step)
    return out


@njit(nogil=True, cache=True)
def median_along(section, reach):
    """Running median of sections along their line, each offset on its own, missing samples left out.

    Parameters
    ----------
    section : float64 (n, m)
    reach : int
        Stations on each side.

    Returns
    -------
    float64 (n, m)
    """
    n, m = section.shape
    out = np.empty((n, m), dtype=np.float64)
    buffer = np.empty(2 * reach + 1, dtype=np.float64)
    for k in range(m):
        for i in range(n):
            count = 0
            for j in range(max(0, i - reach), min(n, i + reach + 1)):
                value = section[j, k]
                if value == value:
                    buffer[count] = value
                    count += 1
            out[i, k] = np.median(buffer[:count]) if count else np.nan
    return out


@njit(nogil=True, cache=True)
def shoulders(section, step_m, recentre_m, slope, berm_m, reach_m):
    """Where the steep sides of a cut end, left and right of its lowest point.

    Outward from the bed, the shoulder is the end of the last steep run; a run may be interrupted by a berm no wider
    than `berm_m`.

    Parameters
    ----------
    section : float64 (n, m)
        Sections, smoothed along the line [m].
    step_m : float
        Distance of samples [m].
    recentre_m : float
        The lowest point is looked for within this distance of the line [m].
    slope : float
        Ground steeper than this belongs to the side of the cut [-].
    berm_m, reach_m : float
        Widest interruption; farthest shoulder [m].

    Returns
    -------
    centre, left, right : float64 (n,)
        Offsets of the lowest point and of both shoulders from the line [m]; left <= centre <= right.
    """
    n, m = section.shape
    half = m // 2
    span = max(1, int(round(1.0 / step_m)))
    berm = max(1, int(round(berm_m / step_m)))
    reach = int(round(reach_m / step_m))
    near = int(round(recentre_m / step_m))
    centre = np.zeros(n)
    sides = np.zeros((2, n))
    for i in range(n):
        lowest = np.inf
        at = half
        for k in range(max(0, half - near), min(m, half + near + 1)):
            value = section[i, k]
            # nearer to the line wins among equals, so a flat bed keeps its line
            if value == value and (value < lowest - 1e-4):
                lowest = value
                at = k
        if lowest == np.inf:
            at = half
        centre[i] = (at - half) * step_m
        for side in range(2):
            sign = 1 if side else -1
            last = 0
            flat = 0
            d = 0
            # a bed may be flat for up to 3 m before its side begins
            bed = int(round(3.0 / step_m))
            while d < reach:
                a = at + sign * d
                b = at + sign * (d + span)
                if b < 0 or b >= m:
                    break
                rise = section[i, b] - section[i, a]
                if rise != rise:
                    break
                if rise > slope * span * step_m:
                    last = d + span
                    flat = 0
                else:
                    flat += 1
                    if flat > (berm if last > 0 else bed):
                        break
                d += 1
            sides[side, i] = (at - half + sign * last) * step_m
    return centre, sides[0], sides[1]


@njit(nogil=True, cache=True)
def paint_band(mask, bit, row, col, across_row, across_col, left, right):
    """Set a bit on every cell between two offsets from a line.

    Parameters
    ----------
    mask : uint8 (rows, cols)
        Changed in place.
    bit : int
    row, col, across_row, across_col : float64 (n,)
        Stations and unit vectors across [cells].
    left, right : float64 (n,)
        Offsets [cells].

    Returns
    -------
    None
    """
    rows, cols = mask.shape
    n = row.shape[0]
    for i in range(n):
        # three sub-stations on the way to the next, so that bends leave no holes
        for sub in range(3 if i + 1 < n else 1):
            t = sub / 3.0
            j = i + 1 if i + 1 < n else i
            r = row[i] + t * (row[j] - row[i])
            c = col[i] + t * (col[j] - col[i])
            lo = left[i] + t * (left[j] - left[i])
            hi = right[i] + t * (right[j] - right[i])
            steps = int(np.ceil((hi - lo) * 2.0)) + 1
            for k in range(steps + 1):
                o = lo + (hi - lo) * k / steps
                ri = int(np.floor(r + across_row[i] * o + 0.5))
                ci = int(np.floor(c + across_col[i] * o + 0.5))
                if 0 <= ri < rows and 0 <= ci < cols:
                    mask[ri, ci] |= bit
