"""A soil map and a land-cover raster that could lie over a transplant, with the errors such maps have.

Shares as told of the public maps (own estimates, no source): 3 of 10 drained basins are not shown hydric, 1 of 8 is not
farmed, 1 wetland of 4 is mapped as grass, 1 dry hollow of 10 lies on soil mapped hydric.
"""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio import features
from rasterio.transform import Affine
from scipy import ndimage

from .covered import CoveredTransplant, Truth

CROPS, GRASS, WOODS, MARSH = 82, 71, 41, 95  # codes of the public US land cover (NLCD legend)
SOIL_OFF_M = 15.0  # soil lines are drawn tens of metres off
COVER_CELL_M = 30.0  # cell of the public US land cover


def invent(made: CoveredTransplant, seed: int) -> tuple[gpd.GeoDataFrame, NDArray[np.uint8]]:
    """Soil polygons in the coordinates `screen_array` gives an array, and cover codes on its cells.

    Parameters
    ----------
    made : CoveredTransplant
    seed : int

    Returns
    -------
    soils : GeoDataFrame
        `hydclprs`, `drclassdcd`.
    cover : uint8 (rows, cols)
    """
    rng = np.random.default_rng([seed, 11])
    rows, cols = made.z.shape
    hydric = np.zeros((rows, cols), dtype=bool)
    cover = np.full((rows, cols), CROPS, dtype=np.uint8)
    for truth in made.truths:
        wet, code = _shown(truth, rng)
        near = ndimage.binary_dilation(truth.before, iterations=max(1, round(12.0 / made.cell_m)))
        if wet:
            off = np.rint(rng.normal(0.0, SOIL_OFF_M, 2) / made.cell_m)
            hydric |= ndimage.shift(near.astype(np.uint8), off, order=0).astype(bool)
        cover[near] = code
    k = max(1, round(COVER_CELL_M / made.cell_m))
    r, c = (np.minimum(np.arange(n) // k * k + k // 2, n - 1) for n in (rows, cols))
    return _polygons(hydric, made.cell_m), cover[np.ix_(r, c)]


def _shown(truth: Truth, rng: np.random.Generator) -> tuple[bool, int]:
    """Whether a basin is shown hydric, and its cover."""
    one, two, three = rng.random(3)
    other = GRASS if three < 0.5 else WOODS
    if truth.mouth is not None:
        return bool(one < 0.7), CROPS if two < 0.875 else other
    if three < 0.45:
        return bool(one < 0.8), MARSH if two < 0.75 else GRASS
    return bool(one < 0.1), CROPS if two < 0.875 else other


def _polygons(hydric: NDArray[np.bool_], cell_m: float) -> gpd.GeoDataFrame:
    transform = Affine(cell_m, 0.0, 0.0, 0.0, -cell_m, hydric.shape[0] * cell_m)
    found: list[tuple[Any, float]] = list(features.shapes(hydric.astype(np.uint8), transform=transform))
    wet = [value > 0 for _, value in found]
    columns = {
        "hydclprs": [95 if w else 3 for w in wet],
        "drclassdcd": ["Very poorly drained" if w else "Moderately well drained" for w in wet],
    }
    return gpd.GeoDataFrame(columns, geometry=[shapely.geometry.shape(g) for g, _ in found])
