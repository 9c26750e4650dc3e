"""Water surfaces at the time of survey: where a DEM shows water, the ground below is unknown."""

from __future__ import annotations

import math

import numpy as np
from scipy import ndimage

from wetscout import large
from wetscout.pieces import pieces_of
from wetscout.records import BOOL, F32
from wetscout.settings.ingest import IngestSettings

_EIGHT = np.ones((3, 3), dtype=bool)


def _flat_core(z: F32) -> BOOL:
    """Cells whose eight neighbours all have exactly their height; the outermost ring of cells is never one."""
    core = large.zeros(z.shape, np.bool_)
    if min(z.shape) < 3:
        return core
    for own, _, _ in large.strips((z.shape[0] - 2, z.shape[1])):
        part = z[own.start : own.stop + 2]
        same_row = part[:, 1:] == part[:, :-1]
        triple = same_row[:, 1:] & same_row[:, :-1]
        same_col = part[1:, 1:-1] == part[:-1, 1:-1]
        flat = triple[:-2] & triple[1:-1] & triple[2:] & same_col[1:] & same_col[:-1]
        core[own.start + 1 : own.stop + 1, 1:-1] = flat
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
    found = []
    for k in range(0, z.shape[0], max(1, z.shape[0] // 400)):
        along = np.abs(np.diff(z[k].astype(np.float64)))
        found.append(along[along > 0])
    gaps = np.concatenate(found)
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
    water = large.zeros(z.shape, np.bool_)
    found = pieces_of(_flat_core(z))
    if found is None:
        return water
    least = settings.water_min_m2 / cell_m**2
    # a core has lost its rim: 400 m2 at 3 m are 44 cells, but only about 16 inner ones
    wanted = np.flatnonzero(found.sizes >= max(1.0, (math.sqrt(least) - 2.0) ** 2))
    if not wanted.size:
        return water
    ring = max(2, math.ceil(settings.water_ring_m / cell_m))
    bank = settings.water_bank_m + 2.0 * height_step(z)
    for number, (r0, c0, r1, c1) in zip(wanted, found.windows(wanted), strict=True):
        window = (slice(max(0, r0 - 1 - ring), r1 + 1 + ring), slice(max(0, c0 - 1 - ring), c1 + 1 + ring))
        flat = ndimage.binary_dilation(found.labels[window] == number, structure=_EIGHT)
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
