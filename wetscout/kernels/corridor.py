"""The corridor of one ditch or bank: its shoulders along the line, the spoil beside it, and painting both.

A few calls a line, to the bit what the numpy and scipy expressions in `tests/naive_corridor.py` give: these took forty
array calls a line. One kernel for all of it took 3 s more to compile at a first run, and no less time a line.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.along import ascending, middle
from wetscout.kernels.compiled import compiled, leaf
from wetscout.kernels.sections import median_along, paint_band, sections, share_set, shoulders, spoil_beside


@compiled
def across(row, col, reach):
    """Unit vectors across a line, from its direction over a few stations.

    Parameters
    ----------
    row, col : float64 (n,)
        Stations [cells].
    reach : int
        Stations on each side that give the direction.

    Returns
    -------
    across_row, across_col : float64 (n,)
        Pointing to the right of the walking direction on a map with north up.
    """
    n = row.size
    out_row, out_col = np.empty(n), np.empty(n)
    for i in range(n):
        a, b = max(i - reach, 0), min(i + reach, n - 1)
        d_row, d_col = row[b] - row[a], col[b] - col[a]
        length = np.hypot(d_row, d_col)
        if length == 0.0:
            length = 1.0
        out_row[i], out_col[i] = d_col / length, -d_row / length
    return out_row, out_col


@leaf
def ground_at(section, i, step_m, offset_m):
    """Ground of one section at an offset, the nearest sample [m]."""
    at = int(np.rint(offset_m / step_m)) + section.shape[1] // 2
    return section[i, min(max(at, 0), section.shape[1] - 1)]


@compiled
def _usual(values, first, last, near):
    """Running median over `near` (odd) stations; before `first` and behind `last` these two stand in."""
    n = values.size
    out = np.empty(n)
    # kept sorted: one leaves, one comes in
    part = ascending(_window(values, first, last, near))
    out[0] = part[near // 2]
    for i in range(1, n):
        gone = _clamped(values, first, last, i - 1 - near // 2)
        come = _clamped(values, first, last, i + near // 2)
        k = 0
        while part[k] != gone:
            k += 1
        while k + 1 < near and part[k + 1] < come:
            part[k] = part[k + 1]
            k += 1
        while k > 0 and part[k - 1] > come:
            part[k] = part[k - 1]
            k -= 1
        part[k] = come
        out[i] = part[near // 2]
    return out


@leaf
def _clamped(values, first, last, i):
    """The value at a station, or at the nearest one between `first` and `last`."""
    return values[min(max(min(max(i, 0), values.size - 1), first), last)]


@compiled
def _window(values, first, last, near):
    """The values around the first station."""
    part = np.empty(near)
    for k in range(near):
        part[k] = _clamped(values, first, last, k - near // 2)
    return part


@compiled
def band(z, row, col, stations, lengths, widths):
    """Sections across one line and its shoulders.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    row, col : float64 (n,)
        Stations [cells].
    stations : (int, int, int, int)
        Stations on each side that give the direction, samples on each side, stations on each side that sections are
        medians over, stations (odd) over which the usual width is a median.
    lengths : (float, float, float, float, float, float, float)
        Distance of samples [cells] and cell size [m]; then as of `sections.shoulders`: how far the line may be moved,
        slope, widest berm, farthest shoulder, width of the bed [m], and the share of the slope.
    widths : (float, float, float)
        Depth from which on a station shows a cut [m], how many times the usual width a side may reach, and the share of
        it that is no side any more.

    Returns
    -------
    across_row, across_col, centre, left, right : float64 (n,)
        Unit vectors across, offsets of the lowest point and the shoulders [cells].
    section : float64 (n, m)
        [m]
    """
    reach, half, along, near = stations
    step, cell_m, recentre_m, slope, berm_m, reach_m, bed_m, share = lengths
    least, cap, gone = widths
    a_row, a_col = across(row, col, reach)
    section = median_along(sections(z, row, col, a_row, a_col, half, step), along)
    step_m = step * cell_m
    centre, left, right = shoulders(section, step_m, recentre_m, slope, berm_m, reach_m, bed_m, share)
    n = row.size
    # for the ends of a line that show no cut the nearest station that does: over level ground a line has no width. A
    # line followed 40 m beyond a ditch of 30 m took half of the ditch's width from its corridor, and left the rim open
    first, last = -1, -1
    for i in range(n):
        a, b = ground_at(section, i, step_m, left[i]), ground_at(section, i, step_m, right[i])
        bed = ground_at(section, i, step_m, centre[i])
        if a - bed >= least and b - bed >= least:
            first = i if first < 0 else first
            last = i
    if first < 0:
        first, last = 0, n - 1
    # a cut is nowhere much wider than along its neighbourhood: in a small steep basin its sides and the basin's run
    # into each other
    to_left, to_right = np.empty(n), np.empty(n)
    for i in range(n):
        to_left[i], to_right[i] = centre[i] - left[i], right[i] - centre[i]
    to_left, to_right = _usual(to_left, first, last, near), _usual(to_right, first, last, near)
    for i in range(n):
        mid, one, other = centre[i], to_left[i], to_right[i]
        low, high = max(left[i], mid - cap * one - cell_m), min(right[i], mid + cap * other + cell_m)
        # nor does one side alone vanish: on a bed wider than `bed_m` the lowest point may lie at its edge, and no side
        # was met on the other
        a, b = (mid - low) / max(one, cell_m), (high - mid) / max(other, cell_m)
        left[i] = (mid - one if a < gone and b >= 0.5 else low) / cell_m
        right[i] = (mid + other if b < gone and a >= 0.5 else high) / cell_m
        centre[i] /= cell_m
    return a_row, a_col, centre, left, right, section


def dug_part(section, step_m, centre, left, right, cell_m, limits):
    """Stations of a line that lie in a cut; what is left at its ends is the middle of a hollow, without banks of a cut.

    A cut is many times as long as it is wide and its bed leads on. The middle of a hollow is not, the flanks rise
    gently from it, and it rises towards the shore; the line of a ditch that is led on into it grows wider there. A wide
    ditch of 40-60 m is no longer, but steeper, and rises in the face of its head only (0.03-0.15 of it; bowls 0.3-0.9).

    Parameters
    ----------
    section : float64 (n, m)
        [m]
    step_m : float
        Distance of samples [m].
    centre, left, right : float64 (n,)
        Offsets of the lowest point and the shoulders [cells].
    cell_m : float
        [m]
    limits : (float, float, float, float, float, float, float, float, float, float, float)
        Depth from which on a station shows a cut, least width of a hollow [m], how many times its width it is long at
        most, its greatest depth over its width, the least rise of its middle over its depth; of a ditch led on: longest
        narrow piece in the hollow [m], least length of the ditch [m], its greatest width over that of the hollow; of a
        wide ditch: least length and depth over its width, share of its length below which its bed rises so.

    Returns
    -------
    start, stop : int
        Half open; both 0 where the whole line lies in a hollow.
    """
    least_m, width_m, _, _, rise = limits[:5]
    depth, bed, wide, first, last = _heights(section, step_m, centre, left, right, cell_m, least_m)
    if last < first:
        return 0, centre.size
    across_m, down_m, climb, hollow = _shape(wide, depth, bed, first, last, cell_m, limits)
    if across_m >= width_m and climb >= rise * down_m and hollow:
        return 0, 0
    head = _led_on(wide, depth, bed, first, last, 1, cell_m, limits)
    tail = _led_on(wide, depth, bed, last, first, -1, cell_m, limits)
    start = head + 1 if head >= 0 else 0
    return start, max(start, tail if tail >= 0 else centre.size)


@compiled
def _heights(section, step_m, centre, left, right, cell_m, least):
    """Depth, bed and width of each station [m], and the first and last that show a cut; crossed with fewer than 3."""
    n = centre.size
    depth, bed, wide = np.empty(n), np.empty(n), np.empty(n)
    first, last, shown = n, -1, 0
    for i in range(n):
        bed[i] = ground_at(section, i, step_m, centre[i] * cell_m)
        one = ground_at(section, i, step_m, left[i] * cell_m)
        other = ground_at(section, i, step_m, right[i] * cell_m)
        depth[i] = min(one, other) - bed[i] if one == one and other == other else np.nan
        wide[i] = (right[i] - left[i]) * cell_m
        if depth[i] >= least:
            first, last, shown = min(first, i), i, shown + 1
    return depth, bed, wide, first, last if shown >= 3 else -1


@compiled
def _shape(wide, depth, bed, first, last, cell_m, limits):
    """Median width and depth, range of the bed [m]; whether they may be a hollow: width and rise are not asked here."""
    slender, steep, rise = limits[2:5]
    long, dug, even = limits[8:]
    count, low, high = 0, np.inf, -np.inf
    across_m, down_m, share = np.empty(wide.size), np.empty(wide.size), np.empty(wide.size)
    for i in range(first, last + 1):
        if depth[i] == depth[i]:
            across_m[count], down_m[count] = wide[i], depth[i]
            share[count] = depth[i] / max(wide[i], cell_m)
            low, high = min(low, bed[i]), max(high, bed[i])
            count += 1
    width_m, depth_m, steepness = middle(across_m[:count]), middle(down_m[:count]), middle(share[:count])
    length_m, raised = (last + 1 - first) * cell_m, 0
    for i in range(first, last + 1):
        raised += depth[i] == depth[i] and bed[i] - low >= rise * depth_m
    ditch = length_m >= long * width_m and steepness >= dug and raised < even * count
    return width_m, depth_m, high - low, length_m < slender * width_m and steepness < steep and not ditch


@compiled
def _led_on(wide, depth, bed, at, other, way, cell_m, limits):
    """Last station, from one end of a line, of the hollow that its ditch is led on into; -1 where there is none.

    `at` and `other` are the stations at this end and at the other that show a cut, `way` 1 or -1 from one to the other.
    """
    width_m, _, _, rise, gap_m, rest_m, narrow = limits[1:8]
    last, k = at - way, at
    while way * (other - k) >= 0 and way * (k - last) * cell_m <= gap_m + cell_m:
        if wide[k] >= width_m:
            last = k
        k += way
    run, all_of = way * (last - at) + 1, way * (other - at) + 1
    if run * cell_m < gap_m or (all_of - run) * cell_m < rest_m:
        return -1
    rest = np.empty(all_of - run)
    for i in range(rest.size):
        rest[i] = wide[last + way * (i + 1)]
    across_m, down_m, _, hollow = _shape(wide, depth, bed, min(at, last), max(at, last), cell_m, limits)
    return last if hollow and middle(rest) <= narrow * across_m and bed[at] - bed[last] >= rise * down_m else -1


@compiled
def spoil(section, step_m, shoulder, side, heights, along):
    """Inner edge and outer foot of the spoil on one side.

    Wide banks count only where they go on along the line: a rim that humps beside the ditch for a few steps stays.

    Parameters
    ----------
    section : float64 (n, m)
        [m]
    step_m : float
        Distance of samples [m].
    shoulder : float64 (n,)
        Offset of the shoulder [m].
    side : int
        -1 left, 1 right.
    heights : (float, float, float)
        Least height, farthest foot, how much farther out wide banks are looked for [m].
    along : (int, float)
        Stations (odd) along the line, and the share of them with a bank, where wide banks count.

    Returns
    -------
    edge, foot : float64 (n,)
        Offsets [m], both the shoulder where there is none.
    """
    rise_m, reach_m, wide_m = heights
    around, least = along
    edge, foot = spoil_beside(section, step_m, shoulder, side, rise_m, reach_m, 0.0)
    wide_edge, wide_foot = spoil_beside(section, step_m, shoulder, side, rise_m, reach_m, wide_m)
    n = shoulder.size
    for i in range(n):
        if foot[i] != shoulder[i] or wide_foot[i] == shoulder[i]:
            continue
        count = 0
        for k in range(-(around // 2), around // 2 + 1):
            j = min(max(i + k, 0), n - 1)
            # whether there is any bank; the foot of this side may have been moved to the wide one above, which is one
            count += foot[j] != shoulder[j] or wide_foot[j] != shoulder[j]
        if count / around >= least:
            edge[i], foot[i] = wide_edge[i], wide_foot[i]
    return edge, foot


@compiled
def between_ditches(dug, row, col, vectors, shoulder, other, section, sizes, limits):
    """Stations behind whose bank another ditch runs: what stands above its bed is ground, not spoil.

    Where two ditches meet at a sharp angle their sides were taken for spoil and left as a hole in the natural ground.

    Parameters
    ----------
    dug : uint8 (rows, cols)
        Where any line was dug.
    row, col : float64 (n,)
        Stations [cells].
    vectors : (float64 (n,), float64 (n,))
        Unit vectors across.
    shoulder, other : float64 (n,)
        The shoulder on this side and on the other [cells].
    section : float64 (n, m)
        [m]
    sizes : (int, float, float)
        Side, -1 left and 1 right; distance of samples and cell size [m].
    limits : (float, float, float, float)
        From and to behind the bank [m], the share of it in another ditch that leaves none, height of spoil [m].

    Returns
    -------
    bool (n,)
    """
    side, step_m, cell_m = sizes
    from_m, to_m, most, rise_m = limits
    near, far = np.empty(row.size), np.empty(row.size)
    for i in range(row.size):
        one, two = shoulder[i] + side * from_m / cell_m, shoulder[i] + side * to_m / cell_m
        near[i], far[i] = min(one, two), max(one, two)
    share = share_set(dug, row, col, vectors[0], vectors[1], near, far)
    out = np.zeros(row.size, np.bool_)
    ground = np.empty(3)
    for i in range(row.size):
        if not share[i] >= most:
            continue
        # a bank raised between two ditches stands above the ground beyond the other side
        top, known = -np.inf, True
        for k in range(3):
            level = ground_at(section, i, step_m, (shoulder[i] + side * k / cell_m) * cell_m)
            ground[k] = ground_at(section, i, step_m, (other[i] - side * (k + 2.0) / cell_m) * cell_m)
            known &= level == level and ground[k] == ground[k]
            top = max(top, level)
        out[i] = known and top < ascending(ground)[1] + rise_m
    return out


@compiled
def paint_along(mask, bit, row, col, reach, half):
    """Set a bit within some distance (n,) [cells] on both sides of a line; directions as of `across`."""
    a_row, a_col = across(row, col, reach)
    back = np.empty(half.size)
    for i in range(half.size):
        back[i] = -half[i]
    paint_band(mask, bit, row, col, a_row, a_col, back, half)


def paint_ditch(mask, dug, z, row, col, bits, pad, stations, lengths, widths, banks):
    """Mark one ditch and the spoil beside it.

    Parameters
    ----------
    mask : uint8 (rows, cols)
        Changed in place.
    dug, z, row, col, stations, lengths, widths
        As of `between_ditches` and `band`.
    bits : (int, int)
        For the ditch; for spoil, 0 where none is looked for.
    pad : float
        Added on both sides [cells].
    banks : (tuple, tuple, tuple, tuple)
        `heights` and `along` of `spoil`, `limits` of `between_ditches` and of `dug_part`.
    """
    a_row, a_col, centre, left, right, section = band(z, row, col, stations, lengths, widths)
    cell_m = lengths[1]
    step_m = lengths[0] * cell_m
    heights, along, limits, hollow = banks
    start, stop = dug_part(section, step_m, centre, left, right, cell_m, hollow)
    # a trench the width of its bed stays: water may lead through it
    for part in (slice(0, start), slice(stop, None)):
        left[part], right[part] = centre[part], centre[part]
    if bits[1] != 0 and stop > start:
        shoulder = left, right
        edges = [left, right]
        for k in range(2):
            own, side = shoulder[k], 2 * k - 1
            edge, foot = spoil(section, step_m, own * cell_m, side, heights, along)
            sizes = (side, step_m, cell_m)
            none = between_ditches(dug, row, col, (a_row, a_col), own, shoulder[1 - k], section, sizes, limits)
            none[:start], none[stop:] = True, True
            inner, outer = np.where(none, own, edge / cell_m), np.where(none, own, foot / cell_m)
            low, high = np.minimum(inner, outer), np.maximum(inner, outer)
            paint_band(mask, bits[1], row, col, a_row, a_col, low, np.where(high > low, high, low - 1))
            edges[k] = inner
        left, right = edges
    left, right = np.minimum(left, centre - 0.75) - pad, np.maximum(right, centre + 0.75) + pad
    paint_band(mask, bits[0], row, col, a_row, a_col, left, right)
