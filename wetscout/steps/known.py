"""Places the user knows: found or not, and which test failed by how much."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from wetscout.records import Basin, Patch, Screen
from wetscout.units import round_figures, round_level


def _inside(patch: Patch, row: int, col: int) -> bool:
    r, c = row - patch.row0, col - patch.col0
    return 0 <= r < patch.shape[0] and 0 <= c < patch.shape[1] and bool(patch.mask[r, c])


def _smallest(basins: Iterable[Basin], row: int, col: int) -> Basin | None:
    hit = [b for b in basins if _inside(b.pool, row, col)]
    return min(hit, key=lambda b: float(b.values["pool_m2"])) if hit else None


def explain(screen: Screen, x: float, y: float) -> dict[str, Any]:
    """Say what the screen made of one place.

    Parameters
    ----------
    screen : Screen
        Sites ranked.
    x, y : float
        Map coordinates [CRS unit].

    Returns
    -------
    dict
        `found` (bool), `site_id`, `rank`, `why` in words.
    """
    grid = screen.terrain.grid
    rows, cols = grid.row_col(np.array([x]), np.array([y]))
    row, col = int(np.floor(rows[0] + 0.5)), int(np.floor(cols[0] + 0.5))
    answer: dict[str, Any] = {"x": x, "y": y, "found": False, "site_id": None, "rank": None}
    if not (0 <= row < grid.rows and 0 <= col < grid.cols):
        return {**answer, "why": "outside the DEM"}
    if np.isnan(screen.terrain.z[row, col]):
        return {**answer, "why": "no ground in the DEM here"}
    for site in screen.sites:
        if _inside(site.pool, row, col):
            rank = site.values.get("rank")
            return {**answer, "found": True, "site_id": site.site_id, "rank": rank, "why": f"offered, rank {rank}"}
    down = _smallest(screen.not_offered, row, col)
    if down is not None:
        return {**answer, "why": f"a cut basin, not offered: {down.reason}"}
    basin = _smallest(screen.basins, row, col)
    if basin is not None:
        return {**answer, "why": _basin_words(basin)}
    return {**answer, "why": _bare_words(screen, row, col)}


def _basin_words(basin: Basin) -> str:
    v = basin.values
    lost = round_level(v["spill_m"] - v["today_m"])
    depth = round_level(v["depth_max_m"])
    if v["rim"] == "whole":
        return f"a natural basin {depth} m deep whose rim is whole: today's water stands at its spill"
    return (
        f"a natural basin of {round_figures(v['pool_m2'])} m2, {depth} m deep, has lost {lost} m; "
        "half of the depth was wanted"
    )


def _bare_words(screen: Screen, row: int, col: int) -> str:
    if screen.tree is None:
        return "no natural basin here"
    node = int(screen.tree.labels[row, col])
    if node < 0:
        return "the ground drains away here even with every ditch filled: no rim, no basin"
    record = screen.tree.table.iloc[node]
    depth = float(record["spill_m"] - record["floor_m"])
    return (
        f"a dimple of {round_figures(float(record['area_m2']))} m2 and {round_level(depth)} m depth: "
        "under the size limits"
    )
