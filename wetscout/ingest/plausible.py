"""Is this bare ground in metres at all? Pictures, hillshades, filled and rounded models, spikes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wetscout import large
from wetscout.errors import InputError
from wetscout.io.rasters import RasterInfo
from wetscout.records import F32, Terrain
from wetscout.settings.ingest import IngestSettings

__all__ = ["WARNING", "GroundCounts", "count_ground", "judge_ground", "refuse_pictures"]

WARNING = "Warning: "
_PITS_WANTED_CELLS = 10_000


def refuse_pictures(info: RasterInfo) -> None:
    """Refuse what can be told from the file alone to be no height model.

    Parameters
    ----------
    info : RasterInfo
        What the file says.

    Raises
    ------
    InputError
        Colours, 8-bit cells, complex numbers, several bands.
    """
    if info.picture or info.dtype in {"uint8", "int8"}:
        raise InputError(
            f"{info.path} is a picture, a hillshade or a class map ({info.bands} band(s) of {info.dtype}), not heights."
            " Wanted: the bare-earth elevation raster itself, usually 32-bit floats."
        )
    if "complex" in info.dtype:
        raise InputError(f"{info.path} holds complex numbers ({info.dtype}), not heights.")
    if info.bands > 1:
        raise InputError(
            f"{info.path} has {info.bands} bands; wanted: one, with heights. Take one out: "
            f'gdal_translate -b 1 "{info.path}" "{info.path.rpartition(".")[0] or info.path}_b1.tif"'
        )


@dataclass(frozen=True)
class GroundCounts:
    """Counts over all cells that have eight neighbours with ground.

    Attributes
    ----------
    cells, pits, spikes, wells, level_pairs : int
        Looked at; lower than all neighbours; far above, far below all of them; equal to the eastern neighbour.
    slope : float
        Median of the steeper of the two axis slopes [-], over every eighth row.
    """

    cells: int
    pits: int
    spikes: int
    wells: int
    level_pairs: int
    slope: float


def count_ground(z: F32, cell_m: float, spike_m: float) -> GroundCounts:
    """Count pits, spikes, wells and level pairs, and measure the usual slope.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where unknown.
    cell_m : float
        Cell size [m].
    spike_m : float
        Height over all neighbours that makes a spike [m].

    Returns
    -------
    GroundCounts
    """
    cells = pits = spikes = wells = level = 0
    slopes = []
    # every eighth row, of very large rasters some 4 million cells: enough for a median
    every = max(8, z.size >> 22)
    for own, _, _ in large.strips((max(0, z.shape[0] - 2), z.shape[1])):
        part = z[own.start : own.stop + 2]
        if part.shape[1] < 3:
            break
        middle = part[1:-1, 1:-1]
        low = np.full(middle.shape, np.inf, dtype=np.float32)
        high = -low
        for row in range(3):
            for col in range(3):
                if (row, col) != (1, 1):
                    near = part[row : row + middle.shape[0], col : col + middle.shape[1]]
                    low, high = np.minimum(low, near), np.maximum(high, near)
        whole = np.isfinite(low) & np.isfinite(middle)
        cells += int(np.count_nonzero(whole))
        pits += int(np.count_nonzero(middle < low))
        spikes += int(np.count_nonzero(middle > high + spike_m))
        wells += int(np.count_nonzero(middle < low - spike_m))
        level += int(np.count_nonzero(middle == part[1:-1, 2:]))
        rows = slice(-own.start % every, None, every)
        east = np.abs(part[1:-1, 2:] - part[1:-1, :-2])[rows] / (2 * cell_m)
        south = np.abs(part[2:, 1:-1] - part[:-2, 1:-1])[rows] / (2 * cell_m)
        steep = np.maximum(east, south)
        slopes.append(steep[np.isfinite(steep)])
    joined = np.concatenate(slopes) if slopes else np.zeros(0, dtype=np.float32)
    return GroundCounts(cells, pits, spikes, wells, level, float(np.median(joined)) if joined.size else 0.0)


def judge_ground(terrain: Terrain, step_m: float | None, settings: IngestSettings, name: str) -> tuple[str, ...]:
    """Refuse what is no ground model; tell what limits it.

    Parameters
    ----------
    terrain : Terrain
        As read.
    step_m : float or None
        Step to which its heights were rounded [m].
    settings : IngestSettings
        Limits.
    name : str
        How to call it in messages.

    Returns
    -------
    tuple of str
        Warnings, beginning with `WARNING`.

    Raises
    ------
    InputError
        Constant, a hillshade, too steep to be ground in metres, too coarse in cells or in heights.
    """
    z, cell_m = terrain.z, terrain.grid.cell_m
    low, high = float(np.nanmin(z)), float(np.nanmax(z))
    if low == high:
        raise InputError(f"{name}: every cell is {low:g} m; a raster without relief cannot be screened. Is it the DEM?")
    counts = count_ground(z, cell_m, settings.spike_m)
    if step_m == 1.0 and low >= 0 and high <= 255 and counts.level_pairs < counts.cells // 2:
        raise InputError(
            f"{name} holds whole numbers from {low:g} to {high:g} that jump from cell to cell: a hillshade or a "
            "picture, not heights. Wanted: the bare-earth elevation raster itself."
        )
    if cell_m > settings.cell_max_m:
        raise InputError(
            f"{name} has cells of {cell_m:.3g} m; above {settings.cell_max_m:g} m field ditches do not show. Get a "
            "lidar model with cells of 1 to 3 m."
        )
    if step_m is not None and step_m > settings.step_max_m:
        raise InputError(
            f"{name} has heights rounded to {step_m:.3g} m; above {settings.step_max_m:g} m shallow basins and their "
            "rims are lost. Get the model with decimals."
        )
    if counts.slope > settings.slope_max:
        raise InputError(
            f"{name}: half of its cells slope by more than {counts.slope:.0%}, which bare ground in metres does not. "
            "Is it a hillshade or a surface with roofs and trees, or are its heights in another unit (--z-unit)?"
        )
    return tuple(WARNING + text for text in _limits(terrain, counts, step_m, settings, name))


def _limits(
    terrain: Terrain, counts: GroundCounts, step_m: float | None, settings: IngestSettings, name: str
) -> list[str]:
    """What does not stop the run but bounds what can be found."""
    told = []
    cell_m = terrain.grid.cell_m
    if counts.slope > settings.slope_warn:
        told.append(
            f"{name}: half of its cells slope by more than {counts.slope:.0%}. If this is not steep country its "
            "heights may be in feet: see --z-unit"
        )
    if cell_m > settings.cell_warn_m:
        told.append(f"{name}: at cells of {cell_m:.3g} m small ditches do not show; expect to miss part of them")
    if step_m is not None and step_m > settings.step_warn_m:
        told.append(f"{name}: heights are rounded to {step_m:.3g} m; levels and depths are no finer than that")
    if counts.pits == 0 and counts.cells >= _PITS_WANTED_CELLS:
        told.append(
            f"{name} has no closed hollow at all, not even a single cell. It looks filled or conditioned for flow "
            "models: drained basins that still hold a little water are lost. Use the model as it was before"
        )
    if counts.spikes or counts.wells:
        told.append(
            f"{name}: {counts.spikes} single cells stand more than {settings.spike_m:g} m above and {counts.wells} "
            "below all their neighbours; they were left as they are"
        )
    if terrain.noise_m > settings.rough_warn_m:
        told.append(
            f"{name}: the ground is rough from cell to cell ({terrain.noise_m:.2f} m). It may hold crowns and roofs: a "
            "bare-earth model is wanted"
        )
    known = sum(int(np.count_nonzero(~np.isnan(terrain.z[own]))) for own, _, _ in large.strips(terrain.grid.shape))
    share = int(np.count_nonzero(terrain.hole)) / max(1, known)
    if share > settings.hole_warn:
        told.append(f"{name}: {share:.0%} of it are holes without heights; basins touching one are given as bounds")
    return told
