"""Levels along a line step by step, in plain numpy and single kernels: the slow version of `kernels.profile`."""

from __future__ import annotations

import naive_linework as naive
import numpy as np

from wetscout.kernels import lines as kernel
from wetscout.kernels.columns import columns_running_median


def filled(values):
    """Unknown values from the nearest known ones."""
    good = np.isfinite(values)
    if good.all() or not good.any():
        return values
    i = np.arange(values.size)
    return np.interp(i, i[good], values[good])


def between(values, every, count):
    """Values read off between the stations where they are known."""
    return np.interp(np.arange(count) / every, np.arange(values.size), values)


def ground_across(z, points, offsets, run):
    """Sections across a line."""
    t = naive.tangents(points, run)
    columns = points[:, 0], points[:, 1], -t[:, 1], t[:, 0]
    return kernel.sections(z, *(np.ascontiguousarray(v) for v in columns), offsets)


def lowest(ground, first, last):
    """Least known ground of some columns, and how many rows are known."""
    part = ground[:, first : last + 1]
    seen = np.isfinite(part).any(axis=1)
    return np.where(seen, np.where(np.isfinite(part), part, np.inf).min(axis=1), np.nan), int(seen.sum())


def falls(bed, most):
    """Whether the median at the end is not above that at the beginning."""
    known = bed[np.isfinite(bed)]
    part = max(1, min(known.size // 4, most))
    return not known.size or not np.median(known[:part]) < np.median(known[-part:])


def _rise(side, shoulder, step_m, bands):
    levels = []
    for near, far in bands:
        first, last = (np.rint((shoulder + off) / step_m).astype(np.int64) for off in (near, far))
        levels.append(kernel.row_median(np.ascontiguousarray(side), first, last + 1))
    return levels[1] - levels[0]


def profile(z, way, offsets, stations, samples, slopes, sizes, bands):
    """Levels along a line, turned downhill; None where no bed is read."""
    run, of_bed, of_calm, every, of_width, of_bank, of_ends = stations
    far, reach, centre = samples
    step_m, slope, flat_m = slopes
    points = naive.resample(way)
    n = len(points)
    ground = ground_across(z, points, offsets, run)
    low, seen = lowest(ground, far - centre, far + centre)
    if seen / n < 0.5:
        return None
    bed = filled(kernel.running_median(low, of_bed))
    calm = columns_running_median(ground, of_calm, every)
    sides = calm[:, far:], calm[:, far::-1]
    half, bank, ridge = [], [], []
    for side in sides:
        part = np.ascontiguousarray(side[:, : reach + 1])
        half.append(kernel.running_median(kernel.half_width(part, step_m, slope, flat_m), of_width))
        level, share = kernel.banks(part, half[-1], step_m, sizes)
        bank.append(filled(kernel.running_median(level, of_bank)))
        ridge.append(share)
    shoulder = np.maximum(*half)
    rise = np.column_stack([between(_rise(side, shoulder, step_m, bands), every, n) for side in sides])
    levels = [between(v, every, n) for v in (*bank, *half)]
    if not falls(bed, of_ends):
        points, bed, rise = points[::-1], bed[::-1], rise[::-1, ::-1]
        levels = [levels[k][::-1] for k in (1, 0, 3, 2)]
        ridge.reverse()
    return points, bed, *levels, tuple(ridge), rise
