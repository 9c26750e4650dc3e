"""Rows of the layers along the way of the water."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from wetscout.grid import Grid
from wetscout.outputs import shapes
from wetscout.records import Linework
from wetscout.records_along import Chain

Row = dict[str, Any]


def chain_rows(chain: Chain) -> list[Row]:
    """One row a step: the sites closed by then and what they bring.

    Parameters
    ----------
    chain : Chain

    Returns
    -------
    list of dict
    """
    names = [step.site_id for step in chain.steps]
    return [
        {
            "chain_id": chain.chain_id,
            "sites_n": k + 1,
            "plugs_n": step.plugs_n,
            "site_id": step.site_id,
            "gain_m2": step.gain_m2,
            "sites": ",".join(names[: k + 1]),
        }
        for k, step in enumerate(chain.steps)
    ]


def link_rows(chain: Chain) -> list[Row]:
    """One row a pair of sites of which the upper drains to the lower.

    Parameters
    ----------
    chain : Chain

    Returns
    -------
    list of dict
    """
    levels = ("spill_m", "above_bed_m", "above_today_m", "above_spill_m")
    return [
        {
            "chain_id": chain.chain_id,
            "site_id": link.site_id,
            "above_id": link.above_id,
            "way_m": link.way_m,
            "effect": link.effect,
            **dict(zip(levels, link.levels_m, strict=True)),
        }
        for link in chain.links
    ]


def highest_steps(lines: Linework) -> dict[int, float]:
    """Height of the highest step of each ditch that has one.

    Parameters
    ----------
    lines : Linework

    Returns
    -------
    dict of int to float
        By ditch number [m].
    """
    out: dict[int, float] = {}
    for step in lines.bed_steps:
        out[step.ditch_id] = max(out.get(step.ditch_id, 0.0), step.height_m)
    return out


def step_rows(lines: Linework, grid: Grid) -> list[Row]:
    """One point a step in a bed.

    Parameters
    ----------
    lines : Linework
    grid : Grid

    Returns
    -------
    list of dict
    """
    ditches = {item.ditch_id: item for item in lines.ditches}
    rows = []
    for step in lines.bed_steps:
        ditch, upto = ditches[step.ditch_id], slice(0, step.station + 1)
        x, y = grid.xy(np.array([step.row]), np.array([step.col]))
        rows.append(
            {
                "ditch_id": step.ditch_id,
                "height_m": step.height_m,
                "bed_up_m": step.bed_up_m,
                "bed_down_m": step.bed_down_m,
                "from_head_m": shapes.length_m(ditch.row[upto], ditch.col[upto], grid) if step.station else 0.0,
                "geometry": shapely.Point(x[0], y[0]),
            }
        )
    return rows
