"""Ground that no survey saw as it is: smooth fill, flat facets, steps between surveys, level water, as bits a cell.

Lidar ground is rough by the noise of its returns wherever there were returns. Where a gap was filled in, the surface
bends from cell to cell by much less (smooth fill), or not at all but for creases (triangles of a coarse mesh).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.ingest.seams import Seam
from wetscout.ingest.water import height_step
from wetscout.kernels.blur import bends, box_count, count_steps
from wetscout.pieces import pieces_of
from wetscout.records import BOOL, F32, FAULT_FACETS, FAULT_LEVEL, FAULT_SEAM, FAULT_SMOOTH, U8, Patch, Terrain
from wetscout.settings.ingest import IngestSettings

__all__ = ["FaultAreas", "areas_of", "bend", "bend_histogram", "fault_mask", "fault_notes", "flags_of", "typical_bend"]

BEND_STEP_M = 2.0**-14
BEND_BINS = 1 << 15
# words of the field `survey_flags`, by bit
FLAGS = {
    FAULT_SMOOTH: "smooth filled-in ground",
    FAULT_FACETS: "flat facets",
    FAULT_SEAM: "step between surveys",
    FAULT_LEVEL: "level water",
}


@dataclass(frozen=True)
class FaultAreas:
    """Ground under each sort of fault [m2]; `seam` is the strip along steps between surveys."""

    smooth: float
    facets: float
    seam: float
    level: float


def bend(z: F32) -> F32:
    """Greatest second difference of the ground at a cell in four directions.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where unknown.

    Returns
    -------
    float32 (rows, cols)
        |z(before) - 2 z + z(after)| [m]: 0 on a plane. NaN on the outermost cells and beside unknown ground.
    """
    found: F32 = bends(np.ascontiguousarray(z))
    return found


def bend_histogram(bent: F32, skip: BOOL) -> NDArray[np.int64]:
    """Count bends in steps of 2^-14 m; counts of tiles add up to the count of the whole.

    Parameters
    ----------
    bent : float32 (rows, cols)
        From `bend` [m].
    skip : bool (rows, cols)
        Cells not to count (water).

    Returns
    -------
    int64 (BEND_BINS,)
        The last bin takes all that is larger.
    """
    counts = np.zeros(BEND_BINS, np.int64)
    count_steps(bent, skip, BEND_STEP_M, counts)
    return counts


def typical_bend(z: F32, skip: BOOL) -> float:
    """Median bend of a whole raster.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    skip : bool (rows, cols)
        Cells not to count.

    Returns
    -------
    float
        [m]; NaN where nothing was counted.
    """
    counts = np.zeros(BEND_BINS, dtype=np.int64)
    for own, read, inner in large.strips((z.shape[0], z.shape[1]), 1):
        counts += bend_histogram(bend(z[read])[inner], skip[own])
    total = int(counts.sum())
    return math.nan if total == 0 else (int(np.searchsorted(np.cumsum(counts), (total + 1) // 2)) + 0.5) * BEND_STEP_M


def _share(marked: BOOL, known: NDArray[np.int32], half: int) -> F32:
    """Share of marked cells among the known ones (their counts) of the square around a cell."""
    least = (2 * half + 1) ** 2 // 2
    share = box_count(marked, half) / np.maximum(known, 1)
    return np.where(known >= least, share, 0.0).astype(np.float32)


def fault_mask(z: F32, water: BOOL, seams: list[Seam], cell_m: float, settings: IngestSettings) -> U8:
    """Mark every cell whose height no survey measured, and those along a step between surveys.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where unknown.
    water : bool (rows, cols)
        Water at survey.
    seams : list of Seam
        From `find_seams`.
    cell_m : float
        Cell size [m].
    settings : IngestSettings
        The numbers that begin with `fault_`.

    Returns
    -------
    uint8 (rows, cols)
        Bits FAULT_SMOOTH, FAULT_FACETS, FAULT_SEAM, FAULT_LEVEL. Windows are fixed and counts are whole numbers, so
        the answer does not depend on how the raster is cut.
    """
    out = large.empty(z.shape, np.uint8)
    np.multiply(water, np.uint8(FAULT_LEVEL), out=out)
    typical = typical_bend(z, water)
    quiet_m = settings.fault_quiet * typical
    # rounded heights make planes of flat fields: at 5 m and 1 cm a third of what was told was plain farmland
    if np.isfinite(typical) and quiet_m >= max(settings.fault_least_m, 2.0 * height_step(z)):
        _mark_unseen(out, z, water, (quiet_m, settings.fault_planar * typical), (cell_m, settings))
    reach = max(1, round(settings.fault_seam_m / cell_m))
    for seam in seams:
        across = slice(max(0, seam.index + 1 - reach), seam.index + 1 + reach)
        along = slice(seam.begin, seam.end)
        part = out[across, along] if seam.along == "row" else out[along, across]
        part |= np.uint8(FAULT_SEAM)
    return out


def _mark_unseen(
    out: U8, z: F32, water: BOOL, limits: tuple[float, float], scale: tuple[float, IngestSettings]
) -> None:
    """Find quiet or planar ground and keep what is large enough; facets are planes that are not quiet all over."""
    (quiet_m, planar_m), (cell_m, settings) = limits, scale
    half = max(2, round(settings.fault_window_m / cell_m))
    unseen, smooth = (large.empty(z.shape, np.bool_) for _ in range(2))
    for own, read, inner in large.strips((z.shape[0], z.shape[1]), half + 1):
        bent = bend(z[read])
        known = np.isfinite(bent) & ~water[read]
        count = box_count(known, half)
        quiet = _share(known & (bent <= quiet_m), count, half) >= settings.fault_quiet_share
        planes = _share(known & (bent <= planar_m), count, half) >= settings.fault_planar_share
        unseen[own], smooth[own] = ((quiet | planes) & known)[inner], (quiet & known)[inner]
    found = pieces_of(unseen)
    if found is None:
        return
    sizes, calm = found.sizes, found.count(smooth)
    kept = sizes * cell_m**2 >= settings.fault_area_m2
    kept[0] = False
    sort = np.where(~kept, 0, np.where(2 * calm >= sizes, FAULT_SMOOTH, FAULT_FACETS)).astype(np.uint8)
    for own, _, _ in large.strips((z.shape[0], z.shape[1])):
        out[own] |= sort[found.labels[own]]


def areas_of(faults: U8, cell_m2: float) -> FaultAreas:
    """Add up the ground under each sort of fault.

    Parameters
    ----------
    faults : uint8 (rows, cols)
        From `fault_mask`.
    cell_m2 : float
        [m2].

    Returns
    -------
    FaultAreas
    """
    bits = (FAULT_SMOOTH, FAULT_FACETS, FAULT_SEAM, FAULT_LEVEL)
    counts = np.zeros(256, np.int64)
    for own, _, _ in large.strips((faults.shape[0], faults.shape[1])):
        counts += np.bincount(faults[own].ravel(), minlength=256)
    values = np.arange(256)
    return FaultAreas(*(float(counts[(values & bit) > 0].sum()) * cell_m2 for bit in bits))


def flags_of(faults: U8 | None, patch: Patch, least: float) -> tuple[str | None, float]:
    """Say which faults lie on a set of cells.

    Parameters
    ----------
    faults : uint8 (rows, cols) or None
        From `fault_mask`.
    patch : Patch
        Such as a pool.
    least : float
        Share of it from which a fault is told; a step between surveys is told wherever it touches.

    Returns
    -------
    words : str or None
        Of `FLAGS`, separated by commas; None where there is none.
    unseen : float
        Share of it that no survey saw as it is, water left out.
    """
    h, w = patch.shape
    box = (slice(patch.row0, patch.row0 + h), slice(patch.col0, patch.col0 + w))
    if faults is None or not faults[box].any():
        return None, 0.0
    part = faults[box][patch.mask]
    if not part.size:
        return None, 0.0
    shares = {bit: float(np.count_nonzero(part & bit)) / part.size for bit in FLAGS}
    told = [FLAGS[bit] for bit, share in shares.items() if share >= (1e-9 if bit == FAULT_SEAM else least)]
    return ", ".join(told) or None, float(np.count_nonzero(part & (FAULT_SMOOTH | FAULT_FACETS))) / part.size


def fault_notes(terrain: Terrain, name: str) -> list[str]:
    """Tell in words how much ground no survey saw.

    Parameters
    ----------
    terrain : Terrain
    name : str
        Of the DEM.

    Returns
    -------
    list of str
        A warning where there is any.
    """
    if terrain.faults is None:
        return []
    areas = areas_of(terrain.faults, terrain.grid.cell_m2)
    parts = [
        f"{area:.0f} m2 of {words}"
        for area, words in ((areas.smooth, "smooth ground"), (areas.facets, "ground made of flat facets"))
        if area > 0
    ]
    if not parts:
        return []
    return [
        f"Warning: {name} holds {' and '.join(parts)}, as gaps in a survey that were filled in leave: basins and "
        "levels there are guesses of whoever filled them"
    ]
