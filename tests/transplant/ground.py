"""Real ground and its closed basins, found without any code of wetscout.

The fill is greyscale reconstruction by erosion (Vincent 1993, "Morphological grayscale reconstruction", IEEE Trans.
Image Processing 2(2)) as scikit-image implements it: for a DEM it equals depression filling with 8 neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.morphology import reconstruction

F64 = NDArray[np.float64]
BOOL = NDArray[np.bool_]
BANK_M = 16.0  # a rim narrower than this is a bank: spoil and road fill measure 4-15 m
BANK_SHARE = 0.9  # of the depth that it alone holds
EIGHT = np.ones((3, 3), dtype=bool)


@dataclass(frozen=True)
class ClosedBasin:
    """A closed basin of the uncut ground, filled to its spill level (the outermost pool).

    Attributes
    ----------
    pool : bool (rows, cols)
        Cells strictly below the spill level that hang together.
    spill_m, floor_m, depth_m, area_m2, volume_m3 : float
        Closed form of the uncut DEM.
    floor : (row, col)
        Lowest cell.
    """

    pool: BOOL
    spill_m: float
    floor_m: float
    area_m2: float
    volume_m3: float
    floor: tuple[int, int]

    @property
    def depth_m(self) -> float:
        """Greatest depth [m]."""
        return self.spill_m - self.floor_m


def fill(z: F64) -> F64:
    """Fill all depressions; the raster edge and every NaN cell let water out.

    Parameters
    ----------
    z : float64 (rows, cols)
        Ground [m], NaN where unknown.

    Returns
    -------
    float64 (rows, cols)
        Filled ground [m], NaN where z is.
    """
    gone = np.isnan(z)
    low = np.nanmin(z) - 1.0
    mask = np.where(gone, low, z)
    seed = np.full(z.shape, mask.max())
    edge = gone.copy()
    edge[[0, -1], :] = True
    edge[:, [0, -1]] = True
    seed[edge] = mask[edge]
    out = reconstruction(seed, mask, method="erosion", footprint=EIGHT)
    return np.where(gone, np.nan, out)


def closed_basins(z: F64, cell_m: float, min_area_m2: float = 1000.0, min_depth_m: float = 0.3) -> list[ClosedBasin]:
    """Closed basins above the limits that touch neither the raster edge nor unknown ground, lowest spill first.

    Parameters
    ----------
    z : float64 (rows, cols)
        Ground [m], NaN where unknown.
    cell_m : float
        Cell size [m].
    min_area_m2, min_depth_m : float
        Limits of the pool [m2] and of its greatest depth [m].

    Returns
    -------
    list of ClosedBasin
    """
    depth = np.nan_to_num(fill(z) - z)
    label, _ = ndimage.label(depth > 0, structure=EIGHT)
    frame = ndimage.binary_dilation(np.isnan(z), EIGHT)
    frame[[0, -1], :] = True
    frame[:, [0, -1]] = True
    touching = set(np.unique(label[frame]).tolist())
    found = []
    for ident, where in enumerate(ndimage.find_objects(label), start=1):
        part = label[where] == ident
        area = float(part.sum()) * cell_m**2
        here = np.where(part, depth[where], 0.0)
        if ident in touching or area < min_area_m2 or here.max() < min_depth_m:
            continue
        row, col = np.unravel_index(int(np.argmax(here)), here.shape)
        floor = (int(row) + where[0].start, int(col) + where[1].start)
        pool = np.zeros(z.shape, dtype=bool)
        pool[where] = part
        found.append(
            ClosedBasin(
                pool=pool,
                spill_m=float(z[floor] + here.max()),
                floor_m=float(z[floor]),
                area_m2=area,
                volume_m3=float(here.sum()) * cell_m**2,
                floor=floor,
            )
        )
    return sorted(found, key=lambda b: (b.spill_m, b.floor))


def held_by_bank(z: F64, cell_m: float, pool: BOOL, spill_m: float, floor_m: float) -> bool:
    """Whether only a bank holds a basin: with ground narrower than 16 m taken off nearly all its depth is gone.

    The grey opening of mathematical morphology, by scipy. Such a basin has no natural rim: the ground behind the bank
    lies as low as its floor and drains it.

    Parameters
    ----------
    z : float64 (rows, cols)
        Ground [m], NaN where unknown.
    cell_m : float
    pool : bool (rows, cols)
    spill_m, floor_m : float

    Returns
    -------
    bool
    """
    rows, cols = np.nonzero(pool)
    pad = round(60.0 / cell_m)
    box = (slice(max(0, rows.min() - pad), rows.max() + pad + 1), slice(max(0, cols.min() - pad), cols.max() + pad + 1))
    part = z[box]
    k = max(1, round(BANK_M / 2 / cell_m))
    y, x = np.ogrid[-k : k + 1, -k : k + 1]
    opened = ndimage.grey_opening(whole(part), footprint=x * x + y * y <= k * k)
    level = fill(np.where(np.isnan(part), np.nan, opened))
    lowest = pool[box] & (part <= floor_m + 1e-6)
    return bool(spill_m - max(float(level[lowest].min()), floor_m) >= BANK_SHARE * (spill_m - floor_m))


def resample(z: F64, cell_m: float, to_m: float) -> F64:
    """Ground on a finer grid by cubic splines (order 3); a fine cell is known when the cell it lies in is.

    Parameters
    ----------
    z : float64 (rows, cols)
        Ground [m], NaN where unknown.
    cell_m, to_m : float
        Old and new cell size [m]; the new one divides the old one without rest.

    Returns
    -------
    float64 (rows * k, cols * k)
    """
    k = round(cell_m / to_m)
    gone = np.isnan(z)
    row = (np.arange(z.shape[0] * k) + 0.5) / k - 0.5
    col = (np.arange(z.shape[1] * k) + 0.5) / k - 0.5
    grid = np.meshgrid(row, col, indexing="ij")
    fine = ndimage.map_coordinates(whole(z), grid, order=3, mode="nearest")
    return np.where(np.kron(gone, np.ones((k, k), dtype=bool)), np.nan, fine)


def whole(z: F64) -> F64:
    """Ground in which every unknown cell takes the value of its nearest known one (for sampling near the edge)."""
    gone = np.isnan(z)
    if not gone.any():
        return z
    nearest = ndimage.distance_transform_edt(gone, return_distances=False, return_indices=True)
    return np.asarray(z[tuple(nearest)])
