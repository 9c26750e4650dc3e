"""Water surfaces at the time of survey: where a DEM shows water, the ground below is unknown."""

from __future__ import annotations

import math

import numpy as np
from scipy import ndimage

from wetscout.records import BOOL, F32
from wetscout.settings.ingest import IngestSettings

_EIGHT = np.ones((3, 3), dtype=bool)
_STRIP_ROWS = 1024


def _flat_core(z: F32) -> BOOL:
    """Cells whose eight neighbours all have exactly their height; the outermost ring of cells is never one."""
    core = np.zeros(z.shape, dtype=bool)
    if min(z.shape) < 3:
        return core
    for top in range(0, z.shape[0] - 2, _STRIP_ROWS):
        bottom = min(top + _STRIP_ROWS + 2, z.shape[0])
        part = z[top:bottom]
        same_row = part[:, 1:] == part[:, :-1]
        triple = same_row[:, 1:] & same_row[:, :-1]
        same_col = part[1:, 1:-1] == part[:-1, 1:-1]
        core[top + 1 : bottom - 1, 1:-1] = triple[:-2] & triple[1:-1] & triple[2:] & same_col[1:] & same_col[:-1]
    return core


def height_step(z: F32) -> float:
    """Smallest usual difference between neighbours that differ: the rounding step of rounded heights.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where unknown.

    Returns
    -------
    float
        [m]; 0 where all are alike.
    """
    sample = z[:: max(1, z.shape[0] // 400)]
    gaps = np.abs(np.diff(sample.astype(np.float64), axis=1))
    gaps = gaps[gaps > 0]
    return float(np.percentile(gaps, 5)) if gaps.size else 0.0


def water_surface(z: F32, cell_m: float, settings: IngestSettings) -> BOOL:
    """Exactly flat areas with a bank around them.

    Rounded heights on a plain make exactly flat bands and floors too. They are told apart by their edge: a band has
    lower ground on one side, and a rounded floor is left by single rounding steps, while round a water surface nearly
    all of the shore is higher, and the ground a few metres out stands clear above it and is rough, not rounded smooth.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where unknown.
    cell_m : float
        Cell size [m].
    settings : IngestSettings
        `water_min_m2`, `water_bank_m`, `water_rough_m`, `water_ring_m`, `water_shore`.

    Returns
    -------
    bool (rows, cols)
        Void-filled depressions of a filled DEM answer the same: there, too, the ground is unknown.
    """
    water = np.zeros(z.shape, dtype=bool)
    core = _flat_core(z)
    if not core.any():
        return water
    labels, _count = ndimage.label(core, structure=_EIGHT)
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    least = settings.water_min_m2 / cell_m**2
    # a core has lost its rim: 400 m2 at 3 m are 44 cells, but only about 16 inner ones
    wanted = np.flatnonzero(sizes >= max(1.0, (math.sqrt(least) - 2.0) ** 2))
    if not wanted.size:
        return water
    ring = max(2, math.ceil(settings.water_ring_m / cell_m))
    bank = settings.water_bank_m + 2.0 * height_step(z)
    places = ndimage.find_objects(labels)
    for number in wanted:
        rows, cols = places[number - 1]
        window = (
            slice(max(0, rows.start - 1 - ring), rows.stop + 1 + ring),
            slice(max(0, cols.start - 1 - ring), cols.stop + 1 + ring),
        )
        flat = ndimage.binary_dilation(labels[window] == number, structure=_EIGHT)
        if flat.sum() >= least and _has_banks(z[window], flat, ring, bank, settings):
            water[window] |= flat
    return water


def _has_banks(z: F32, flat: BOOL, ring: int, bank_m: float, settings: IngestSettings) -> bool:
    """Whether the ground around a flat patch is higher nearly everywhere, clearly so a few metres out, and rough."""
    level = z[flat][0]
    around = ndimage.binary_dilation(flat, structure=_EIGHT, iterations=1) & ~flat & ~np.isnan(z)
    far = ndimage.binary_dilation(flat, structure=_EIGHT, iterations=ring) & ~flat & ~np.isnan(z)
    if not around.any() or not far.any():
        return False
    # arms of the water too narrow for a 3x3 core are level with it: neither shore nor bank
    lower = np.count_nonzero(z[around] < level) / np.count_nonzero(around)
    rise = z[far & (z != level)].astype(np.float64) - level
    if lower > 1.0 - settings.water_shore or not rise.size or np.median(rise) < bank_m:
        return False
    bends = np.abs(z[:, 2:] - 2.0 * z[:, 1:-1] + z[:, :-2])[far[:, 1:-1]]
    bends = bends[np.isfinite(bends)]
    return bool(bends.size and np.median(bends) >= settings.water_rough_m)
