"""From a clean array of heights to the value the other rooms work on."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.errors import InputError
from wetscout.grid import Grid
from wetscout.ingest.faults import fault_mask
from wetscout.ingest.level_water import level_water
from wetscout.ingest.noise import noise_of
from wetscout.ingest.seams import Seam, find_seams
from wetscout.ingest.water import water_surface
from wetscout.pieces import pieces_of
from wetscout.records import BOOL, F32, Terrain
from wetscout.settings.ingest import IngestSettings


def any_ground(z: F32) -> bool:
    """Whether any cell has a height.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where there is none.

    Returns
    -------
    bool
    """
    return any(not np.isnan(z[own]).all() for own, _, _ in large.strips((z.shape[0], z.shape[1])))


def inner_holes(z: F32) -> BOOL:
    """Cells without a height that are not joined to the raster border: unknown ground, not an outlet.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where there is none.

    Returns
    -------
    bool (rows, cols)
        No-data is joined over 8 neighbours, so water could leave through a diagonal gap.
    """
    inner = np.isnan(z, out=large.empty(z.shape, np.bool_))
    found = pieces_of(inner)
    if found is None:
        return inner
    border = np.concatenate([found.labels[0], found.labels[-1], found.labels[:, 0], found.labels[:, -1]])
    outer = np.zeros(found.sizes.size, dtype=bool)
    outer[border] = True
    outer[0] = True
    for own, _, _ in large.strips((z.shape[0], z.shape[1])):
        inner[own] = ~outer[found.labels[own]]
    return inner


def from_array(
    z: NDArray[Any],
    cell_m: float,
    settings: IngestSettings | None = None,
    grid: Grid | None = None,
    notes: tuple[str, ...] = (),
) -> Terrain:
    """Make a Terrain of an array of heights, north up.

    Parameters
    ----------
    z : real (rows, cols)
        Ground [m]; NaN, infinities or masked cells where there is none. Not altered.
    cell_m : float
        Cell size [m].
    settings : IngestSettings, optional
        Limits for water and noise.
    grid : Grid, optional
        Place on the map; by default the south-west corner is at (0, 0), without a CRS.
    notes : tuple of str
        Remarks to carry on.

    Returns
    -------
    Terrain
        `relief_m` is NaN: it is measured with the lines.

    Raises
    ------
    InputError
        Not a two-dimensional array of real numbers, no ground in it, or a cell size that is not positive.
    """
    settings = settings or IngestSettings()
    raw = np.ma.filled(np.ma.asarray(z, dtype=np.float32), np.nan) if np.ma.isMaskedArray(z) else np.asarray(z)
    if raw.ndim != 2 or raw.dtype.kind not in "fiu":
        raise InputError(
            f"the heights are an array of {raw.ndim} dimensions and type {raw.dtype}; wanted: 2, real numbers"
        )
    if not (math.isfinite(cell_m) and cell_m > 0):
        raise InputError(f"the cell size is {cell_m} m; it must be above 0")
    ground = np.array(raw, dtype=np.float32, order="C")
    ground[~np.isfinite(ground)] = np.nan
    if not any_ground(ground):
        raise InputError(f"the raster of {raw.shape[0]} x {raw.shape[1]} cells holds no height at all")
    rows, cols = ground.shape
    if grid is None:
        grid = Grid(rows, cols, 0.0, rows * cell_m, cell_m, cell_m, cell_m)
    elif grid.shape != ground.shape:
        raise InputError(f"the grid has {grid.shape} cells, the heights {ground.shape}")
    return finish(ground, grid, settings, notes)


def finish(
    z: F32,
    grid: Grid,
    settings: IngestSettings,
    notes: tuple[str, ...] = (),
    seams: list[Seam] | None = None,
) -> Terrain:
    """Add masks and noise to clean heights; they are kept, not copied.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where there is none.
    grid : Grid
        Of the same shape.
    settings : IngestSettings
        Limits for water and noise.
    notes : tuple of str
        Remarks to carry on.
    seams : list of Seam, optional
        Steps between surveys, where they are known already.

    Returns
    -------
    Terrain
    """
    water = water_surface(z, grid.cell_m, settings)
    water |= level_water(z, grid.cell_m, settings)
    noise_m = noise_of(z, water, grid.cell_m, settings.noise_sigma_m)
    seams = find_seams(z, settings.seam_m) if seams is None else seams
    faults = fault_mask(z, water, seams, grid.cell_m, settings)
    return Terrain(grid, z, inner_holes(z), water, noise_m, math.nan, notes, faults)
