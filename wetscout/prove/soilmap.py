"""An invented soil map: hydric units around the basins, with the errors a map of 1:12,000 to 1:20,000 has.

Edges lie 10-40 m off, small wet spots are left out, units are drawn in cells of 10 m. Class names are those of the
public United States soil survey; shares and errors: common practice, no source.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TypeAlias, cast

import numpy as np
import shapely
from scipy import ndimage

from wetscout.prove.fields import sample, smooth_field
from wetscout.prove.landscape import SoilPatch
from wetscout.prove.truth import Pool
from wetscout.records import BOOL, F32, I32

_Shape: TypeAlias = shapely.Polygon | shapely.MultiPolygon
STEP_M = 10.0
_DRY = ("Well drained", "Moderately well drained")
_WET = ("Poorly drained", "Very poorly drained")


def make_soils(
    rng: np.random.Generator, ground: F32, cell_m: float, pools: list[Pool], uses: list[str]
) -> tuple[SoilPatch, ...]:
    """Draw a soil map of a landscape.

    Parameters
    ----------
    rng : Generator
    ground : float32 (rows, cols)
        Before anything was done to it: soils keep what they were [m].
    cell_m : float
        [m].
    pools : list of Pool
        Basins of that ground.
    uses : list of str
        One a basin: `upland` ones get no hydric soil.

    Returns
    -------
    tuple of SoilPatch
        They cover the raster.
    """
    return draw_soils(rng, ground, cell_m, _wet(rng, cell_m, map_shape(ground, cell_m), pools, uses))


def map_shape(ground: F32, cell_m: float) -> tuple[int, int]:
    """Rows and columns of the soil map's own cells.

    Parameters
    ----------
    ground : float32 (rows, cols)
    cell_m : float
        [m].

    Returns
    -------
    (int, int)
    """
    return int(np.ceil(ground.shape[0] * cell_m / STEP_M)), int(np.ceil(ground.shape[1] * cell_m / STEP_M))


def draw_soils(rng: np.random.Generator, ground: F32, cell_m: float, wet: I32) -> tuple[SoilPatch, ...]:
    """Draw the map around given wet spots, with its errors.

    Parameters
    ----------
    rng : Generator
    ground : float32 (rows, cols)
        [m].
    cell_m : float
        [m].
    wet : int32
        Cells of 10 m, shaped as `map_shape` says; a number above 0 for each hydric unit.

    Returns
    -------
    tuple of SoilPatch
    """
    size = (ground.shape[0] * cell_m, ground.shape[1] * cell_m)
    unit = _upland(rng, ground, cell_m, (wet.shape[0], wet.shape[1]))
    wet = _shifted(rng, wet)
    unit[wet > 0] = 100 + wet[wet > 0]
    words = bool(rng.random() < 0.2)
    return tuple(_patch(rng, shape, code, words) for code, shape in _polygons(unit, size))


def _upland(rng: np.random.Generator, ground: F32, cell_m: float, shape: tuple[int, int]) -> I32:
    """The land between: well drained heights, wetter low ground, 0-2."""
    y, x = ((np.arange(n) + 0.5) * STEP_M for n in shape)
    xx, yy = np.meshgrid(x, y)
    z = sample(ground, xx.ravel(), yy.ravel(), cell_m).reshape(shape)
    low = z - ndimage.gaussian_filter(z, 12.0) + 0.12 * smooth_field(rng, shape, STEP_M, 180.0)
    low = ndimage.gaussian_filter(low, 2.0)
    out: I32 = np.ones(shape, dtype=np.int32)
    out[low > np.quantile(low, 0.65)] = 0
    out[low < np.quantile(low, 0.2)] = 2
    return out


def _wet(rng: np.random.Generator, cell_m: float, shape: tuple[int, int], pools: list[Pool], uses: list[str]) -> I32:
    """Number of the basin + 1 where a hydric unit is drawn around one."""
    wet: I32 = np.zeros(shape, dtype=np.int32)
    for number, (pool, use) in enumerate(zip(pools, uses, strict=True)):
        # small spots are left out more often than large ones
        drawn = rng.random() < 0.97 - 0.35 * np.exp(-pool.area_m2 / 4000.0)
        margin = float(rng.uniform(-4.0, 22.0))
        if pool.parent >= 0 or use == "upland" or not drawn:
            continue
        r, c = np.nonzero(pool.patch.mask)
        r = ((r + pool.patch.row0) * cell_m / STEP_M).astype(int)
        c = ((c + pool.patch.col0) * cell_m / STEP_M).astype(int)
        spot: BOOL = np.zeros(shape, dtype=np.bool_)
        spot[np.clip(r, 0, shape[0] - 1), np.clip(c, 0, shape[1] - 1)] = True
        off = ndimage.distance_transform_edt(~spot) - ndimage.distance_transform_edt(spot)
        wet[off * STEP_M <= max(margin, 2.0)] = number + 1
    return wet


def _shifted(rng: np.random.Generator, wet: I32) -> I32:
    """Edges drawn off by a smooth 12-25 m, and the whole sheet by up to 10 m."""
    far = rng.uniform(8.0, 16.0)
    shape = (wet.shape[0], wet.shape[1])
    sheet = rng.uniform(-10.0, 10.0, 2)
    rr, cc = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float64)
    rr += (sheet[0] + far * smooth_field(rng, shape, STEP_M, 110.0)) / STEP_M
    cc += (sheet[1] + far * smooth_field(rng, shape, STEP_M, 110.0)) / STEP_M
    out: I32 = ndimage.map_coordinates(wet, np.stack([rr, cc]), order=0, mode="nearest")
    return out


def _patch(rng: np.random.Generator, shape: _Shape, code: int, words: bool) -> SoilPatch:
    """Attributes of one polygon."""
    if code >= 100:
        percent, drainage = int(rng.integers(80, 101)), _WET[int(rng.random() < 0.5)]
    elif code == 2:
        # low ground with hydric inclusions that are not drawn
        percent, drainage = int(rng.choice([0, 5, 8, 10, 15, 25, 40])), "Somewhat poorly drained"
    else:
        percent, drainage = int(rng.choice([0, 0, 0, 2, 3, 5])), _DRY[code]
    if not words:
        return SoilPatch(shape, percent, drainage)
    word = "All hydric" if percent >= 80 else "Partially hydric" if percent > 0 else "Not hydric"
    return SoilPatch(shape, word, drainage)


def _polygons(unit: I32, size: tuple[float, float]) -> list[tuple[int, _Shape]]:
    """One polygon for each connected area of one code; y runs upwards from the southern border."""
    out: list[tuple[int, _Shape]] = []
    height, width = size
    for code in np.unique(unit).tolist():
        labels, count = ndimage.label(unit == code)
        boxes: list[list[shapely.Polygon]] = [[] for _ in range(count)]
        for r in range(unit.shape[0]):
            row = labels[r]
            edges = np.flatnonzero(np.diff(np.concatenate([[0], row, [0]])))
            for a, b in pairwise(edges.tolist()):
                if row[a] > 0:
                    top, low = height - r * STEP_M, max(0.0, height - (r + 1) * STEP_M)
                    box = shapely.box(a * STEP_M, low, min(b * STEP_M, width), top)
                    boxes[row[a] - 1].append(box)
        out += [(int(code), cast(_Shape, shapely.union_all(parts))) for parts in boxes]
    return out


def hydric_share(soils: tuple[SoilPatch, ...], pool: Pool, cell_m: float, rows: int) -> float:
    """Share of a basin that the map shows as mostly hydric.

    Parameters
    ----------
    soils : tuple of SoilPatch
    pool : Pool
    cell_m : float
        [m].
    rows : int
        Of the raster.

    Returns
    -------
    float
        0-1.
    """
    r, c = np.nonzero(pool.patch.mask)
    step = max(1, r.size // 200)
    x = (c[::step] + pool.patch.col0 + 0.5) * cell_m
    y = (rows - (r[::step] + pool.patch.row0) - 0.5) * cell_m
    wet = np.zeros(x.size, dtype=np.bool_)
    for soil in soils:
        if is_hydric(soil.hydclprs):
            wet |= shapely.contains_xy(soil.polygon, x, y)
    return float(wet.mean()) if wet.size else 0.0


def is_hydric(hydclprs: int | str | None) -> bool:
    """Whether a map unit counts as hydric: half of it or more, or so in words.

    Parameters
    ----------
    hydclprs : int, str or None

    Returns
    -------
    bool
    """
    if isinstance(hydclprs, str):
        return hydclprs == "All hydric"
    return hydclprs is not None and hydclprs >= 50
