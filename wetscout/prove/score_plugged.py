"""What the water does when the plugs offered are really put in: the true ground is plugged and flooded."""

from __future__ import annotations

import numpy as np

from wetscout.prove.flood import fill_level
from wetscout.prove.found import Found
from wetscout.prove.landscape import Landscape, TrueBasin
from wetscout.prove.sweep import Path, near

# Ground taken along around the pool [m]. A window's border lets water out, so what it holds the whole raster holds too.
_MARGIN_M = 120.0
_HELD_M = 0.02
# A plug is this thick down the ditch and reaches this far beyond its ends [m]. Its crown is at the spill level: water
# passes over it or beside it, as the rim lets it.
_HALF_M, _BEYOND_M = 3.0, 1.5


def stands_off(landscape: Landscape, found: Found, basin: TrueBasin) -> float:
    """How far the water stands from the level told, once the plugs offered are in.

    Parameters
    ----------
    landscape : Landscape
    found : Found
        With the lines of its plugs.
    basin : TrueBasin
        The basin it stands for: the level is read over its deepest third.

    Returns
    -------
    float
        Level over the floor less the level told [m]; NaN where no plug is drawn.
    """
    if not found.plug_lines:
        return float("nan")
    near_by = _level(landscape, found, basin, round(_MARGIN_M / landscape.cell_m)) - found.spill_m
    if near_by >= -_HELD_M:
        return near_by
    # a ditch from above may lead out of the window: look at all of it
    return _level(landscape, found, basin, max(landscape.z.shape)) - found.spill_m


def _level(landscape: Landscape, found: Found, basin: TrueBasin, gap: int) -> float:
    """Level over the floor with the plugs in, on the ground within `gap` cells around the pool."""
    cell = landscape.cell_m
    rows, cols = found.pool.mask.shape
    r0, c0 = max(0, found.pool.row0 - gap), max(0, found.pool.col0 - gap)
    z = landscape.opened[r0 : found.pool.row0 + rows + gap, c0 : found.pool.col0 + cols + gap].copy()
    for row, col in found.plug_lines:
        line = _longer(Path((np.asarray(col) - c0) * cell, (np.asarray(row) - r0) * cell))
        # a cell at least to each side, or water slips between cells
        plug = near((z.shape[0], z.shape[1]), cell, line, max(_HALF_M, 1.5 * cell))
        z[plug] = np.maximum(z[plug], np.float32(found.spill_m))
    level = fill_level(z)
    r, c = np.nonzero(basin.pool.mask)
    r, c = r + basin.pool.row0 - r0, c + basin.pool.col0 - c0
    ok = (r >= 0) & (c >= 0) & (r < z.shape[0]) & (c < z.shape[1])
    r, c = r[ok], c[ok]
    ground = landscape.ground[r + r0, c + c0]
    deep = ground <= basin.floor_m + 0.3 * basin.depth_m
    return float(np.median(level[r[deep], c[deep]])) if deep.any() else float("nan")


def _longer(line: Path) -> Path:
    """A plug's line, drawn out at both ends."""
    dx, dy = line.x[-1] - line.x[0], line.y[-1] - line.y[0]
    long = max(float(np.hypot(dx, dy)), 1e-6)
    ux, uy = _BEYOND_M * dx / long, _BEYOND_M * dy / long
    return Path(
        np.concatenate([[line.x[0] - ux], line.x, [line.x[-1] + ux]]),
        np.concatenate([[line.y[0] - uy], line.y, [line.y[-1] + uy]]),
    )
