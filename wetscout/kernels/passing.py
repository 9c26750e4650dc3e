"""Where water passes beneath fill: humps in the bed of a line, its ends, and what the ends are aimed at.

One call a line, or one for all ends; a dozen array calls for each end took twenty times as long. To the bit what the
numpy expressions in `tests/naive_passing.py` give.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.along import middle
from wetscout.kernels.compiled import compiled
from wetscout.kernels.lines import running_median
from wetscout.kernels.profile import ground_across, lowest


@compiled
def fine_bed(z, points, offsets, run, half):
    """Lowest ground across each station of a line, median along it.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    points : float64 (n, 2)
        [cells].
    offsets : float64 (m,)
        Samples across [cells].
    run, half : int
        Stations on both sides that give the direction, and that the median is of.

    Returns
    -------
    float64 (n,)
        [m]; NaN where unknown.
    """
    return running_median(lowest(ground_across(z, points, offsets, run), np.int64(0), offsets.size - 1)[0], half)


@compiled
def humps(bed, half):
    """How far a bed (n,) stands above its opening over `half` stations on both sides [m]."""
    n = bed.size
    low, out = np.empty(n), np.empty(n)
    for i in range(n):
        least = np.inf
        for k in range(max(0, i - half), min(n, i + half + 1)):
            least = min(least, bed[k])
        low[i] = least
    for i in range(n):
        most = -np.inf
        for k in range(max(0, i - half), min(n, i + half + 1)):
            most = max(most, low[k])
        out[i] = bed[i] - most
    return out


@compiled
def inside(rise, foot_m, least_m, cell_m, longest_m):
    """Humps inside a line.

    Parameters
    ----------
    rise : float64 (n,)
        See `humps` [m].
    foot_m, least_m : float
        A hump ends where no more than the first is left, and counts where it reaches the second [m].
    cell_m, longest_m : float
        Distance of stations, and the longest way from one foot to the other [m].

    Returns
    -------
    int64 (k, 2)
        The last station before each hump and the first one behind it.
    """
    n = rise.size
    out = np.empty((n, 2), np.int64)
    count = 0
    first = -1
    top = 0.0
    for i in range(n + 1):
        if i < n and rise[i] > foot_m:
            first = i if first < 0 else first
            top = max(top, rise[i])
            continue
        if first > 0 and i < n and top >= least_m and not (i - first + 1) * cell_m > longest_m:
            out[count, 0], out[count, 1] = first - 1, i
            count += 1
        first, top = -1, 0.0
    return out[:count]


@compiled
def open_ends(points, bed, rise, foot_m, most, backs, reach, of_bed, cosine):
    """Both ends of a line, drawn back off a hump that reaches the end, once for each heading that differs.

    Parameters
    ----------
    points : float64 (n, 2)
        [cells].
    bed, rise : float64 (n,)
        Bed, and how far it stands above its opening [m].
    foot_m : float
        A hump ends where no more of it is left [m].
    most : int
        Farthest an end is drawn back.
    backs : int64 (k,)
        Stations farther back at which headings are taken, 0 first.
    reach, of_bed : int
        Stations of a heading, and of the median that is the bed of an end.
    cosine : float
        Headings with a greater cosine between them are one.

    Returns
    -------
    at : int64 (m,)
        Station of each end.
    out : float64 (m, 3)
        Unit vector outwards (row, col) and bed [m].
    """
    n = bed.size
    at = np.empty(2 * backs.size, np.int64)
    out = np.empty((2 * backs.size, 3))
    m = 0
    for side in range(2):
        sign, end = (1, 0) if side == 0 else (-1, n - 1)
        most_here = min(n - 3, most)
        first = 0
        while first < most_here and rise[end + sign * first] > foot_m:
            first += 1
        if first >= most_here:
            first = 0
        begin = m
        for b in range(backs.size):
            k = first + backs[b]
            # the end itself also of a line shorter than the run its heading is taken from
            if b > 0 and k + reach > n - 1:
                break
            here, there = end + sign * k, end + sign * min(n - 1, k + reach)
            row, col = points[here, 0] - points[there, 0], points[here, 1] - points[there, 1]
            size = np.hypot(row, col)
            alike = size == 0.0
            for q in range(begin, m):
                alike |= out[q, 0] * row + out[q, 1] * col > cosine * size
            if alike:
                continue
            own = np.empty(max(0, min(n, k + of_bed) - k))
            for q in range(own.size):
                own[q] = bed[end + sign * (k + q)]
            at[m], out[m, 0], out[m, 1], out[m, 2] = here, row / size, col / size, middle(own)
            m += 1
    return at[:m], out[:m]


@compiled
def turns(points, leg, back):
    """Cosine of the angle between the ways before and after each station that has both.

    Parameters
    ----------
    points : float64 (n, 2)
        [cells].
    leg, back : int
        Stations of either way, and how far from the station it is.

    Returns
    -------
    float64 (n - 2 (leg + back),)
    """
    far = leg + back
    out = np.empty(max(0, points.shape[0] - 2 * far))
    for i in range(out.size):
        j = i + far
        a, b = points[j - back, 0] - points[j - far, 0], points[j - back, 1] - points[j - far, 1]
        c, d = points[j + far, 0] - points[j + back, 0], points[j + far, 1] - points[j + back, 1]
        out[i] = (a * c + b * d) / max(np.hypot(a, b) * np.hypot(c, d), 1e-9)
    return out


@compiled
def fill_between(z, a, b, level):
    """How far the highest ground on the straight way from a to b (2,) [cells] stands above a level [m].

    In the precision of the ground; NaN over no-data.
    """
    rows, cols = z.shape
    row, col = b[0] - a[0], b[1] - a[1]
    n = max(3, int(np.ceil(np.hypot(row, col))) + 1)
    step = 1.0 / (n - 1)
    top = np.float32(-np.inf)
    for i in range(n):
        t = i * step if i < n - 1 else 1.0
        r = min(max(int(np.rint(a[0] + t * row)), 0), rows - 1)
        c = min(max(int(np.rint(a[1] + t * col)), 0), cols - 1)
        if np.isnan(z[r, c]):
            return np.nan
        top = max(top, z[r, c])
    return np.float64(top - np.float32(level))


@compiled
def side_ahead(at, out, line, near, start, points, owner, sizes, ahead_first, beds):
    """The nearest point of another line ahead of each end.

    Parameters
    ----------
    at, out : float64 (m, 2)
        Ends [cells] and unit vectors outwards.
    line : int64 (m,)
        Whose end it is.
    near : int64 (k,)
        Points within reach of each end, ascending, one end after the other.
    start : int64 (m + 1,)
        Where the points of each end begin in `near`.
    points : float64 (n, 2)
        Points of all lines [cells].
    owner : int64 (n,)
        Line of each point.
    sizes : (float, float, float)
        A point counts from this distance on [cells] and within the angle of this cosine; an end with a point of
        another line nearer than the last is aimed at none [cells].
    ahead_first : bool
        Whether what lies aside is as far as it lies aside farther.
    beds : (float64 (n,), float64 (m,))
        Bed of the points, and the highest that is met from each end [m].

    Returns
    -------
    int64 (m,)
        Number of the point, -1 where there is none.
    """
    least, cosine, touching = sizes
    found = np.empty(at.shape[0], np.int64)
    for e in range(found.size):
        found[e] = -1
        best = np.inf
        for q in range(start[e], start[e + 1]):
            k = near[q]
            if owner[k] == line[e]:
                continue
            row, col = points[k, 0] - at[e, 0], points[k, 1] - at[e, 1]
            size = np.hypot(row, col)
            if size <= touching:
                found[e] = -1
                break
            ahead = row * out[e, 0] + col * out[e, 1]
            if not (size > least and ahead >= cosine * size and beds[0][k] <= beds[1][e]):
                continue
            cost = size * (2.0 - ahead / size) if ahead_first else size
            if cost < best:
                best, found[e] = cost, k
    return found


@compiled
def facing(at, out, beds, line, pairs, sizes):
    """How well two ends face each other: the less the better.

    Parameters
    ----------
    at, out : float64 (m, 2)
        Ends [cells] and unit vectors outwards.
    beds : float64 (m,)
        [m]
    line : int64 (m,)
        Whose end it is.
    pairs : int64 (k, 2)
        Numbers of ends.
    sizes : (float, float, float, float, float)
        Least distance [cells], cosine of half the cone, greatest difference of the beds [m], cell size [m], length
        that counts as much as a hundredth of the cosine [m] times ten.

    Returns
    -------
    int64 (k,)
        Thousandths of the cosine that is missing, and the length; -1 where the two do not face each other.
    """
    least, cosine, rise_m, cell_m, far_m = sizes
    cost = np.empty(pairs.shape[0], np.int64)
    for k in range(cost.size):
        cost[k] = -1
        a, b = pairs[k, 0], pairs[k, 1]
        row, col = at[b, 0] - at[a, 0], at[b, 1] - at[a, 1]
        size = np.hypot(row, col)
        if line[a] == line[b] or abs(beds[a] - beds[b]) > rise_m or size < least:
            continue
        ahead = min(out[a, 0] * row + out[a, 1] * col, -(out[b, 0] * row + out[b, 1] * col)) / size
        if not ahead < cosine:
            cost[k] = int(1000 * (1.0 - ahead)) + int(10 * size * cell_m / far_m)
    return cost


@compiled
def ways_ahead(at, out, count, rows, cols):
    """Places (k, 2) one cell apart ahead of each end, `count` or up to the edge, and where each begins (m + 1,)."""
    places = np.empty((at.shape[0] * count, 2))
    start = np.zeros(at.shape[0] + 1, np.int64)
    n = 0
    for e in range(at.shape[0]):
        for k in range(1, count + 1):
            r, c = at[e, 0] + k * out[e, 0], at[e, 1] + k * out[e, 1]
            if not (0.0 < r < rows - 1 and 0.0 < c < cols - 1):
                break
            places[n, 0], places[n, 1] = r, c
            n += 1
        start[e + 1] = n
    return places[:n], start


@compiled
def low_beyond(z, places, start, over, beds, sizes):
    """The lowest place beyond the crest that the way ahead of each end passes over.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    places : float64 (k, 2)
        See `ways_ahead` [cells].
    start : int64 (m + 1,)
    over : float64 (k,)
        Distance of each place from the nearest crest [m].
    beds : float64 (m,)
        Of the ends [m].
    sizes : (float, float, float)
        The way passes over a crest at least this near; the ground up to it stands so high above the bed; the place
        beyond lies no higher than this above it [m].

    Returns
    -------
    int64 (m,)
        Number of the place, -1 where there is none or ground is unknown on the way.
    float64 (m,)
        Its ground [m].
    """
    near, fill, rise = sizes
    found, level = np.empty(beds.size, np.int64), np.empty(beds.size)
    for e in range(beds.size):
        found[e], level[e] = -1, 0.0
        a, b = start[e], start[e + 1]
        if b - a < 3:
            continue
        top = a
        for k in range(a + 1, b):
            if not (over[k] >= over[top] or np.isnan(over[top])):
                top = k
        if over[top] > near or top + 1 >= b:
            continue
        highest, lowest_at, known = -np.inf, -1, True
        for k in range(a, b):
            ground = np.float64(z[int(np.rint(places[k, 0])), int(np.rint(places[k, 1]))])
            known &= np.isfinite(ground)
            if k <= top:
                highest = max(highest, ground)
            elif lowest_at < 0 or ground < level[e]:
                lowest_at, level[e] = k, ground
        if known and highest - beds[e] >= fill and level[e] <= beds[e] + rise:
            found[e] = lowest_at
    return found, level
