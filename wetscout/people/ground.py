"""Parcel outlines made fit to be laid over pools: repaired, flat, in the working CRS, each once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

Shapes = NDArray[Any]


@dataclass(frozen=True)
class Repairs:
    """What was found on the way in.

    Attributes
    ----------
    repaired, changed, dropped, doubled : int
        Outlines with invalid rings that were repaired; of these, those whose area changed more than the setting
        allows; rows without an area; rows that repeat another to the last letter.
    moved : bool
        The layer came in another CRS.
    """

    repaired: int
    changed: int
    dropped: int
    doubled: int
    moved: bool

    def notes(self) -> tuple[str, ...]:
        """Say it in words; counts only, no name and no parcel number.

        Returns
        -------
        tuple of str
        """
        said = []
        if self.moved:
            said.append("parcels: came in another coordinate system and were brought into the working one")
        if self.repaired:
            said.append(f"parcels: {self.repaired} outlines had invalid rings and were repaired")
        if self.changed:
            said.append(
                f"parcels: {self.changed} of these changed noticeably in area; look at them before relying on acres"
            )
        if self.dropped:
            said.append(f"parcels: {self.dropped} rows have no area and were left out")
        if self.doubled:
            said.append(f"parcels: {self.doubled} rows repeat another one exactly and were counted once")
        return tuple(said)


def clean(rows: gpd.GeoDataFrame, crs: Any, repair_change: float) -> tuple[gpd.GeoDataFrame, Repairs]:
    """Repair, flatten and reproject parcels, and drop rows without area and exact repeats.

    Parameters
    ----------
    rows : GeoDataFrame
        Columns of text and the outlines, any polygon type, Z and M allowed.
    crs : pyproj.CRS or None
        The working CRS; None leaves the outlines where they are.
    repair_change : float
        Share of area that repair may change without being counted [-].

    Returns
    -------
    rows : GeoDataFrame
        MultiPolygons, valid, index 0 .. n-1.
    repairs : Repairs
    """
    moved = crs is not None and rows.crs is not None and rows.crs != crs
    shapes = np.array(rows.to_crs(crs).geometry.array if moved else rows.geometry.array, dtype=object)
    shapes = shapely.force_2d(shapes)
    bad = ~shapely.is_valid(shapes) & ~shapely.is_missing(shapes)
    before = np.abs(_ring_area(shapes[bad]))
    shapes[bad] = shapely.make_valid(shapes[bad])
    shapes = np.array([_areas_only(item) for item in shapes], dtype=object)
    after = shapely.area(shapes[bad])
    with np.errstate(invalid="ignore", divide="ignore"):
        changed = np.abs(after - before) > repair_change * before
    keep = np.array([item is not None and item.area > 0 for item in shapes], dtype=bool)
    table = pd.DataFrame(rows.drop(columns=rows.geometry.name)).reset_index(drop=True)
    made = gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(shapes, crs=crs or rows.crs))[keep].reset_index(drop=True)
    once = ~_repeats(made)
    repairs = Repairs(int(bad.sum()), int(changed.sum()), int((~keep).sum()), int((~once).sum()), bool(moved))
    return made[once].reset_index(drop=True), repairs


def stacked(shapes: Shapes) -> NDArray[np.int64]:
    """How many outlines lie exactly on each one, itself counted.

    Parameters
    ----------
    shapes : ndarray of geometries (n,)

    Returns
    -------
    int64 (n,)
    """
    keys = outline_keys(shapes)
    _, inverse, counts = np.unique(keys, return_inverse=True, return_counts=True)
    return counts[inverse].astype(np.int64)


def outline_keys(shapes: Shapes) -> NDArray[Any]:
    """A text for each outline, equal for equal outlines however their rings begin.

    Parameters
    ----------
    shapes : ndarray of geometries (n,)

    Returns
    -------
    ndarray of str (n,)
    """
    return np.array(shapely.to_wkb(shapely.normalize(shapes), hex=True), dtype=object).astype(str)


def _repeats(rows: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    table = pd.DataFrame(rows.drop(columns=rows.geometry.name))
    table["outline"] = outline_keys(np.array(rows.geometry.array, dtype=object))
    return np.asarray(table.duplicated(keep="first"), dtype=bool)


def _areas_only(shape: Any) -> Any:
    """The polygons of a shape as one multi-polygon; lines and points that repair leaves behind are not land."""
    if shape is None or shape.is_empty:
        return None
    parts = [part for part in shapely.get_parts(shapely.get_parts(shape)) if part.geom_type == "Polygon"]
    return shapely.MultiPolygon(parts) if parts else None


def _ring_area(shapes: Shapes) -> NDArray[np.float64]:
    """Area by the rings as drawn, which is what the roll's acreage was taken from."""
    return np.asarray(shapely.area(shapes), dtype=np.float64)
