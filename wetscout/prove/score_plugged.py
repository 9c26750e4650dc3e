"""What the water does when the plugs offered are really put in: the true ground is plugged and flooded."""

from __future__ import annotations

import numpy as np

from wetscout.prove.flood import fill_level
from wetscout.prove.found import Found
from wetscout.prove.landscape import Landscape, TrueBasin
from wetscout.prove.sweep import Path, near

# Ground taken along around the pool [m]: what the water must pass on its way out lies within.
_MARGIN_M = 120.0
# A plug is this thick down the ditch, reaches this far beyond its ends, and stands this far over the spill level [m].
_HALF_M, _BEYOND_M, _OVER_M = 3.0, 1.5, 0.5


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
    cell = landscape.cell_m
    gap = round(_MARGIN_M / cell)
    rows, cols = found.pool.mask.shape
    r0, c0 = max(0, found.pool.row0 - gap), max(0, found.pool.col0 - gap)
    z = landscape.opened[r0 : found.pool.row0 + rows + gap, c0 : found.pool.col0 + cols + gap].copy()
    for row, col in found.plug_lines:
        line = _longer(Path((np.asarray(col) - c0) * cell, (np.asarray(row) - r0) * cell))
        # a cell at least to each side, or water slips between cells
        plug = near((z.shape[0], z.shape[1]), cell, line, max(_HALF_M, 1.5 * cell))
        z[plug] = np.maximum(z[plug], np.float32(found.spill_m + _OVER_M))
    level = fill_level(z)
    r, c = np.nonzero(basin.pool.mask)
    r, c = r + basin.pool.row0 - r0, c + basin.pool.col0 - c0
    ok = (r >= 0) & (c >= 0) & (r < z.shape[0]) & (c < z.shape[1])
    r, c = r[ok], c[ok]
    ground = landscape.ground[r + r0, c + c0]
    deep = ground <= basin.floor_m + 0.3 * basin.depth_m
    return float(np.median(level[r[deep], c[deep]])) - found.spill_m if deep.any() else float("nan")


def _longer(line: Path) -> Path:
    """A plug's line, drawn out at both ends."""
    dx, dy = line.x[-1] - line.x[0], line.y[-1] - line.y[0]
    long = max(float(np.hypot(dx, dy)), 1e-6)
    ux, uy = _BEYOND_M * dx / long, _BEYOND_M * dy / long
    return Path(
        np.concatenate([[line.x[0] - ux], line.x, [line.x[-1] + ux]]),
        np.concatenate([[line.y[0] - uy], line.y, [line.y[-1] + uy]]),
    )
