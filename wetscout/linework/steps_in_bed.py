"""Steps in the bed of a ditch: head cuts that work their way up, and built drops, which look alike from above."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wetscout.kernels.along import middle
from wetscout.records import Ditch
from wetscout.records_along import BedStep
from wetscout.settings.linework import LineworkSettings

F64 = NDArray[np.float64]
# within this the steepest part of a step is its edge
EDGE_M = 2.0
# bed that must lie below a step: a ditch that falls into another one ends there
LEAST_BELOW_M = 3.0


def bed_steps(ditches: Sequence[Ditch], cell_m: float, settings: LineworkSettings) -> tuple[BedStep, ...]:
    """Steps in the beds of all listed lines.

    Parameters
    ----------
    ditches : sequence of Ditch
    cell_m : float
        Cell size [m].
    settings : LineworkSettings
        `step_m`, `step_run_m`, `step_beside_m`, `step_cut_m`.

    Returns
    -------
    tuple of BedStep
        By ditch, then downstream.
    """
    out = []
    for ditch in ditches:
        if not ditch.sure:
            continue
        depth = ditch.bank_low_m - ditch.bed_m
        for station, height, up, down in steps_along(ditch.bed_m, depth, cell_m, settings):
            place = float(ditch.row[station]), float(ditch.col[station])
            out.append(BedStep(ditch.ditch_id, *place, station, height, up, down))
    return tuple(out)


def steps_along(
    bed: F64, depth: F64, station_m: float, settings: LineworkSettings
) -> list[tuple[int, float, float, float]]:
    """Steps of one bed, which is a median along the line already: that leaves a step as sharp as it is.

    Fill that crosses the line raises the bed and lets it down again; a hole scoured below a pipe lowers it and lets it
    up again. Neither lowers the bed that lies beyond it, so the bed is taken twice: as the least so far from above,
    which does not see the fill, and as the most still to come, which does not see the hole. A step shows in both, and
    in what lies above and below it.

    Parameters
    ----------
    bed, depth : float64 (n,)
        Bed and depth of the cut below the lower bank [m], downhill, evenly spaced.
    station_m : float
        Distance of stations [m].
    settings : LineworkSettings

    Returns
    -------
    list of (station of the upper edge, height beyond the grade beside it, bed above, bed below)
        [m], downstream.
    """
    run = max(1, round(settings.step_run_m / station_m))
    beside = max(1, round(settings.step_beside_m / station_m))
    least = max(1, round(LEAST_BELOW_M / station_m))
    last = bed.size - run - least
    if last <= beside or not np.isfinite(bed + depth).all():
        return []
    from_above = np.minimum.accumulate(bed)
    to_come = np.maximum.accumulate(bed[::-1])[::-1]
    falls = np.minimum(from_above[:-run] - from_above[run:], to_come[:-run] - to_come[run:])
    found: list[tuple[int, float, float, float]] = []
    taken = np.zeros(bed.size, dtype=np.bool_)
    for i in sorted(range(beside, last), key=lambda k: (-round(float(falls[k]), 4), k)):
        if falls[i] < settings.step_m:
            break
        if taken[i]:
            continue
        first, end = i - beside, min(bed.size - 1, i + run + beside)
        up, down = float(middle(from_above[first : i + 1])), float(middle(to_come[i + run : end + 1]))
        # the steeper of the two, so that a bed that only becomes steeper is no step
        grade = max(
            (from_above[first] - from_above[i]) / (i - first), (to_come[i + run] - to_come[end]) / (end - i - run)
        )
        beyond = float(falls[i] - grade * run)
        # a line that is led over undug ground into a deeper ditch falls into it, but nothing runs there
        dug = min(float(middle(depth[k : i + 1])) for k in (first, i - run)) >= settings.step_cut_m
        if dug and up - down >= settings.step_m and beyond >= settings.step_m - 1e-6:
            taken[max(0, i - 2 * run) : i + 2 * run + 1] = True
            found.append((_edge(bed, i, run, station_m), beyond, up, down))
    return sorted(found)


def _edge(bed: F64, first: int, run: int, station_m: float) -> int:
    """Station at the upper end of the steepest two metres of a step."""
    near = max(1, round(EDGE_M / station_m))
    part = bed[first : first + run + 1]
    drop = part[:-near] - part[near:] if part.size > near else np.zeros(1)
    return first + int(np.argmax(drop))
