"""Rows of the layers about covered drains and wet ground."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from wetscout.grid import Grid
from wetscout.outputs import shapes
from wetscout.records import Basin, Site
from wetscout.records_covered import Covered, PipeMouth

Row = dict[str, Any]

_PLACE = {"ditch head": "look in the head of this ditch", "stream bank": "look in this bank of the stream"}


def _covered(sites: Sequence[Site]) -> list[tuple[Site, Covered]]:
    return [(s, s.values["_covered"]) for s in sites if isinstance(s.values.get("_covered"), Covered)]


def mouth_rows(sites: Sequence[Site], grid: Grid) -> list[Row]:
    """Rows of `pipe_mouths`.

    Parameters
    ----------
    sites : sequence of Site
        Sorted by id.
    grid : Grid

    Returns
    -------
    list of dict
    """
    rows = []
    for site, covered in _covered(sites):
        for order, mouth in enumerate(covered.mouths, start=1):
            x, y = grid.xy(np.array([mouth.row]), np.array([mouth.col]))
            rows.append(
                {
                    "mouth_id": f"{site.site_id}-{order}",
                    "site_id": site.site_id,
                    "order": order,
                    "kind": mouth.kind,
                    "level_m": mouth.level_m,
                    "depth_to_dig_m": mouth.depth_to_dig_m,
                    "distance_m": mouth.distance_m,
                    "fall_m": mouth.fall_m,
                    "deepest_cut_m": mouth.deepest_cut_m,
                    "feasible": int(mouth.feasible),
                    "words": _words(mouth, order, covered.main_from),
                    "geometry": shapely.Point(float(x[0]), float(y[0])),
                }
            )
    return rows


def _words(mouth: PipeMouth, order: int, main_from: str) -> str:
    parts = [_PLACE.get(mouth.kind, "look in this bank") if order == 1 else f"if nothing is found before: "
             f"{_PLACE.get(mouth.kind, 'look in this bank')}"]  # fmt: skip
    parts.append("a stub of pipe, a wet streak, a scour hole or rock laid in the bank")
    if not mouth.feasible:
        parts.append("it lies high for a pipe from that floor")
    if main_from:
        parts.append("a pipe here may carry water of land upstream: reroute in solid pipe, do not break")
    parts.append("have buried utilities located before anyone digs")
    return "; ".join(parts)


def line_rows(sites: Sequence[Site], grid: Grid) -> list[Row]:
    """Rows of `suspected_lines`.

    Parameters
    ----------
    sites : sequence of Site
        Sorted by id.
    grid : Grid

    Returns
    -------
    list of dict
    """
    rows = []
    for site, covered in _covered(sites):
        for number, line in enumerate(covered.lines, start=1):
            rows.append(
                {
                    "line_id": f"{site.site_id}-{number}",
                    "site_id": site.site_id,
                    "form": line.form,
                    "strength": line.strength,
                    "height_m": line.height_m,
                    "length_m": line.length_m,
                    "geometry": shapes.line(line.row, line.col, grid),
                }
            )
    return rows


def ground_rows(ground: Sequence[Basin], grid: Grid) -> list[Row]:
    """Rows of `wet_ground_no_rim`.

    Parameters
    ----------
    ground : sequence of Basin
    grid : Grid

    Returns
    -------
    list of dict
        Sorted by id.
    """
    rows: list[Row] = []
    for piece in sorted(ground, key=lambda g: g.basin_id):
        row = {key: value for key, value in piece.values.items() if not key.startswith("_")}
        rows.append(row | {"ground_id": piece.basin_id, "geometry": shapes.outline(piece.pool, grid)})
    return rows
