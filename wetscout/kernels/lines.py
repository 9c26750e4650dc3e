"""Sampling along and across lines: sections, strips, the lowest line near a given one."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf


@compiled
def bilinear(z, r, c):
    """Ground between cells [m]; NaN outside or next to no-data."""
    rows, cols = z.shape
    if not (0.0 <= r <= rows - 1 and 0.0 <= c <= cols - 1):
        return np.nan
    i = min(int(r), rows - 2) if rows > 1 else 0
    j = min(int(c), cols - 2) if cols > 1 else 0
    u = r - i
    v = c - j
    i1 = min(i + 1, rows - 1)
    j1 = min(j + 1, cols - 1)
    top = z[i, j] * (1.0 - v) + z[i, j1] * v
    low = z[i1, j] * (1.0 - v) + z[i1, j1] * v
    return top * (1.0 - u) + low * u


@compiled
def sections(z, row, col, across_r, across_c, offsets):
    """Ground across each station of a line.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    row, col : float64 (n,)
        Stations [cells].
    across_r, across_c : float64 (n,)
        Unit vector across the line, to its left.
    offsets : float64 (m,)
        [cells], positive to the left.

    Returns
    -------
    float64 (n, m)
        [m], NaN where there is no ground.
    """
    out = np.empty((row.size, offsets.size), dtype=np.float64)
    for i in range(row.size):
        for j in range(offsets.size):
            out[i, j] = bilinear(z, row[i] + offsets[j] * across_r[i], col[i] + offsets[j] * across_c[i])
    return out


@leaf
def strip_depth(z, r, c, ur, uc, near, far, half, n):
    """Lower bank band minus bed of a strip with any place and direction.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    r, c : float
        Centre [cells].
    ur, uc : float
        Unit vector along.
    near, far : float
        Two bank offsets [cells]; the band is the mean of both.
    half : float
        Half the strip length [cells].
    n : int
        Points along, at least 2.

    Returns
    -------
    float
        [m]; NaN where less than 60 % of a part lies on ground.
    """
    bed = 0.0
    left = 0.0
    right = 0.0
    nb = 0
    nl = 0
    nr = 0
    for i in range(n):
        t = half * (2.0 * i / (n - 1) - 1.0)
        y = r + t * ur
        x = c + t * uc
        v = bilinear(z, y, x)
        if not np.isnan(v):
            bed += v
            nb += 1
        for k in range(2):
            o = near if k == 0 else far
            v = bilinear(z, y - o * uc, x + o * ur)
            if not np.isnan(v):
                left += v
                nl += 1
            v = bilinear(z, y + o * uc, x - o * ur)
            if not np.isnan(v):
                right += v
                nr += 1
    if nb < 0.6 * n or nl < 1.2 * n or nr < 1.2 * n:
        return np.nan
    return min(left / nl, right / nr) - bed / nb


@compiled
def line_depths(z, row, col, along_r, along_c, near, far, half, n):
    """`strip_depth` at every station of a line; float64 (n,)."""
    out = np.empty(row.size)
    for i in range(row.size):
        out[i] = strip_depth(z, row[i], col[i], along_r[i], along_c[i], near, far, half, n)
    return out


@compiled
def lowest_way(profile, turn_cost, side_cost):
    """Offsets of the way along a strip that stays lowest without jumping (dynamic programming).

    Parameters
    ----------
    profile : float64 (n, m)
        Ground across each station [m], the line itself in the middle; NaN where there is none.
    turn_cost : float
        Cost [m] of changing the offset by one between neighbouring stations; more than one is not allowed.
    side_cost : float
        Cost [m] of each step away from the middle, which decides in a flat bed.

    Returns
    -------
    int64 (n,)
        Index of the offset at each station.
    """
    n, m = profile.shape
    cost = np.empty((n, m))
    back = np.empty((n, m), np.int64)
    mid = m // 2
    for i in range(n):
        # no ground: no pull, but dearer than any bed
        top = 0.0
        seen = False
        for j in range(m):
            v = profile[i, j]
            if not np.isnan(v) and (not seen or v > top):
                top = v
                seen = True
        base = 0.0
        for j in range(m):
            v = profile[i, j]
            if not np.isnan(v) and (base == 0.0 or v - top < base):
                base = v - top
        for j in range(m):
            v = profile[i, j]
            own = (v - top - base if not np.isnan(v) else 1.0) + side_cost * abs(j - mid)
            best = 0.0
            at = j
            if i > 0:
                best = cost[i - 1, j]
                for q in (j - 1, j + 1):
                    if 0 <= q < m and cost[i - 1, q] + turn_cost < best:
                        best = cost[i - 1, q] + turn_cost
                        at = q
            cost[i, j] = best + own
            back[i, j] = at
    out = np.empty(n, np.int64)
    j = 0
    for k in range(1, m):
        if not (cost[n - 1, k] >= cost[n - 1, j] or np.isnan(cost[n - 1, j])):
            j = k
    for i in range(n - 1, -1, -1):
        out[i] = j
        j = back[i, j]
    return out


@leaf
def small_median(part, m):
    """Median of the first m places, which are sorted in place (insertion: m is a dozen or two)."""
    for i in range(1, m):
        v = part[i]
        j = i - 1
        while j >= 0 and part[j] > v:
            part[j + 1] = part[j]
            j -= 1
        part[j + 1] = v
    if m % 2 == 1:
        return part[m // 2]
    return 0.5 * (part[m // 2 - 1] + part[m // 2])


@compiled
def running_median(values, half):
    """Median of the numbers within `half` places on both sides, NaN left out.

    Parameters
    ----------
    values : float64 (n,)
    half : int

    Returns
    -------
    float64 (n,)
        NaN where all are.
    """
    n = values.size
    out = np.empty(n)
    part = np.empty(2 * half + 1)
    for i in range(n):
        m = np.int64(0)
        for j in range(max(0, i - half), min(n, i + half + 1)):
            if not np.isnan(values[j]):
                part[m] = values[j]
                m += 1
        out[i] = small_median(part, m) if m > 0 else np.nan
    return out


@compiled
def climb(bank, bed, slack):
    """Greatest rise of the bank from one station to a later one whose bed is not higher.

    Parameters
    ----------
    bank, bed : float64 (n,)
        Downhill [m]; NaN where unknown.
    slack : float
        How much the later bed may stand higher [m].

    Returns
    -------
    float
        [m], at least 0.
    """
    best = 0.0
    for i in range(bank.size):
        if np.isnan(bank[i]) or np.isnan(bed[i]):
            continue
        for j in range(i + 1, bank.size):
            if bank[j] - bank[i] > best and bed[j] <= bed[i] + slack:
                best = bank[j] - bank[i]
    return best


@compiled
def row_median(a, low, high):
    """Median of part of each row, NaN left out.

    Parameters
    ----------
    a : float64 (n, m)
    low, high : int64 (n,)
        First and one past the last column to use in each row.

    Returns
    -------
    float64 (n,)
        NaN where nothing is left.
    """
    n, m = a.shape
    out = np.empty(n)
    part = np.empty(m)
    for i in range(n):
        k = np.int64(0)
        for j in range(max(0, low[i]), min(m, high[i])):
            if not np.isnan(a[i, j]):
                part[k] = a[i, j]
                k += 1
        out[i] = small_median(part, k) if k > 0 else np.nan
    return out


@compiled
def half_width(across, step_m, slope, flat_m):
    """Distance to the end of the last steep run outward from the bed.

    Parameters
    ----------
    across : float64 (n, m)
        Ground from the line outwards, one step apart [m].
    step_m, slope, flat_m : float
        Step [m], side slope at which the cut ends, greatest half width of a flat bed before the slope begins [m].

    Returns
    -------
    float64 (n,)
        [m]; one step where no slope is steep.
    """
    n, m = across.shape
    out = np.empty(n)
    for i in range(n):
        out[i] = step_m
        first = -1
        for j in range(m - 2):
            # rise over two steps, so that one rough cell neither starts nor ends the slope
            rise = (across[i, j + 2] - across[i, j]) / (2.0 * step_m)
            steep = np.isfinite(rise) and rise > slope
            if first < 0 and steep:
                first = j
                if not j * step_m <= flat_m:
                    break
                out[i] = (m - 3 + 1) * step_m
            elif first >= 0 and not steep:
                # the run ends at the first gap after it has begun
                out[i] = (j + 1) * step_m
                break
    return out


@compiled
def banks(part, half, step_m, sizes):
    """Bank level beyond the shoulder, and the share of stations with a ridge on it.

    Parameters
    ----------
    part : float64 (n, m)
        Ground from the line outwards, one step apart [m].
    half : float64 (n,)
        Distance of the shoulder [m].
    step_m : float
        [m]
    sizes : (float, float, float, float)
        Where the band begins at least and how wide it is, how far out a ridge is looked for, how much it stands over
        the ground behind [m].

    Returns
    -------
    bank : float64 (n,)
        [m], NaN where unknown.
    ridge : float
        0-1, of the stations whose ground is known.
    """
    n, m = part.shape
    least, width, reach, high = sizes
    first = np.empty(n, np.int64)
    last = np.empty(n, np.int64)
    inner = np.empty(n, np.int64)
    outer = np.empty(n, np.int64)
    edge = int(reach / step_m) + 1
    for i in range(n):
        inner[i], outer[i] = edge, edge + int(8.0 / step_m)
        # old ditches are wider than the usual band allows for: begin beyond their shoulder
        begin = max(least, half[i] + step_m)
        first[i] = int(np.ceil(begin / step_m))
        last[i] = int(np.floor((begin + width) / step_m)) + 1
    bank = row_median(part, first, last)
    behind = row_median(part, inner, outer)
    known, ridges = 0, 0
    for i in range(n):
        if not (np.isfinite(behind[i]) and np.isfinite(bank[i])):
            continue
        known += 1
        top = -np.inf
        for j in range(max(0, first[i] - int(2.0 / step_m)), min(edge, m)):
            if np.isfinite(part[i, j]):
                top = max(top, part[i, j])
        ridges += 1 if top - behind[i] >= high else 0
    return bank, ridges / max(1, known)
