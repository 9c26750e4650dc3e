"""Levels along one line: bed, banks, shoulders and the ground behind, from sections across it.

A few calls a line, to the bit what the plain steps in `tests/naive_profile.py` give. One kernel for all of it took 4 s
more to compile at a first run.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.along import ascending, median, resample, tangents
from wetscout.kernels.columns import columns_running_median
from wetscout.kernels.compiled import compiled
from wetscout.kernels.lines import banks, bilinear, half_width, row_median, running_median


@compiled
def filled(values):
    """Unknown values (n,) read off a straight line between the nearest known ones; as they are where none is known."""
    out = values.copy()
    last = -1
    for i in range(values.size):
        if not np.isfinite(values[i]):
            continue
        for k in range(last + 1, i):
            if last < 0:
                out[k] = values[i]
                continue
            slope = (values[i] - values[last]) / (i - last)
            out[k] = slope * (k - last) + values[last]
        last = i
    if last >= 0:
        for k in range(last + 1, out.size):
            out[k] = values[last]
    return out


@compiled
def between(values, every, count):
    """Values (m,) known at every so many of `count` stations, read off straight lines between; the last goes on."""
    out = np.empty(count)
    for i in range(count):
        x = i / every
        j = int(x)
        if j >= values.size - 1:
            out[i] = values[values.size - 1]
        elif x == j:
            out[i] = values[j]
        else:
            out[i] = (values[j + 1] - values[j]) * (x - j) + values[j]
    return out


@compiled
def ground_across(z, points, offsets, run):
    """Ground (n, m) [m] at offsets (m,) [cells] across a line, positive to its left; directions over `run` stations."""
    t = tangents(points, run)
    out = np.empty((points.shape[0], offsets.size))
    for i in range(out.shape[0]):
        for j in range(offsets.size):
            out[i, j] = bilinear(z, points[i, 0] + offsets[j] * -t[i, 1], points[i, 1] + offsets[j] * t[i, 0])
    return out


@compiled
def lowest(ground, first, last):
    """Least known ground of columns `first` to `last` of each row, NaN where none is known; and how many rows are."""
    out = np.empty(ground.shape[0])
    seen = 0
    for i in range(out.size):
        low = np.inf
        for j in range(first, last + 1):
            if np.isfinite(ground[i, j]):
                low = min(low, ground[i, j])
        out[i] = low if low < np.inf else np.nan
        seen += low < np.inf
    return out, seen


@compiled
def _side(ground, far, sign, reach):
    """The ground on one side, from the line outwards (n, reach + 1)."""
    out = np.empty((ground.shape[0], reach + 1))
    for i in range(out.shape[0]):
        for j in range(reach + 1):
            out[i, j] = ground[i, far + sign * j]
    return out


@compiled
def _rise(side, half, other, step_m, bands):
    """How much higher the median ground stands in the outer than in the inner band beyond the wider half width."""
    n = half.size
    first, last = np.empty(n, np.int64), np.empty(n, np.int64)
    inner = outer = np.empty(0)
    for b in range(2):
        for i in range(n):
            shoulder = np.maximum(half[i], other[i])
            first[i] = int(np.rint((shoulder + bands[b][0]) / step_m))
            last[i] = int(np.rint((shoulder + bands[b][1]) / step_m)) + 1
        inner, outer = outer, row_median(side, first, last)
    for i in range(n):
        outer[i] -= inner[i]
    return outer


@compiled
def _ground(z, way, offsets, run):
    """Stations (n, 2) one cell apart along a line, and the ground across them, see `ground_across`."""
    points = resample(way, 1.0)
    return points, ground_across(z, points, offsets, run)


@compiled
def _bed(ground, first, last, half):
    """Bed (n,) from the lowest ground of some columns; and how many stations are known."""
    low, seen = lowest(ground, first, last)
    return filled(running_median(low, half)), seen


@compiled
def _one_side(part, step_m, slope, flat_m, of_width, of_bank, sizes):
    """Half width and bank on one side, ground from the line outwards (n, m), and the share with a ridge."""
    half = running_median(half_width(part, step_m, slope, flat_m), of_width)
    bank, share = banks(part, half, step_m, sizes)
    return half, filled(running_median(bank, of_bank)), share


@compiled
def falls(bed, most):
    """Whether the bed of a line falls, by the medians over up to `most` stations, or a quarter, at both ends."""
    known = np.empty(bed.size)
    n = 0
    for level in bed:
        if np.isfinite(level):
            known[n] = level
            n += 1
    if n == 0:
        return True
    known = known[:n]
    part = max(1, min(known.size // 4, most))
    return not median(ascending(known[:part])) < median(ascending(known[known.size - part :]))


def profile(z, way, offsets, stations, samples, slopes, sizes, bands):
    """Levels along a line, turned downhill.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    way : float64 (k, 2)
        The line [cells].
    offsets : float64 (2 far + 1,)
        Of the samples across [cells].
    stations : (int, int, int, int, int, int, int)
        Stations on both sides that give the direction, over which the bed and the banks' samples are medians;
        distance of the stations whose banks are worked out; medians over these of widths and of banks; stations at
        the ends that tell where the line falls to.
    samples : (int, int, int)
        On each side; of them those in which banks lie; those of the bed.
    slopes : (float, float, float)
        Distance of samples [m], slope at which the cut ends, half width of the widest flat bed [m].
    sizes, bands : tuples
        See `lines.banks`; from and to beyond the shoulder [m], the inner and the outer band behind a bank.

    Returns
    -------
    points : float64 (n, 2)
        Stations one cell apart [cells]; none where the bed is known on less than half of the line.
    bed, left, right, half_left, half_right : float64 (n,)
        [m]
    ridge : (float, float)
        Share of the length with a ridge, left and right.
    rise : float64 (n, 2)
        [m]
    """
    run, of_bed, of_calm, every, of_width, of_bank, of_ends = stations
    far, reach, centre = samples
    step_m, slope, flat_m = slopes
    points, ground = _ground(z, way, offsets, run)
    n = points.shape[0]
    bed, seen = _bed(ground, far - centre, far + centre, of_bed)
    if seen / n < 0.5:
        none = np.empty(0)
        return np.empty((0, 2)), none, none, none, none, none, (0.0, 0.0), np.empty((0, 2))
    calm = columns_running_median(ground, of_calm, every)
    half, level, share = zip(
        *(_one_side(_side(calm, far, k, reach), step_m, slope, flat_m, of_width, of_bank, sizes) for k in (1, -1)),
        strict=True,
    )
    rise = np.empty((n, 2))
    for k in range(2):
        behind = _rise(_side(calm, far, 1 - 2 * k, far), half[0], half[1], step_m, bands)
        rise[:, k] = between(behind, every, n)
    left, right, a, b = (between(v, every, n) for v in (*level, *half))
    if falls(bed, of_ends):
        return points, bed, left, right, a, b, share, rise
    back = [v[::-1].copy() for v in (points, bed, right, left, b, a)]
    return *back, share[::-1], rise[::-1, ::-1].copy()
