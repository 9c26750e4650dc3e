"""Corridors and opened beds in numpy and scipy: the slow versions of `kernels.corridor` and `kernels.open_bed`."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from wetscout.kernels import sections as kernel


def across(row, col, reach):
    """Unit vectors to the right."""
    at = np.arange(row.size)
    ahead, back = np.minimum(at + reach, row.size - 1), np.maximum(at - reach, 0)
    d_row, d_col = row[ahead] - row[back], col[ahead] - col[back]
    length = np.hypot(d_row, d_col)
    length[length == 0] = 1.0
    return d_col / length, -d_row / length


def ground_at(section, step_m, offset_m):
    """Ground at an offset of each section; several in rows of their own."""
    half = section.shape[1] // 2
    at = np.clip(np.rint(offset_m / step_m).astype(np.int64) + half, 0, section.shape[1] - 1)
    return section[np.arange(section.shape[0]), at]


def band(z, row, col, stations, lengths, widths):
    """Sections and shoulders, no side much wider than usual and none that vanishes alone."""
    reach, half, along, near = stations
    step, cell_m, *rest = lengths
    least, cap, gone = widths
    vectors = across(row, col, reach)
    section = kernel.median_along(kernel.sections(z, row, col, *vectors, half, step), along)
    step_m = step * cell_m
    centre, left, right = kernel.shoulders(section, step_m, *rest)
    bed, one, other = (ground_at(section, step_m, offset) for offset in (centre, left, right))
    deep = np.flatnonzero(np.minimum(one, other) - bed >= least)
    seen = np.clip(np.arange(row.size), deep[0], deep[-1]) if deep.size else np.arange(row.size)
    usual = [ndimage.median_filter(v[seen], near, mode="nearest") for v in (centre - left, right - centre)]
    left = np.maximum(left, centre - cap * usual[0] - cell_m)
    right = np.minimum(right, centre + cap * usual[1] + cell_m)
    share = np.stack([centre - left, right - centre]) / np.maximum(usual, cell_m)
    lost = (share < gone) & (share[::-1] >= 0.5)
    left, right = np.where(lost[0], centre - usual[0], left), np.where(lost[1], centre + usual[1], right)
    return *vectors, centre / cell_m, left / cell_m, right / cell_m, section


def dug_part(section, step_m, centre, left, right, cell_m, limits):
    """Stations in a cut: a line in a hollow is short for its width, gently sided, and its middle rises."""
    least, width_m, slender, steep, rise, gap_m, rest_m, narrow, long, dug, even = limits
    bed, one, other = (ground_at(section, step_m, offset * cell_m) for offset in (centre, left, right))
    depth, wide = np.minimum(one, other) - bed, (right - left) * cell_m
    cut = np.flatnonzero(depth >= least)
    if cut.size < 3:
        return 0, centre.size

    def gentle(at, climb):
        length_m, at = at.size * cell_m, at[np.isfinite(depth[at])]
        across_m, share = np.median(wide[at]), np.median(depth[at] / np.maximum(wide[at], cell_m))
        rise_m = rise * np.median(depth[at])
        raised = np.count_nonzero(bed[at] - bed[at].min() >= rise_m)
        ditch = length_m >= long * across_m and share >= dug and raised < even * at.size
        return across_m, share < steep and climb >= rise_m and not ditch

    line = np.arange(cut[0], cut[-1] + 1)
    across_m, told = gentle(line, np.ptp(bed[line][np.isfinite(depth[line])]))
    if across_m >= width_m and line.size * cell_m < slender * across_m and told:
        return 0, 0
    ends = [0, centre.size]
    for k, way in enumerate((line, line[::-1])):
        broad = np.flatnonzero(wide[way] >= width_m)
        steps = np.diff(broad, prepend=-1) * cell_m > gap_m + cell_m
        broad = broad[: np.argmax(steps)] if steps.any() else broad
        run, rest = np.split(way, [broad[-1] + 1 if broad.size else 0])
        if run.size * cell_m < gap_m or rest.size * cell_m < rest_m or not np.isfinite(depth[run]).any():
            continue
        across_m, told = gentle(run, bed[run[0]] - bed[run[-1]])
        if told and run.size * cell_m < slender * across_m and np.median(wide[rest]) <= narrow * across_m:
            ends[k] = int(run[-1]) + 1 - k
    return ends[0], max(ends)


def spoil(section, step_m, shoulder, side, heights, along):
    """Banks beside a ditch; wide ones only where they go on."""
    rise_m, reach_m, wide_m = heights
    edge, foot = kernel.spoil_beside(section, step_m, shoulder, side, rise_m, reach_m, 0.0)
    wide_edge, wide_foot = kernel.spoil_beside(section, step_m, shoulder, side, rise_m, reach_m, wide_m)
    near, wide = foot != shoulder, wide_foot != shoulder
    goes_on = ndimage.uniform_filter1d((near | wide).astype(np.float64), along[0], mode="nearest") >= along[1]
    take = wide & ~near & goes_on
    return np.where(take, wide_edge, edge), np.where(take, wide_foot, foot)


def between_ditches(dug, row, col, vectors, shoulder, other, section, sizes, limits):
    """Where another ditch runs behind the bank and the bank stands above nothing."""
    side, step_m, cell_m = sizes
    near, far = (shoulder + side * m / cell_m for m in limits[:2])
    share = kernel.share_set(dug, row, col, *vectors, np.minimum(near, far), np.maximum(near, far))
    top = ground_at(section, step_m, (shoulder + side * np.arange(3.0)[:, None] / cell_m) * cell_m)
    ground = ground_at(section, step_m, (other - side * np.arange(2.0, 5.0)[:, None] / cell_m) * cell_m)
    return (share >= limits[2]) & (top.max(axis=0) < np.median(ground, axis=0) + limits[3])


def paint_ditch(mask, dug, z, row, col, bits, pad, stations, lengths, widths, banks):
    """Mark a ditch and its spoil."""
    a_row, a_col, centre, left, right, section = band(z, row, col, stations, lengths, widths)
    cell_m, step_m = lengths[1], lengths[0] * lengths[1]
    start, stop = dug_part(section, step_m, centre, left, right, cell_m, banks[3])
    at = np.arange(centre.size)
    beyond = (at < start) | (at >= stop)
    left, right = np.where(beyond, centre, left), np.where(beyond, centre, right)
    if bits[1] and start < stop:
        feet = []
        for side, own, other in ((-1, left, right), (1, right, left)):
            found = spoil(section, step_m, own * cell_m, side, *banks[:2])
            sizes = side, step_m, cell_m
            none = beyond | between_ditches(dug, row, col, (a_row, a_col), own, other, section, sizes, banks[2])
            feet.append([np.where(none, own, offset / cell_m) for offset in found])
        left, right = feet[0][0], feet[1][0]
        for edge, foot in feet:
            low, high = np.minimum(edge, foot), np.maximum(edge, foot)
            kernel.paint_band(mask, bits[1], row, col, a_row, a_col, low, np.where(high > low, high, low - 1))
    left, right = np.minimum(left, centre - 0.75) - pad, np.maximum(right, centre + 0.75) + pad
    kernel.paint_band(mask, bits[0], row, col, a_row, a_col, left, right)


def open_humps(bed, window, first_open, last_open):
    """One-dimensional grey opening between open or closed ends."""
    ends = [np.full(window, -1e9 if is_open else 1e9) for is_open in (first_open, last_open)]
    low = ndimage.minimum_filter1d(np.concatenate([ends[0], bed, ends[1]]), window, mode="nearest")
    low[(low > 1e8) | (low < -1e8)] = -1e9
    opened = ndimage.maximum_filter1d(low, window, mode="nearest")[window : window + bed.size]
    return np.minimum(bed, np.where(opened < -1e8, bed, opened))


def carve(today, z, on_fill, row, col, sure, sizes, step, bump):
    """Lower the line of a ditch and the lowest ground beside it."""
    reach, half, window = sizes
    a_row, a_col = across(row, col, reach)
    section = kernel.sections(z, row, col, a_row, a_col, half, step)
    section[np.isnan(section)] = np.inf
    at = np.argmin(section, axis=1)
    bed = section[np.arange(row.size), at]
    offset = (at - half) * step
    if not np.isfinite(bed).any():
        return
    shape = np.array(today.shape)[:, None] - 1
    fill = on_fill[tuple(np.clip(np.rint((row, col)).astype(np.int64), 0, shape))]
    opened = open_humps(bed, window, fill[0], fill[-1])
    low = open_humps(bed, bump[0], False, False)
    opened = opened if sure else np.where(fill, opened, np.where(bed - low <= bump[1], low, bed))
    for way in ((row, col), (row + a_row * offset, col + a_col * offset)):
        kernel.lower_line(today, *way, opened)
