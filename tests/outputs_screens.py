"""Small made-up results for the tests of the writer: bowls cut by a ditch, on a plain nobody knows."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyproj

from wetscout.grid import Grid
from wetscout.records import Basin, Ditch, Embankment, Linework, Patch, Plug, Screen, Site, Terrain

UTM = pyproj.CRS.from_epsg(26915).to_wkt()


def grid(rows: int = 60, cols: int = 80, cell: float = 1.0, x0: float = 500000.0, y0: float = 4600000.0) -> Grid:
    return Grid(rows, cols, x0, y0, cell, cell, cell, UTM)


def disc(row: int, col: int, radius: int) -> Patch:
    side = np.arange(-radius, radius + 1)
    return Patch(row - radius, col - radius, side[:, None] ** 2 + side[None, :] ** 2 <= radius**2)


def ditch(number: int, row: float, col: float, length: int = 20, sure: bool = True) -> Ditch:
    steps = np.arange(length, dtype=np.float64)
    bed = 99.0 - 0.01 * steps
    return Ditch(
        number, np.full(length, row) + 0.2 * np.sin(steps), col + steps, bed, bed + 0.8, bed + 1.0,
        np.full(length, 3.5), "ditch", 0.8, 0.4, 0.98, "both sides", sure,
    )  # fmt: skip


def site(name: str, row: int, col: int, radius: int = 6, ditch_id: int | None = 1, **values: Any) -> Site:
    area = float(np.count_nonzero(disc(row, col, radius).mask))
    numbers = {
        "rank": 1, "score": 71.5, "drained_by": "ditch", "confidence": "high", "drain_position": "starts here",
        "upstream_ditch_m": 0.0, "cuts_n": 1, "spill_m": 100.25, "today_m": 99.5, "lost_m": 0.75, "floor_m": 99.4,
        "depth_max_m": 0.85, "depth_mean_m": 0.4, "pool_m2": area, "volume_m3": 0.4 * area, "gain_m2": 0.9 * area,
        "gain_m3": 0.39 * area, "catchment_m2": 9 * area, "catchment_ratio": 8.0, "edge": 0, "parent_id": None,
        "work": "one plug", "reasons": "ditch starts here", "cautions": "ask", "_floor_row": row, "_floor_col": col,
        "_spill_row": row, "_spill_col": col + radius + 1, **values,
    }  # fmt: skip
    plug = Plug(
        f"{name}-1", name, ditch_id, 1, np.array([row - 3.0, row + 3.0]), np.array([col + radius + 1.0] * 2),
        {"spill_m": 100.25, "crest_m": 100.4, "overflow_m": 100.3, "bed_m": 98.9, "height_m": 1.5, "across_m": 6.0,
         "along_m": 9.0, "fill_m3": 40.0, "_note": "inner"},
    )  # fmt: skip
    return Site(
        name, disc(row, col, radius), disc(row, col, radius + 3), ((99.4, 0.0, 0.0), (100.25, area, 0.4 * area)),
        (plug,), (("today", row, col + radius + 2, 99.5), ("natural", row, col + radius + 1, 100.25)), numbers,
    )  # fmt: skip


def basin(name: str, row: int, col: int, reason: str | None = None, **values: Any) -> Basin:
    numbers = {"rim": "whole", "spill_m": 100.0, "today_m": 100.0, "depth_max_m": 0.4, "pool_m2": 113.0,
               "volume_m3": 30.0, "parent_id": None, "edge": 0, "_floor_row": row, "_floor_col": col,
               "_spill_row": row, "_spill_col": col + 5, **values}  # fmt: skip
    return Basin(name, disc(row, col, 4), numbers, reason)


def screen(place: Grid | None = None, sites: tuple[Site, ...] | None = None) -> Screen:
    place = place or grid()
    terrain = Terrain(
        place,
        np.full(place.shape, 100.0, np.float32),
        np.zeros(place.shape, bool),
        np.zeros(place.shape, bool),
        0.03,
        0.1,
    )
    lines = Linework(
        (ditch(2, 40.0, 10.0, sure=False), ditch(1, 20.0, 28.0)),
        (Embankment(1, np.arange(5.0, 30.0), np.full(25, 60.0), 0.9, 8.0, "road"),),
    )
    made = sites if sites is not None else (site("b", 40, 40, ditch_id=None, rank=2), site("a", 20, 20))
    return Screen(
        terrain, lines, made, (basin("n1", 20, 20), basin("n2", 50, 60, parent_id="n1")),
        (basin("n3", 10, 70, "dug pond"),), {"version": "0.1.0", "inputs": ["plain.tif"], "timings": {"fill": 0.5}},
    )  # fmt: skip
