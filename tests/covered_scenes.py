"""A small invented field: bowls with and without a covered drain, an open ditch that begins abruptly, exact answers.

Own arithmetic, no part of the generator in wetscout.prove.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from scipy import ndimage

from wetscout.grid import Grid
from wetscout.ingest import from_array
from wetscout.records import Screen
from wetscout.records_covered import Evidence
from wetscout.settings import Settings
from wetscout.steps.evidence import gather


@dataclass(frozen=True)
class Field:
    """DEM, the same without noise, cell size, centre of each bowl and the mouth of the pipe as (row, col) [m]."""

    z: np.ndarray
    clean: np.ndarray
    cell_m: float
    bowls: dict[str, tuple[float, float]]
    mouth: tuple[float, float]


def field(cell_m: float = 1.0, trench_m: float = 0.06, seed: int = 1, size_m: float = 420.0) -> Field:
    """A plain falling 0.3 % to the east with two bowls; a collector in the east, a stub of it towards one bowl."""
    n = round(size_m / cell_m)
    y, x = (np.mgrid[0:n, 0:n] + 0.5) * cell_m
    rng = np.random.default_rng(seed)
    z = 100.0 - 0.003 * x
    z += 0.05 * ndimage.gaussian_filter(rng.normal(size=(n, n)), 30.0 / cell_m) * 30.0 / cell_m
    bowls = {"drained": (130.0, 120.0), "whole": (310.0, 130.0)}
    for r, c in bowls.values():
        away = np.hypot(y - r, x - c)
        # a bowl of 34 m with a rim of 0.25 m around it that fades out to 60 m
        rim = 0.25 * np.clip(1.0 - np.abs(away - 44.0) / 16.0, 0.0, 1.0)
        z = np.where(away < 34.0, np.minimum(z, z - 0.55 * (1.0 - (away / 34.0) ** 2)), z) + rim
    mouth = (130.0, 226.0)
    # the rim graded down over the pipe, 25 m wide and 0.12 m deep
    z -= 0.12 * np.exp(-(((y - 130.0) / 9.0) ** 2)) * np.clip(1.0 - np.abs(x - 164.0) / 18.0, 0.0, 1.0)
    on_pipe = (x > 120.0) & (x < mouth[1])
    z += np.where(on_pipe, trench_m * np.clip(1.0 - ((y - 130.0) / 1.6) ** 2, 0.0, 1.0), 0.0)
    for across, keep, bed in (
        (np.abs(y - mouth[0]), (x >= mouth[1]) & (x <= 340.0), 98.25 - 0.001 * (x - mouth[1])),
        (np.abs(x - 340.0), np.ones_like(x, bool), 98.1 - 0.001 * y),
    ):
        cut = bed + np.clip(across - 0.6, 0.0, None) / 1.5
        z = np.where(keep, np.minimum(z, cut), z)
    noisy = z + rng.normal(0.0, 0.03, (n, n))
    return Field(noisy.astype(np.float32), z, cell_m, bowls, mouth)


def evidence(scene: Field, wet: tuple[str, ...] = ("drained",), codes: np.ndarray | None = None) -> Evidence:
    """A soil map with hydric spots over the named bowls, drawn 9 m off, and crops everywhere."""
    grid: Grid = from_array(scene.z, scene.cell_m).grid
    height = scene.z.shape[0] * scene.cell_m
    spots = [shapely.Point(scene.bowls[w][1] + 7, height - scene.bowls[w][0] + 6).buffer(44.0) for w in wet]
    hollow = shapely.union_all(spots)
    land = shapely.box(0, 0, scene.z.shape[1] * scene.cell_m, height) - hollow
    soils = gpd.GeoDataFrame(
        {"hydclprs": [92, 4], "drclassdcd": ["Poorly drained", "Well drained"]}, geometry=[hollow, land]
    )
    codes = np.full(scene.z.shape, 82, np.uint8) if codes is None else codes
    made = gather(grid, soils, codes, Settings())
    assert made is not None
    return made


def at(screen: Screen, place: tuple[float, float], cell_m: float):
    """The site whose pool holds a place [m]; None where there is none."""
    row, col = int(place[0] / cell_m), int(place[1] / cell_m)
    for site in screen.sites:
        r, c = row - site.pool.row0, col - site.pool.col0
        if 0 <= r < site.pool.mask.shape[0] and 0 <= c < site.pool.mask.shape[1] and site.pool.mask[r, c]:
            return site
    return None
