"""Sections across lines: sampling them, and painting what lies between their shoulders."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf


@leaf
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


@compiled
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
    out = np.empty((n, 2 * half + 1))
    for i in range(n):
        for k in range(-half, half + 1):
            out[i, k + half] = bilinear(z, row[i] + across_row[i] * k * step, col[i] + across_col[i] * k * step)
    return out


@compiled
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
    out = np.empty((n, m))
    buffer = np.empty(2 * reach + 2)
    for k in range(m):
        count = 0
        come = 0
        for i in range(n):
            # a dozen values are kept sorted: one leaves, one comes in
            while come < min(n, i + reach + 1):
                value = section[come, k]
                come += 1
                if value == value:
                    at = count
                    while at > 0 and buffer[at - 1] > value:
                        buffer[at] = buffer[at - 1]
                        at -= 1
                    buffer[at] = value
                    count += 1
            gone = section[i - reach - 1, k] if i > reach else np.nan
            if gone == gone:
                at = 0
                while buffer[at] != gone:
                    at += 1
                count -= 1
                while at < count:
                    buffer[at] = buffer[at + 1]
                    at += 1
            out[i, k] = 0.5 * (buffer[(count - 1) // 2] + buffer[count // 2]) if count else np.nan
    return out


@compiled
def shoulders(section, step_m, recentre_m, slope, berm_m, reach_m, bed_m, share):
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
    bed_m : float
        A side may begin this far from the lowest point: the width of the widest bed, where that lies at one edge [m].
    share : float
        A side ends where the ground is flatter than this share of its steepest metre, so the gentler flank of a basin
        above a dug side is not taken for it [-].

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
            bed = int(round(bed_m / step_m))
            steepest = 0.0
            while d < reach:
                a = at + sign * d
                b = at + sign * (d + span)
                if b < 0 or b >= m:
                    break
                rise = section[i, b] - section[i, a]
                if rise != rise:
                    break
                if rise > max(slope * span * step_m, share * steepest):
                    steepest = max(steepest, rise)
                    last = d + span
                    flat = 0
                else:
                    flat += 1
                    if flat > (berm if last > 0 else bed):
                        break
                d += 1
            sides[side, i] = (at - half + sign * last) * step_m
    return centre, sides[0], sides[1]


@leaf
def _ground_behind(section, i, at, side, a, b):
    """Line through the samples from a to b beyond a shoulder, by least squares: level at the shoulder and slope."""
    m = section.shape[1]
    s0 = 0.0
    s1 = 0.0
    s2 = 0.0
    t0 = 0.0
    t1 = 0.0
    for k in range(a, b + 1):
        j = at + side * k
        if j < 0 or j >= m:
            break
        value = section[i, j]
        if value == value:
            s0 += 1.0
            s1 += k
            s2 += k * k
            t0 += value
            t1 += k * value
    det = s0 * s2 - s1 * s1
    if s0 < 6.0 or det <= 0.0:
        return np.nan, 0.0
    slope = (s0 * t1 - s1 * t0) / det
    return (t0 - slope * s1) / s0, slope


@compiled
def share_set(mask, row, col, across_row, across_col, near, far):
    """Share of the way between two offsets from a line that lies on set cells, by samples half a cell apart.

    Parameters
    ----------
    mask : uint8 (rows, cols)
    row, col, across_row, across_col : float64 (n,)
        Stations and unit vectors across [cells].
    near, far : float64 (n,)
        Offsets, near <= far [cells].

    Returns
    -------
    float64 (n,)
        0-1.
    """
    n = row.shape[0]
    out = np.zeros(n)
    for i in range(n):
        steps = int(np.ceil((far[i] - near[i]) * 2.0)) + 1
        hit = 0
        for k in range(steps + 1):
            off = near[i] + (far[i] - near[i]) * k / steps
            r = int(np.floor(row[i] + across_row[i] * off + 0.5))
            c = int(np.floor(col[i] + across_col[i] * off + 0.5))
            if 0 <= r < mask.shape[0] and 0 <= c < mask.shape[1] and mask[r, c] != 0:
                hit += 1
        out[i] = hit / (steps + 1)
    return out


@compiled
def spoil_beside(section, step_m, shoulder, side, rise_m, reach_m, more_m):
    """Where spoil lies beside a cut: a bump on the shoulder that falls outwards and stands above the ground behind.

    The ground behind is a line through the section from 3 to 11 m beyond the shoulder, `more_m` farther out where wide
    banks are looked for. Only a bump that falls by half of `rise_m` within 6 m (and `more_m`) counts, so the concave
    foot of a valley side is not taken for spoil.

    Parameters
    ----------
    section : float64 (n, m)
        Sections, smoothed along the line [m].
    step_m : float
        Distance of samples [m].
    shoulder : float64 (n,)
        Offset of the end of the steep side [m].
    side : int
        -1 left, 1 right.
    rise_m : float
        Least height over the ground behind [m].
    reach_m : float
        Farthest foot beyond the shoulder [m].
    more_m : float
        Added to all distances [m].

    Returns
    -------
    inner, outer : float64 (n,)
        Offsets of the natural edge of the cut and of the outer foot of the spoil [m]; both equal to the shoulder where
        there is none.
    """
    n, m = section.shape
    half = m // 2
    inner = shoulder.copy()
    outer = shoulder.copy()
    first = int(round((3.0 + more_m) / step_m))
    last = int(round((11.0 + more_m) / step_m))
    crest = int(round((2.0 + more_m) / step_m))
    look = int(round((6.0 + more_m) / step_m))
    reach = int(round((reach_m + more_m) / step_m))
    for i in range(n):
        at = half + int(round(shoulder[i] / step_m))
        level, slope = _ground_behind(section, i, at, side, first, last)
        if not level == level:
            continue
        top = -np.inf
        top_k = 0
        for k in range(0, crest + 1):
            j = at + side * k
            if 0 <= j < m and section[i, j] > top:
                top = section[i, j]
                top_k = k
        if top - (level + slope * top_k) < rise_m:
            continue
        lowest = top
        for k in range(top_k, top_k + look + 1):
            j = at + side * k
            if 0 <= j < m and section[i, j] < lowest:
                lowest = section[i, j]
        if top - lowest < 0.5 * rise_m:
            continue
        k = top_k
        while k > -reach:
            j = at + side * k
            if j < 0 or j >= m or not section[i, j] > level + slope * k:
                break
            k -= 1
        inner[i] = shoulder[i] + side * k * step_m
        k = top_k
        while k < reach:
            j = at + side * k
            if j < 0 or j >= m or not section[i, j] > level + slope * k + 0.02:
                break
            k += 1
        outer[i] = shoulder[i] + side * k * step_m
    return inner, outer


@compiled
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
            if hi < lo:
                continue
            steps = int(np.ceil((hi - lo) * 2.0)) + 1
            for k in range(steps + 1):
                o = lo + (hi - lo) * k / steps
                ri = int(np.floor(r + across_row[i] * o + 0.5))
                ci = int(np.floor(c + across_col[i] * o + 0.5))
                if 0 <= ri < rows and 0 <= ci < cols:
                    mask[ri, ci] |= bit


@compiled
def lower_line(z, row, col, level):
    """Lower the cells along a line, at steps of half a cell so that no 8-connected gap is left.

    Parameters
    ----------
    z : float32 (rows, cols)
        Lowered in place [m]; unknown cells stay so.
    row, col, level : float64 (n,)
        Stations [cells], and their levels [m]; between two stations the higher level holds, where both are known.
    """
    n = row.size
    for i in range(n):
        parts = 1
        top = level[i]
        if i < n - 1:
            longest = max(abs(row[i + 1] - row[i]), abs(col[i + 1] - col[i]))
            parts = max(1, int(np.ceil(longest * 2)))
            top = np.maximum(level[i], level[i + 1])
        if not np.isfinite(top):
            continue
        for k in range(parts):
            t = k / parts
            r = int(np.floor(row[i] + (t * (row[i + 1] - row[i]) if k else 0.0) + 0.5))
            c = int(np.floor(col[i] + (t * (col[i + 1] - col[i]) if k else 0.0) + 0.5))
            if 0 <= r < z.shape[0] and 0 <= c < z.shape[1] and z[r, c] > np.float32(top):
                z[r, c] = np.float32(top)
