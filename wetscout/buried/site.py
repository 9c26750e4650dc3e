"""From a suspected hollow to a site with its numbers: the ground closes already, there is no plug to size."""

from __future__ import annotations

from typing import Any

import numpy as np

from wetscout.buried.find import Looked
from wetscout.buried.hollows import window_of
from wetscout.records import F64, Patch, Site, Surfaces, Terrain
from wetscout.settings.buried import BuriedSettings
from wetscout.units import ACRE_M2

_STEPS = 12
_UNIT_M = 2.0**-14
LIST = "covered drains"


def _volume(depth: F64, cell_m2: float) -> float:
    """Sum of depths as whole numbers of 2^-14 m, so that the order of cells does not matter [m3]."""
    return float(np.rint(np.clip(depth, 0.0, None) / _UNIT_M).astype(np.int64).sum()) * _UNIT_M * cell_m2


def covered_site(
    looked: Looked, site_id: str, catchment: Patch, terrain: Terrain, surfaces: Surfaces, s: BuriedSettings
) -> Site:
    """Numbers of one suspected hollow.

    Parameters
    ----------
    looked : Looked
    site_id : str
        A working name, replaced when ids are given.
    catchment : Patch
    terrain : Terrain
    surfaces : Surfaces
    s : BuriedSettings

    Returns
    -------
    Site
        Without plugs and cuts; `today_m` is the spill: over the ground, water cannot leave lower.
    """
    h = looked.hollow
    box, cell_m2 = window_of(h.pool), terrain.grid.cell_m2
    heights = surfaces.natural[box][h.pool.mask].astype(np.float64)
    levels = []
    for k in range(1, _STEPS + 1):
        level = h.floor_m + (h.spill_m - h.floor_m) * k / _STEPS
        wet = heights < level
        levels.append((level, float(wet.sum()) * cell_m2, _volume(level - heights[wet], cell_m2)))
    values = {
        **_pool(looked, heights, float((terrain.water[box] & h.pool.mask).sum()) * cell_m2, cell_m2),
        **_signs(looked, s),
        **_catchment(catchment, h.pool, cell_m2),
        "_floor_row": h.floor_at[0],
        "_floor_col": h.floor_at[1],
        "_spill_row": h.spill_at[0],
        "_spill_col": h.spill_at[1],
        # of another tree than the open drains': below zero, so that the two never meet
        "_node": -1 - h.node,
    }
    points = (("natural", h.spill_at[0], h.spill_at[1], h.spill_m),)
    return Site(site_id, h.pool, catchment, tuple(levels), (), points, values)


def _pool(looked: Looked, heights: F64, water_m2: float, cell_m2: float) -> dict[str, Any]:
    """Levels, areas and volumes."""
    h = looked.hollow
    area, volume = heights.size * cell_m2, _volume(h.spill_m - heights, cell_m2)
    # the ground closes but the hollow is taken to be dry: what it would hold is the gain
    gain = max(area - water_m2, 0.0)
    return {
        "spill_m": h.spill_m,
        "today_m": h.spill_m,
        "lost_m": 0.0,
        "floor_m": h.floor_m,
        "depth_max_m": h.spill_m - h.floor_m,
        "depth_mean_m": volume / area if area else None,
        "pool_m2": area,
        "pool_ac": area / ACRE_M2,
        "volume_m3": volume,
        "gain_m2": gain,
        "gain_ac": gain / ACRE_M2,
        "gain_m3": volume,
        "pool_m2_per_fill_m3": None,
        "water_at_survey_m2": water_m2,
        "edge": int(h.edge),
        "parent_id": None,
    }


def _signs(looked: Looked, s: BuriedSettings) -> dict[str, Any]:
    """How it may be drained, and on what grounds."""
    c = looked.covered
    graded = c.rim_dip_m is not None and c.rim_dip_m >= s.dip_m
    return {
        "origin": "found",
        "list": LIST,
        "drained_by": looked.drained_by,
        "confidence": looked.confidence,
        "drain_position": "passes through" if c.main_from else "starts here",
        "upstream_ditch_m": None,
        "cuts_n": 0,
        "hydric_pct": c.zone.hydric_pct,
        "wet_soil_share": c.zone.wet_soil,
        "farmed_share": c.zone.farmed,
        "wetland_share": c.zone.wetland,
        "rim_beside_m": c.rim_beside_m if graded else None,
        "_ditch_ids": (),
        "_cut_ditch_ids": (),
        "_under_road": False,
        "_closes": True,
        "_covered": c,
        "_graded": graded,
    }


def _catchment(catchment: Patch, pool: Patch, cell_m2: float) -> dict[str, Any]:
    area, caught = float(pool.mask.sum()) * cell_m2, float(catchment.mask.sum()) * cell_m2
    return {"catchment_m2": caught, "catchment_ratio": (caught - area) / area if area else None}
