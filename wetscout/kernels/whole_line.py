"""What a whole line shows: depth along it, how sharp its banks stand, how straight it runs, and the signs of its kind.

Each gives to the bit what the numpy expressions in `tests/naive_whole_line.py` give: a raster has thousands of short
lines, and forty array calls a line took twenty times as long.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.along import bow, known, median, quantile, ratio, straightness, tangents
from wetscout.kernels.compiled import compiled
from wetscout.kernels.lines import strip_depth
from wetscout.kernels.sums import length, total


@compiled
def _depths(s, points, t, near, far, half):
    """Depth at each station against a band `near` to `far` cells off, over strips of `half` cells to both sides."""
    out = np.empty(points.shape[0])
    for i in range(out.size):
        out[i] = strip_depth(s, points[i, 0], points[i, 1], t[i, 0], t[i, 1], near, far, half, np.int64(7))
    return out


@compiled
def saturation(s, points, run, bands):
    """Median of the depth against the near band over that against the far one.

    Parameters
    ----------
    s : float32 (rows, cols)
        Ground [m].
    points : float64 (n, 2)
        [cells].
    run : int
        Stations on both sides that give the direction.
    bands : (float, float, float, float, float)
        From and to where the near and the far band lie, half the length of a strip [cells].

    Returns
    -------
    float
        [-]; NaN where nothing is known.
    """
    a, b, c, d, half = bands
    t = tangents(points, run)
    return ratio(_depths(s, points, t, a, b, half), _depths(s, points, t, c, d, half))


@compiled
def quality(s, points, run, bands, straight, shown):
    """What a whole line shows.

    Parameters
    ----------
    s, points, run, bands
        As of `saturation`.
    straight : (int, int)
        As of `along.straightness`.
    shown : (float, float, float)
        Only the part from the first to the last station of this depth [m] counts where it is so long: cell size,
        length [m]; -inf: the whole line.

    Returns
    -------
    cells, quartile, middle, saturation, straight : float
        Length [cells], quartile and median of the depth [m], the others 0-1. All but the first 0 where less than half
        of the line is known.
    """
    a, b, c, d, half = bands
    t = tangents(points, run)
    near = _depths(s, points, t, a, b, half)
    if shown[0] > -np.inf:
        first, last = -1, -1
        for i in range(near.size):
            if near[i] >= shown[0]:
                first = i if first < 0 else first
                last = i
        if last > first and not (last - first) * shown[1] < shown[2]:
            points = points[first : last + 1]
            t = tangents(points, run)
            near = _depths(s, points, t, a, b, half)
    cells = length(points)
    depth = known(near)
    if 2 * depth.size < near.size:
        return cells, 0.0, 0.0, 0.0, 0.0
    sharp = ratio(near, _depths(s, points, t, c, d, half))
    return cells, quantile(depth, 0.25), quantile(depth, 0.5), sharp, straightness(points, straight[0], straight[1])


@compiled
def _deepest(near, far, count):
    """Median of the `count` deepest depths, of equals the first, and how sharp the banks stand there."""
    order = np.empty(near.size, np.int64)
    for i in range(order.size):
        order[i] = i
    # by Shell's method as in `along.ascending`, with the place to part equals
    gap = near.size // 2
    while gap > 0:
        for i in range(gap, order.size):
            one = order[i]
            k = i
            while k >= gap and _before(near, one, order[k - gap]):
                order[k] = order[k - gap]
                k -= gap
            order[k] = one
        gap //= 2
    own, out = np.empty(count), np.empty(count)
    for i in range(count):
        own[i], out[i] = near[order[i]], far[order[i]]
    return median(known(own)), ratio(own, out)


@compiled
def _before(near, a, b):
    """Whether place a is deeper than b, unknown last."""
    if np.isnan(near[a]) or np.isnan(near[b]):
        return a < b if np.isnan(near[a]) and np.isnan(near[b]) else np.isnan(near[b])
    return near[a] > near[b] or (near[a] == near[b] and a < b)


@compiled
def undisturbed(values, disturbed):
    """Values (n,) without those beside a road or another line, unless they are most."""
    count = 0
    for i in range(values.size):
        count += disturbed[i]
    if not 2 * count < values.size:
        return values
    out = np.empty(values.size - count)
    n = 0
    for i in range(values.size):
        if not disturbed[i]:
            out[n] = values[i]
            n += 1
    return out


@compiled
def unevenness(depth, disturbed):
    """Spread of the depth along a line (90 % less 10 %) over its median.

    Parameters
    ----------
    depth : float64 (n,)
        [m], NaN where unknown.
    disturbed : bool (n,)
        Stations beside a road or another line: left out unless they are most.

    Returns
    -------
    float
        NaN where no depth is known.
    """
    own = known(undisturbed(depth, disturbed))
    if own.size == 0:
        return np.nan
    usual = median(known(depth))
    return (quantile(own, 0.9) - quantile(own, 0.1)) / (0.05 if usual < 0.05 else usual)


@compiled
def rise(behind, disturbed):
    """How far the ground behind the banks goes on rising, on the side where it rises less.

    Parameters
    ----------
    behind : float64 (n, 2)
        By station and side [m].
    disturbed : bool (n,)
        As of `unevenness`.

    Returns
    -------
    float
        [m]; NaN where it is unknown on one side.
    """
    one = median(known(undisturbed(behind[:, 0].copy(), disturbed)))
    other = median(known(undisturbed(behind[:, 1].copy(), disturbed)))
    return other if other < one or np.isnan(other) else one


@compiled
def long_legs(corners, start, cell_m, least_m):
    """Lines whose legs, weighted by their length, are so long on the mean.

    Parameters
    ----------
    corners : float64 (n, 2)
        Of all lines [cells].
    start : int64 (lines + 1,)
        First corner of each line.
    cell_m, least_m : float
        [m].

    Returns
    -------
    bool (lines,)
    """
    out = np.empty(start.size - 1, np.bool_)
    for k in range(out.size):
        legs = np.empty(start[k + 1] - start[k] - 1)
        squares = np.empty(legs.size)
        for i in range(legs.size):
            a = start[k] + i
            legs[i] = np.hypot(corners[a + 1, 0] - corners[a, 0], corners[a + 1, 1] - corners[a, 1]) * cell_m
            squares[i] = legs[i] * legs[i]
        out[k] = total(squares) >= least_m * total(legs)
    return out


@compiled
def _one_sided(levels, behind, away):
    """Difference of the banks over the higher one, and the rise behind that one, medians over some stations."""
    bed, left, right = levels
    sides, beyond = np.empty(bed.size), np.empty(bed.size)
    n = 0
    for i in range(bed.size):
        if not away[i]:
            continue
        high = left[i]
        if np.isnan(high) or right[i] > high:
            high = right[i]
        high -= bed[i]
        sides[n] = abs(left[i] - right[i]) / (0.05 if high < 0.05 else high)
        beyond[n] = behind[i, 0] if left[i] >= right[i] else behind[i, 1]
        n += 1
    return median(known(sides[:n])), median(known(beyond[:n]))


@compiled
def signs(s, points, levels, sides, disturbed, run, bands, valley, courses, shares):
    """What decides the kind of a line.

    Parameters
    ----------
    s, points, run, bands
        As of `saturation`; smoothed ground.
    levels : (float64 (n,), float64 (n,), float64 (n,))
        Bed, left and right bank [m].
    sides : (float64 (n,), float64 (n,), float64 (n, 2))
        Distance of the left and the right shoulder, rise behind either bank [m].
    disturbed : bool (n,)
        Stations beside a road or another line.
    valley : (float, float)
        Band whose ground tells a valley [cells].
    courses : (int, int, int)
        Stations as of `along.straightness`, and half a chord as of `along.bow`.
    shares : (float, bool)
        Share of the stations that must lie away from roads and other lines to be judged by those alone; whether the
        deepest third is looked at.

    Returns
    -------
    saturation, depth, valley, one_sided, behind, width, cells, straight, uneven, bow, rise, notch, notch_saturation
        Floats, see `linework.kinds.Signs`; the length and the bow in cells, the others as there.
    """
    a, b, c, d, half = bands
    t = tangents(points, run)
    near, far = _depths(s, points, t, a, b, half), _depths(s, points, t, c, d, half)
    beyond = _depths(s, points, t, valley[0], valley[1], half)
    bed, left, right = levels
    n = near.size
    depth, width = np.empty(n), np.empty(n)
    away = np.empty(n, np.bool_)
    count = 0
    for i in range(n):
        low = left[i]
        if np.isnan(low) or right[i] < low:
            low = right[i]
        depth[i] = low - bed[i]
        width[i] = sides[0][i] + sides[1][i]
        beyond[i] -= near[i]
        away[i] = not disturbed[i]
        count += away[i]
    if not count / n >= shares[0]:
        away[:] = True
    sided, behind = _one_sided(levels, sides[2], away)
    notch, sharp = _deepest(near, far, max(1, n // 3)) if shares[1] else (0.0, 0.0)
    return (
        ratio(near, far),
        median(known(depth)),
        median(known(beyond)),
        sided,
        behind,
        median(known(width)),
        length(points),
        straightness(points, courses[0], courses[1]),
        unevenness(depth, disturbed),
        bow(points, courses[0], courses[2]),
        rise(sides[2], disturbed),
        notch,
        sharp,
    )


@compiled
def corners(points, arm, apart, cosine):
    """Where a line turns sharply, sharpest first; of equals the earlier.

    Parameters
    ----------
    points : float64 (n, 2)
        Stations about one cell apart [cells].
    arm, apart : int
        Stations of the ways before and after a corner; least distance of corners from each other and from the ends,
        no less than an arm.
    cosine : float
        Of the least turn.

    Returns
    -------
    int64 (k,)
        Stations, in order.
    """
    n = points.shape[0]
    # plain loops: the compiler takes a second more for argmin, flatnonzero and full
    sharp = np.empty(n)
    for i in range(n):
        sharp[i] = np.inf
    for i in range(apart, n - apart):
        a, b = points[i, 0] - points[i - arm, 0], points[i, 1] - points[i - arm, 1]
        c, d = points[i + arm, 0] - points[i, 0], points[i + arm, 1] - points[i, 1]
        straight = (a * c + b * d) / max(np.sqrt(a * a + b * b) * np.sqrt(c * c + d * d), 1e-9)
        if straight <= cosine:
            sharp[i] = straight
    found = np.empty(n, np.int64)
    count = 0
    while n > 0:
        at = 0
        for i in range(n):
            if sharp[i] < sharp[at]:
                at = i
        if sharp[at] == np.inf:
            break
        for i in range(max(0, at - apart + 1), min(at + apart, n)):
            sharp[i] = np.inf
        k = count
        while k > 0 and found[k - 1] > at:
            found[k] = found[k - 1]
            k -= 1
        found[k] = at
        count += 1
    return found[:count]
