"""Map layers with the errors such layers have: soil polygons drawn generously and beside the mark, land cover in 30 m
cells with wrong classes here and there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from rasterio.features import shapes
from scipy import ndimage
from shapely.geometry import shape

from .flood import Hollow, pool_of
from .texture import spectral

Grid = NDArray[np.float64]
CROP, HAY, FOREST, WETLAND = 82, 81, 41, 95  # public US land cover codes
POLYGON_M2 = 6000  # smaller ones are not mapped


@dataclass(frozen=True)
class Maps:
    """Soil classes (0 dry, 1 fair, 2 wet) and land cover codes on 1 m cells."""

    soil: NDArray[np.uint8]
    cover: NDArray[np.uint8]

    def soils(self, cell_m: float, transform: Any) -> Any:
        """Soil polygons with percent hydric and drainage class, in the coordinates of a DEM's transform."""
        step = round(cell_m)
        rows = []
        names = {0: (3, "Well drained"), 1: (15, "Moderately well drained"), 2: (85, "Poorly drained")}
        for ring, value in shapes(np.ascontiguousarray(self.soil[::step, ::step]), transform=transform):
            percent, drainage = names[int(value)]
            rows.append({"hydclprs": percent, "drclassdcd": drainage, "geometry": shape(ring)})
        return gpd.GeoDataFrame(rows)


def map_of(rng: Generator, z: Grid, found: list[Hollow], piped: set[int], drained: set[int]) -> Maps:
    """Draw both maps: hollows mostly wet soil; farmed where drained, mostly wetland where not."""
    n = z.shape[0]
    wet = np.zeros((n, n))
    cover = np.where(spectral(rng, n, 0.8, 500, 150) > 1.2, HAY, CROP).astype(np.uint8)
    cover[spectral(rng, n, 0.8, 500, 150) > 1.8] = FOREST
    for h in found:
        if h.cells < 300 or h.spill_m - h.floor_m < 0.12:
            continue
        pool = pool_of(z, h.floor_at, h.spill_m)
        used = h.number in piped or h.number in drained
        chance = 0.85 if used else 0.6
        if rng.random() < chance:
            wet = np.maximum(wet, pool * 1.0)
        if not used and h.parent < 0 and rng.random() < 0.75:
            cover[pool] = WETLAND
    shift = rng.normal(0, 12, 2)
    wet = ndimage.shift(ndimage.gaussian_filter(wet, 14), shift, order=1)
    wet += 0.08 * spectral(rng, n, 0.8, 300, 60)
    soil = (wet > 0.3).astype(np.uint8) * 2
    marks, count = ndimage.label(soil > 0)
    size = ndimage.sum_labels(np.ones_like(soil), marks, np.arange(count + 1))
    soil[(size < POLYGON_M2)[marks] & (marks > 0)] = 0
    soil[(soil == 0) & (spectral(rng, n, 0.8, 400, 100) > 0.3)] = 1
    m = -(-n // 30)
    coarse = cover[15::30, 15::30][:m, :m].copy()
    odd = rng.random(coarse.shape) < 0.05
    coarse[odd] = rng.choice([CROP, HAY, FOREST, WETLAND], int(odd.sum()))
    cover = np.pad(np.kron(coarse, np.ones((30, 30), np.uint8)), ((0, 30), (0, 30)), mode="edge")[:n, :n]
    return Maps(soil, cover)
