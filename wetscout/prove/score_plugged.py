"""What the water does when the plugs offered are really put in: the true ground is plugged and flooded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from wetscout.prove.flood import fill_level
from wetscout.prove.found import Found
from wetscout.prove.joined import DEEP, OVER_M, SHARE
from wetscout.prove.landscape import Landscape, TrueBasin
from wetscout.prove.sweep import Path, near
from wetscout.records import BOOL, Patch

# Ground taken along around the pool [m]. A window's border lets water out, so what it holds the whole raster holds too.
_MARGIN_M = 120.0
_HELD_M = 0.02
# A plug is this thick down the ditch and reaches this far beyond its ends [m]. Its crown is at the spill level: water
# passes over it or beside it, as the rim lets it.
_HALF_M, _BEYOND_M = 3.0, 1.5


@dataclass(frozen=True)
class Standing:
    """The water of one site, its plugs put in: how far it stands from the level told [m], and the ground it covers.

    `off_m` is NaN where no plug is drawn. The water is what joins a good share of the deepest ground of the basin, or
    comes from it, out of the pool as well: along a ditch up to where its bed lies higher.
    """

    off_m: float
    water: Patch | None


def standing(landscape: Landscape, found: Found, basin: TrueBasin) -> Standing:
    """Put the plugs offered in and flood the true ground.

    Parameters
    ----------
    landscape : Landscape
    found : Found
        With the lines of its plugs.
    basin : TrueBasin
        The basin it stands for: the level is read over its deepest third.

    Returns
    -------
    Standing
    """
    if not found.plug_lines:
        return Standing(float("nan"), None)
    near_by = _flooded(landscape, found, basin, round(_MARGIN_M / landscape.cell_m))
    if near_by.off_m >= -_HELD_M:
        return near_by
    # a ditch from above may lead out of the window: look at all of it
    return _flooded(landscape, found, basin, max(landscape.z.shape))


def _flooded(landscape: Landscape, found: Found, basin: TrueBasin, gap: int) -> Standing:
    """The same on the ground within `gap` cells around the pool."""
    cell = landscape.cell_m
    rows, cols = found.pool.mask.shape
    r0, c0 = max(0, found.pool.row0 - gap), max(0, found.pool.col0 - gap)
    z = landscape.opened[r0 : found.pool.row0 + rows + gap, c0 : found.pool.col0 + cols + gap].copy()
    plugged: BOOL = np.zeros(z.shape, dtype=np.bool_)
    for row, col in found.plug_lines:
        line = _longer(Path((np.asarray(col) - c0) * cell, (np.asarray(row) - r0) * cell))
        # a cell at least to each side, or water slips between cells
        plug = near((z.shape[0], z.shape[1]), cell, line, max(_HALF_M, 1.5 * cell))
        z[plug] = np.maximum(z[plug], np.float32(found.spill_m))
        plugged |= plug
    level = fill_level(z)
    r, c = np.nonzero(basin.pool.mask)
    r, c = r + basin.pool.row0 - r0, c + basin.pool.col0 - c0
    ok = (r >= 0) & (c >= 0) & (r < z.shape[0]) & (c < z.shape[1])
    r, c = r[ok], c[ok]
    deep = landscape.ground[r + r0, c + c0] <= basin.floor_m + DEEP * basin.depth_m
    r, c = r[deep], c[deep]
    if not r.size:
        return Standing(float("nan"), None)
    stands = float(np.median(level[r, c]))
    # what a plug alone parts from the pool stands behind the same plug
    wet = (level - z >= OVER_M) & (np.abs(level - stands) <= _HELD_M)
    parts, _ = ndimage.label(wet | plugged, np.ones((3, 3), dtype=np.int8))
    of_floor = np.bincount(parts[r, c], minlength=int(parts.max()) + 1)
    of_floor[0] = 0
    mask: BOOL = np.isin(parts, np.flatnonzero(of_floor >= max(1.0, SHARE * r.size))) & wet
    return Standing(stands - found.spill_m, Patch(r0, c0, mask))


def _longer(line: Path) -> Path:
    """A plug's line, drawn out at both ends."""
    dx, dy = line.x[-1] - line.x[0], line.y[-1] - line.y[0]
    long = max(float(np.hypot(dx, dy)), 1e-6)
    ux, uy = _BEYOND_M * dx / long, _BEYOND_M * dy / long
    return Path(
        np.concatenate([[line.x[0] - ux], line.x, [line.x[-1] + ux]]),
        np.concatenate([[line.y[0] - uy], line.y, [line.y[-1] + uy]]),
    )
