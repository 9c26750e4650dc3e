"""Small-scale noise of a DEM, from an integer histogram that adds up over tiles."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.kernels.blur import count_steps, gauss, weights_of
from wetscout.records import BOOL, F32

NOISE_STEP_M = 2.0**-14
NOISE_BINS = 1 << 15
_TRUNCATE = 4.0


def noise_halo(cell_m: float, sigma_m: float) -> int:
    """Cells by which the noise filter reaches beyond a cell.

    Parameters
    ----------
    cell_m, sigma_m : float
        Cell size and width of the Gauss filter [m].

    Returns
    -------
    int
        [cells]
    """
    return int(_TRUNCATE * sigma_m / cell_m + 0.5)


def noise_histogram(
    z: F32, skip: BOOL, cell_m: float, sigma_m: float, owned: tuple[slice, slice] | None = None
) -> NDArray[np.int64]:
    """Count |z - Gauss(z)| in steps of 2^-14 m over the cells whose whole filter window is ground.

    A pure function of the window, so counts of tiles with a halo of `noise_halo` add up to the count of the whole.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where unknown.
    skip : bool (rows, cols)
        Cells not to count (water).
    cell_m, sigma_m : float
        Cell size and width of the Gauss filter [m].
    owned : pair of slice, optional
        Part of the window to count; all by default.

    Returns
    -------
    int64 (NOISE_BINS,)
        The last bin takes all that is larger.
    """
    part = owned or (slice(None), slice(None))
    ground = z.astype(np.float64)
    smooth = gauss(ground, weights_of(sigma_m / cell_m, _TRUNCATE), False, math.nan)
    counts = np.zeros(NOISE_BINS, dtype=np.int64)
    count_steps(np.abs(ground[part] - smooth[part]), skip[part], NOISE_STEP_M, counts)
    return counts


def noise_from_histogram(counts: NDArray[np.int64]) -> float:
    """1.4826 times the median of the counted residuals: the standard deviation, if they were normal.

    Parameters
    ----------
    counts : int64 (NOISE_BINS,)
        Sum of `noise_histogram` over all tiles.

    Returns
    -------
    float
        Noise [m]; NaN when nothing was counted.

    Notes
    -----
    1.4826 = 1 / 0.6745, the median absolute deviation of a normal distribution (Hampel 1974, J. Am. Stat. Assoc. 69).
    """
    total = int(counts.sum())
    if total == 0:
        return math.nan
    middle = int(np.searchsorted(np.cumsum(counts), (total + 1) // 2))
    return 0.0 if middle == 0 else 1.4826 * (middle + 0.5) * NOISE_STEP_M


def noise_of(z: F32, skip: BOOL, cell_m: float, sigma_m: float) -> float:
    """Noise of a whole raster, taken strip by strip.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where unknown.
    skip : bool (rows, cols)
        Cells not to count.
    cell_m, sigma_m : float
        Cell size and width of the Gauss filter [m].

    Returns
    -------
    float
        Noise [m]; NaN when the raster is smaller than the filter.
    """
    halo = noise_halo(cell_m, sigma_m)
    counts = np.zeros(NOISE_BINS, dtype=np.int64)
    for _, read, inner in large.strips((z.shape[0], z.shape[1]), halo):
        counts += noise_histogram(z[read], skip[read], cell_m, sigma_m, (inner, slice(None)))
    return noise_from_histogram(counts)
