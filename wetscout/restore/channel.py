"""Old channels and swales of rivers: ways out of a pool whose sides nobody dug."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from wetscout.kernels.corridor import across
from wetscout.kernels.sections import sections
from wetscout.records import F32, Ditch, Site, Terrain
from wetscout.settings.restore import RestoreSettings

# stations on both sides of a plug, ground on both sides of the line, and pieces whose mean section is taken [m]
NEAR_M, SIDE_M, PIECE_M = 30.0, 9.0, 10.0
# a side is as steep as its steepest stretch of this length [m]
STRETCH_M = 2.0
# the direction of the line is taken over this length to both sides [m]
RUN_M = 6.0


def steepest_sides(ground: F32, ditch: Ditch, at: tuple[float, float], cell_m: float) -> float:
    """How steep the gentler side of a cut is where it is steepest, near one place of its line.

    Mean sections over pieces of the line calm noise: 4 cm in one cell would make slopes of 0.03 by themselves.

    Parameters
    ----------
    ground : float32 (rows, cols)
        The DEM [m].
    ditch : Ditch
    at : (float, float)
        Row, column [cells].
    cell_m : float
        [m].

    Returns
    -------
    float
        Rise over run, the median of the pieces; NaN where no station is near, or some of the ground is not known.
    """
    row, col = ditch.row, ditch.col
    near = np.flatnonzero(np.hypot(row - at[0], col - at[1]) * cell_m < NEAR_M)
    if not near.size:
        return float("nan")
    across_row, across_col = across(row, col, max(2, round(RUN_M / cell_m)))
    section = sections(ground, row[near], col[near], across_row[near], across_col[near], round(SIDE_M / cell_m), 1.0)
    piece = max(1, round(PIECE_M / cell_m))
    starts = range(0, max(1, near.size - piece + 1), piece)
    means = np.stack([section[k : k + piece].mean(axis=0) for k in starts])
    step = max(1, round(STRETCH_M / cell_m))
    slope = (means[:, step:] - means[:, :-step]) / (step * cell_m)
    middle = slope.shape[1] // 2
    gentler = np.minimum((-slope[:, : middle + 1]).max(axis=1), slope[:, middle:].max(axis=1))
    return float(np.median(gentler))


def natural_channel(site: Site, ditches: Mapping[int, Ditch], terrain: Terrain, s: RestoreSettings) -> bool:
    """Whether a pool lies in an old channel and leaves by it: wide, and with sides too gentle to have been dug.

    Dug sides stand at 1 in 1 to 1 in 3 and slump to 1 in 5 (common practice, no source); what is left of small old
    ditches is gentler, but narrow, and takes little of its pool.

    Parameters
    ----------
    site : Site
    ditches : mapping of int to Ditch
    terrain : Terrain
    s : RestoreSettings
        `channel_across_m`, `channel_sides`, `channel_share`, `sides_cell_m`.

    Returns
    -------
    bool
        False in cells over `sides_cell_m`, which blunt the sides of every ditch.
    """
    cell_m = terrain.grid.cell_m
    share = float(site.values.get("_signs", {}).get("dug_share", 0.0))
    if cell_m > s.sides_cell_m or not site.plugs or share < s.channel_share:
        return False
    if float(site.plugs[0].values["across_m"]) < s.channel_across_m:
        return False
    steep = []
    for plug in site.plugs:
        ditch = ditches.get(plug.ditch_id) if plug.ditch_id is not None else None
        at = float(plug.row.mean()), float(plug.col.mean())
        steep.append(float("nan") if ditch is None else steepest_sides(terrain.z, ditch, at, cell_m))
    # where the sides of another are not known the first one decides
    return steep[0] < s.channel_sides and not any(x >= s.channel_sides for x in steep[1:])
