"""Which steps in the bed concern which site: erosion runs up from a step, and what it loosens comes down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from wetscout import large
from wetscout.kernels.downhill import follow_down
from wetscout.records import F32, U8, Site
from wetscout.records_along import BedStep
from wetscout.settings.sites import SiteSettings
from wetscout.sites.reached import Reached

# a step this near to the way of the water lies on it [m]
ON_WAY_M = 6.0


def note_steps(
    sites: Sequence[Site],
    steps: Sequence[BedStep],
    filled_today: F32,
    cell_m: float,
    s: SiteSettings,
    far: U8 | None = None,
) -> tuple[Site, ...]:
    """Note at each site the highest step within reach down the way of its water, and above its pool.

    Parameters
    ----------
    sites : sequence of Site
    steps : sequence of BedStep
    filled_today : float32 (rows, cols)
        Today's surface, depressions raised to their spill levels [m].
    cell_m : float
        Cell size [m].
    s : SiteSettings
        `step_reach_m`, `chain_enter_m`.
    far : uint8 (rows, cols), optional
        What is known of level ground; see `follow_down`.

    Returns
    -------
    tuple of Site
        `values` gain `step_below_m` and `step_above_m`, heights [m]; None where there is none.
    """
    if not steps:
        return tuple(sites)
    far = large.zeros(filled_today.shape, np.uint8) if far is None else far
    most = max(1, round(s.step_reach_m / cell_m))
    above: dict[int, float] = {}
    reached = Reached(sites, filled_today, cell_m, s.chain_enter_m)
    cols = filled_today.shape[1]
    for step in steps:
        way = follow_down(filled_today, round(step.row), round(step.col), most, far)
        hit = reached.first(np.divmod(way, cols), -1)
        if hit is not None:
            above[hit[0]] = max(above.get(hit[0], 0.0), step.height_m)
    places = cKDTree([(step.row, step.col) for step in steps])
    out = []
    for k, site in enumerate(sites):
        floor = int(site.values["_floor_row"]), int(site.values["_floor_col"])
        way = follow_down(filled_today, *floor, most, far)
        near = places.query_ball_point(np.column_stack(np.divmod(way, cols)), ON_WAY_M / cell_m)
        below = [steps[j].height_m for found in near for j in found]
        notes = {"step_below_m": max(below, default=None), "step_above_m": above.get(k)}
        out.append(replace(site, values={**site.values, **notes}))
    return tuple(out)
