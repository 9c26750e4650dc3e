"""Points along lines: even stations, running means, directions, and a line moved to the lowest ground beside it.

Each gives to the bit what the numpy expressions in `tests/naive_linework.py` give; a raster has thousands of short
lines, and a dozen array calls a line took ten times as long.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled
from wetscout.kernels.lines import bilinear, lowest_way


@compiled
def resample(points, step):
    """Points at even distances along a line, both ends kept.

    Parameters
    ----------
    points : float64 (n, 2)
        [cells].
    step : float
        Wanted distance [cells].

    Returns
    -------
    float64 (m, 2)
        At least two points.
    """
    n = points.shape[0]
    at = np.empty(n)
    kept = np.empty(n, np.int64)
    m = 0
    for i in range(n):
        # of points on one spot the first stays
        if i > 0 and not np.hypot(points[i, 0] - points[i - 1, 0], points[i, 1] - points[i - 1, 1]) > 1e-9:
            continue
        kept[m] = i
        at[m] = 0.0
        if m > 0:
            j = kept[m - 1]
            at[m] = at[m - 1] + np.hypot(points[i, 0] - points[j, 0], points[i, 1] - points[j, 1])
        m += 1
    if m < 2:
        out = np.empty((2, 2))
        for i in range(2):
            out[i, 0], out[i, 1] = points[0, 0], points[0, 1]
        return out
    length = at[m - 1]
    count = max(2, int(np.rint(length / step)) + 1)
    apart = length / (count - 1)
    out = np.empty((count, 2))
    j = 0
    for i in range(count):
        x = i * apart if i < count - 1 else length
        while j < m - 1 and at[j + 1] <= x:
            j += 1
        a = kept[j]
        if j == m - 1 or at[j] == x:
            out[i, 0], out[i, 1] = points[a, 0], points[a, 1]
            continue
        b = kept[j + 1]
        for k in range(2):
            slope = (points[b, k] - points[a, k]) / (at[j + 1] - at[j])
            out[i, k] = slope * (x - at[j]) + points[a, k]
    return out


@compiled
def smooth(values, half):
    """Running mean down the columns over up to `half` rows on both sides, fewer towards the ends, which stay.

    Parameters
    ----------
    values : float64 (n, m)
        Any unit.
    half : int

    Returns
    -------
    float64 (n, m)
        In the same unit.
    """
    n, m = values.shape
    total = np.zeros((n + 1, m))
    for i in range(n):
        for k in range(m):
            total[i + 1, k] = total[i, k] + values[i, k]
    out = np.empty((n, m))
    for i in range(n):
        h = min(half, i, n - 1 - i)
        for k in range(m):
            out[i, k] = (total[i + h + 1, k] - total[i - h, k]) / (2 * h + 1)
    return out


@compiled
def _even(points, half):
    """Stations one cell apart of a line smoothed over `half` of them on both sides."""
    return resample(smooth(resample(points, 1.0), half), 1.0)


@compiled
def tangents(points, half):
    """Unit vectors along a line, from differences over `half` stations on both sides.

    Parameters
    ----------
    points : float64 (n, 2)
    half : int

    Returns
    -------
    float64 (n, 2)
    """
    n = points.shape[0]
    out = np.empty((n, 2))
    for i in range(n):
        a = max(i - half, 0)
        b = min(i + half, n - 1)
        d_row = points[b, 0] - points[a, 0]
        d_col = points[b, 1] - points[a, 1]
        size = np.hypot(d_row, d_col)
        if size == 0.0:
            size = 1.0
        out[i, 0] = d_row / size
        out[i, 1] = d_col / size
    return out


@compiled
def tangents_of(points, start, half):
    """`tangents` of many lines: points (n, 2) of all of them, and where each begins, start (lines + 1,)."""
    out = np.empty(points.shape)
    for k in range(start.size - 1):
        part = tangents(points[start[k] : start[k + 1]], half)
        for i in range(part.shape[0]):
            out[start[k] + i, 0], out[start[k] + i, 1] = part[i, 0], part[i, 1]
    return out


@compiled
def recentre(s, points, half, offsets, run, turn_cost, side_cost):
    """Move a line to the lowest ground within reach, without jumps.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m].
    points : float64 (n, 2)
        [cells].
    half, run : int
        Stations on both sides over which the line is smoothed, and the ground along it.
    offsets : float64 (m,)
        Places looked at across the line [cells].
    turn_cost, side_cost : float
        As of `lowest_way` [m].

    Returns
    -------
    float64 (k, 2)
        Stations about one cell apart.
    """
    p = _even(points, half)
    t = tangents(p, 2 * half)
    n, m = p.shape[0], offsets.size
    ground = np.empty((n, m))
    for i in range(n):
        for k in range(m):
            ground[i, k] = bilinear(s, p[i, 0] + offsets[k] * -t[i, 1], p[i, 1] + offsets[k] * t[i, 0])
    least = np.inf
    for i in range(n):
        for k in range(m):
            least = min(least, ground[i, k])
    height = np.zeros((n, m))
    seen = np.zeros((n, m))
    for i in range(n):
        for k in range(m):
            if np.isfinite(ground[i, k]):
                height[i, k] = ground[i, k] - least
                seen[i, k] = 1.0
    height = smooth(height, run)
    seen = smooth(seen, run)
    for i in range(n):
        for k in range(m):
            ground[i, k] = height[i, k] / max(seen[i, k], 1e-9) if seen[i, k] > 0.3 else np.nan
    pick = lowest_way(ground, turn_cost, side_cost)
    shift = np.empty((n, 1))
    for i in range(n):
        shift[i, 0] = offsets[pick[i]]
    shift = smooth(shift, np.int64(1))
    for i in range(n):
        p[i, 0] = min(max(p[i, 0] + shift[i, 0] * -t[i, 1], 0.0), s.shape[0] - 1.0)
        p[i, 1] = min(max(p[i, 1] + shift[i, 0] * t[i, 0], 0.0), s.shape[1] - 1.0)
    return _even(p, np.int64(1))


@compiled
def ascending(values):
    """Sorted copy of values (n,), NaN last, by Shell's method (Shell 1959; gaps halved).

    As fast as the general sort for the some hundred values of a line, which takes 4 s more to compile at a first run.
    """
    out = np.empty(values.size, values.dtype)
    for i in range(values.size):
        out[i] = values[i]
    gap = values.size // 2
    while gap > 0:
        for i in range(gap, out.size):
            one = out[i]
            k = i
            while k >= gap and (out[k - gap] > one or (np.isnan(out[k - gap]) and not np.isnan(one))):
                out[k] = out[k - gap]
                k -= gap
            out[k] = one
        gap //= 2
    return out


@compiled
def known(values):
    """The finite ones of some values (n,), sorted."""
    out = np.empty(values.size)
    n = 0
    for v in values:
        if np.isfinite(v):
            out[n] = v
            n += 1
    return ascending(out[:n])


@compiled
def median(ordered):
    """Median of sorted values (n,), NaN where there are none."""
    n = ordered.size
    return 0.5 * (ordered[(n - 1) // 2] + ordered[n // 2]) if n > 0 else np.nan


@compiled
def quantile(ordered, share):
    """Quantile of sorted values (n,), n > 0, linear between them as numpy reckons it."""
    at = (ordered.size - 1) * share
    i = int(np.floor(at))
    low = ordered[i]
    high = ordered[min(i + 1, ordered.size - 1)]
    t = at - i
    return high - (high - low) * (1.0 - t) if t >= 0.5 else low + (high - low) * t


@compiled
def ratio(near, far):
    """Median of near depth over far depth of a line where near is known; 1 where the far band is not higher."""
    out = np.empty(near.size)
    for i in range(near.size):
        out[i] = near[i] / max(far[i], 0.02) if far[i] > 0.02 else 1.0
        if not np.isfinite(near[i]):
            out[i] = np.nan
    return median(known(out))


@compiled
def straightness(points, half, length):
    """Median over overlapping stretches of chord over length, 0-1.

    Parameters
    ----------
    points : float64 (n, 2)
        Stations [cells].
    half, length : int
        Stations on both sides over which the line is smoothed; stations of a stretch at most.

    Returns
    -------
    float
    """
    p = smooth(points, half)
    last = p.shape[0] - 1
    n = max(2, min(last, length))
    along = np.zeros(last + 1)
    for i in range(last):
        along[i + 1] = along[i] + np.hypot(p[i + 1, 0] - p[i, 0], p[i + 1, 1] - p[i, 1])
    step = max(1, n // 2)
    count = (max(1, last + 1 - n) + step - 1) // step
    share = np.empty(count)
    for k in range(count):
        a = k * step
        b = min(a + n, last)
        chord = np.hypot(p[b, 0] - p[a, 0], p[b, 1] - p[a, 1])
        share[k] = chord / max(along[b] - along[a], 1e-9)
    return min(max(median(ascending(share)), 0.0), 1.0)


@compiled
def bow(points, half, reach):
    """Median distance of stations from the chord between the stations `reach` before and behind them.

    Parameters
    ----------
    points : float64 (n, 2)
        Stations [cells].
    half, reach : int
        Stations on both sides over which the line is smoothed; half a chord.

    Returns
    -------
    float
        [cells]; 0 where the line is shorter than a chord.
    """
    count = points.shape[0] - 2 * reach
    if count < 1:
        return 0.0
    p = smooth(points, half)
    off = np.empty(count)
    for i in range(count):
        a, m, b = p[i], p[i + reach], p[i + 2 * reach]
        row, col = b[0] - a[0], b[1] - a[1]
        off[i] = abs((m[0] - a[0]) * col - (m[1] - a[1]) * row) / max(np.hypot(row, col), 1e-9)
    return median(ascending(off))


@compiled
def headings(points, reach):
    """Both ends of a line and the directions in which they point.

    Parameters
    ----------
    points : float64 (n, 2)
        [cells].
    reach : float
        A direction is taken from the first point so far from the end, or the other end [cells].

    Returns
    -------
    at, out : float64 (2, 2)
        First and last point, and unit vectors outwards; zeros where the line has no length.
    """
    n = points.shape[0]
    at, out = np.empty((2, 2)), np.empty((2, 2))
    for side in range(2):
        end = 0 if side == 0 else n - 1
        step = 1 if side == 0 else -1
        k = end
        for i in range(n):
            k = end + i * step
            if np.hypot(points[k, 0] - points[end, 0], points[k, 1] - points[end, 1]) >= reach:
                break
        d_row, d_col = points[end, 0] - points[k, 0], points[end, 1] - points[k, 1]
        size = np.hypot(d_row, d_col)
        at[side, 0], at[side, 1] = points[end, 0], points[end, 1]
        out[side, 0] = d_row / size if size > 0.0 else d_row
        out[side, 1] = d_col / size if size > 0.0 else d_col
    return at, out


@compiled
def steps_on_ground(z, at, out, most):
    """How many of `most` steps of one cell from a place (2,) in a direction (2,) stay on ground; -1 where all do."""
    for k in range(1, most + 1):
        r, c = int(np.rint(at[0] + k * out[0])), int(np.rint(at[1] + k * out[1]))
        if not (0 <= r < z.shape[0] and 0 <= c < z.shape[1] and np.isfinite(z[r, c])):
            return k - 1
    return -1


@compiled
def middle(values):
    """Median of values (n,), NaN where there are none or one is NaN: a twentieth of the time of numpy's for a few."""
    own = np.empty(values.size)
    for i in range(values.size):
        own[i] = values[i]
    ordered = ascending(own)
    return median(ordered) if ordered.size == 0 or ordered[-1] == ordered[-1] else np.nan
