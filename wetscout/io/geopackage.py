"""Write a result: a whole new file beside the target, then one move, so the old stays until the new is whole."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, FieldError, GeometryError

from wetscout.errors import OutputError
from wetscout.io import geopackage_lock as locks
from wetscout.io.geopackage_schema import LayerSpec, annotate, describe
from wetscout.io.geopackage_user import carry_over, left_out

# a GeoPackage came out 1.2-1.6 times its geometries and values here; the index and a spare make 2
ROOM_FACTOR = 2.0
ROOM_LEAST = 4 * 2**20

_FLUSH = "OGR_SQLITE_SYNCHRONOUS"

_TROUBLE = (DataLayerError, DataSourceError, FeatureError, FieldError, GeometryError, OSError, sqlite3.DatabaseError)


# rows of a layer whose shapes are made at once, two such parts under way: those of large pools take up to half a
# megabyte each
_ROWS = 128
# rows looked at to tell how much room all will take
_SAMPLE = 16


@dataclass(frozen=True)
class Later:
    """A layer whose shapes are made while it is written: the outlines of a county's basins do not fit into memory.

    Attributes
    ----------
    table : DataFrame
        Its fields.
    shapes : callable
        Shapes of some rows, by their numbers.
    crs : pyproj.CRS or None
    """

    table: pd.DataFrame
    shapes: Callable[[Sequence[int]], list[Any]]
    crs: Any

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.table)

    @property
    def columns(self) -> pd.Index:
        """Names of the fields."""
        return self.table.columns

    def parts(self) -> Iterator[gpd.GeoDataFrame]:
        """Rows with their shapes, some at a time; one without a row where there is none.

        Yields
        ------
        GeoDataFrame
        """
        firsts = range(0, max(1, len(self)), _ROWS)
        # while a part is written the next is drawn
        with ThreadPoolExecutor(1) as pool:
            waiting = pool.submit(self._part, firsts[0])
            for first in firsts:
                part = waiting.result()
                waiting = pool.submit(self._part, first + _ROWS)
                yield part

    def _part(self, first: int) -> gpd.GeoDataFrame:
        part = self.table.iloc[first : first + _ROWS]
        geometry = gpd.GeoSeries(self.shapes(range(first, first + len(part))), index=part.index, crs=self.crs)
        return gpd.GeoDataFrame(part, geometry=geometry, crs=self.crs)

    def corners(self) -> float:
        """About how many corners all shapes have, from some of them.

        Returns
        -------
        float
        """
        some = list(range(0, len(self), max(1, len(self) // _SAMPLE)))
        seen = int(shapely.get_num_coordinates(np.array(self.shapes(some), dtype=object)).sum()) if some else 0
        return float(seen) * len(self) / max(1, len(some))


Layer = pd.DataFrame | Later


@dataclass(frozen=True)
class Written:
    """What was written.

    Attributes
    ----------
    path : Path
    rows : dict
        Layer to number of rows.
    carried : tuple of str
        Tables of the user's that came over from the old file.
    dropped : tuple of str
        Tables of the old file that neither this program made nor the user's list names: gone.
    """

    path: Path
    rows: Mapping[str, int]
    carried: tuple[str, ...]
    dropped: tuple[str, ...]


def write_geopackage(
    path: str | Path,
    layers: Mapping[str, Layer],
    specs: Sequence[LayerSpec],
    overwrite: bool = False,
    keep: Sequence[str] = (),
    about: str = "",
) -> Written:
    """Write all layers into a new GeoPackage and move it into place.

    Parameters
    ----------
    path : str or Path
        Target; its folder must exist.
    layers : mapping of str to DataFrame
        By layer name; GeoDataFrames become feature layers, others tables.
    specs : sequence of LayerSpec
        What the layers and fields mean; every name in `layers` needs one.
    overwrite : bool
        Replace an older result.
    keep : sequence of str
        Tables without geometry of the old file that belong to the user and are carried over.
    about : str
        What the file is, in plain words, for its metadata.

    Returns
    -------
    Written

    Raises
    ------
    OutputError
        The target may not or cannot be written; the old file is untouched.
    """
    target = Path(path)
    locks.check_target(target, overwrite)
    with locks.hold(target), _temporary(target, layers) as new:
        with _unhurried():
            bounds = _write_layers(new, layers, specs)
        made = {spec.name for spec in specs}
        carried: tuple[str, ...] = ()
        dropped: tuple[str, ...] = ()
        with contextlib.ExitStack() as stack:
            old = stack.enter_context(locks.reserve(target)) if target.exists() else None
            with contextlib.closing(sqlite3.connect(new)) as db:
                _extents(db, bounds)
                describe(db, specs)
                if about:
                    annotate(db, about)
                if old is not None:
                    carried = carry_over(old, db, keep)
                    dropped = tuple(name for name in left_out(old, db) if name not in made)
                db.commit()
                _check_index(db, layers, target)
            _sync(new)
        _move(new, target)
        return Written(target, {name: len(table) for name, table in layers.items()}, carried, dropped)


@contextlib.contextmanager
def _temporary(target: Path, layers: Mapping[str, Layer]) -> Iterator[Path]:
    """A name beside the target; what a killed run left under such a name is removed first."""
    stem = f".{target.stem[:100]}."
    for old in target.parent.iterdir():
        if old.name.startswith(stem) and old.name.endswith(".part.gpkg"):
            old.unlink(missing_ok=True)
    _check_room(target, layers)
    new = target.with_name(f"{stem}{os.getpid()}.part.gpkg")
    try:
        yield new
    except _TROUBLE as error:
        if isinstance(error, OutputError):
            raise
        free = shutil.disk_usage(target.parent).free / 2**20
        raise OutputError(
            f"{target}: could not be written ({error}); {free:.0f} MB are free there. Nothing was changed: "
            "make room or give another folder"
        ) from error
    finally:
        for ending in ("", *locks.SIDE_FILES):
            new.with_name(new.name + ending).unlink(missing_ok=True)


@contextlib.contextmanager
def _unhurried() -> Iterator[None]:
    """Flush once, before the move: a crash costs the part file only. A small result takes 0.09 s in place of 0.15 s."""
    before = pyogrio.get_gdal_config_option(_FLUSH)
    pyogrio.set_gdal_config_options({_FLUSH: "OFF"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({_FLUSH: before})


def _write_layers(new: Path, layers: Mapping[str, Layer], specs: Sequence[LayerSpec]) -> dict[str, list[float]]:
    """Each layer, or part of one, in one transaction, with its spatial index; gives the bounds of the shapes."""
    by_name = {spec.name: spec for spec in specs}
    bounds: dict[str, list[float]] = {}
    for name, given in layers.items():
        spec = by_name[name]
        options = {"IDENTIFIER": name, "DESCRIPTION": f"{spec.title}. {spec.meaning}"}
        if spec.geometry is not None:
            options |= {"SPATIAL_INDEX": "YES", "GEOMETRY_NAME": "geom"}
        seen = [np.full(4, np.nan)]
        for k, part in enumerate(given.parts() if isinstance(given, Later) else (given,)):
            shaped = part if spec.geometry is None else _one_kind(part, spec.geometry)
            with warnings.catch_warnings():
                # a grid without a CRS is the caller's to refuse; the file then says "undefined"
                warnings.filterwarnings("ignore", message="'crs' was not provided")
                pyogrio.write_dataframe(
                    shaped,
                    new,
                    layer=name,
                    driver="GPKG",
                    geometry_type=spec.geometry,
                    nan_as_null=True,
                    append=k > 0,
                    **({"layer_options": options} if k == 0 else {}),
                )
            if isinstance(shaped, gpd.GeoDataFrame) and len(shaped):
                seen.append(shapely.total_bounds(shaped.geometry.array))
        low, high = np.fmin.reduce(seen)[:2], np.fmax.reduce(seen)[2:]
        bounds[name] = [float(value) for value in (*low, *high)]
    return bounds


def _one_kind(table: pd.DataFrame, kind: str) -> gpd.GeoDataFrame:
    """The layer with single polygons as multi-polygons of one, since a layer has one geometry type."""
    geometry = np.array(table.geometry.array, dtype=object)
    if kind == "MultiPolygon":
        single = shapely.get_type_id(geometry) == shapely.GeometryType.POLYGON
        geometry[single] = [shapely.MultiPolygon([item]) for item in geometry[single]]
    return gpd.GeoDataFrame(table.drop(columns=table.geometry.name), geometry=geometry, crs=table.crs)


def _extents(db: sqlite3.Connection, bounds: Mapping[str, list[float]]) -> None:
    """Bounds to the last bit: GDAL writes 16 figures, and R148 wants every envelope inside them."""
    for name, box in bounds.items():
        if np.isfinite(box).all():
            db.execute("UPDATE gpkg_contents SET min_x=?, min_y=?, max_x=?, max_y=? WHERE table_name=?", (*box, name))


def _check_index(db: sqlite3.Connection, layers: Mapping[str, Layer], target: Path) -> None:
    """A missing index shows only as slowness later, so look now."""
    have = {str(row[0]) for row in db.execute("SELECT name FROM sqlite_master WHERE name LIKE 'rtree_%'")}
    for name, table in layers.items():
        if isinstance(table, gpd.GeoDataFrame | Later) and f"rtree_{name}_geom" not in have:
            raise OutputError(f"{target}: layer {name} came out without its spatial index; run `wetscout doctor`")


def _check_room(target: Path, layers: Mapping[str, Layer]) -> None:
    size = 0.0
    for table in layers.values():
        size += 32.0 * len(table) * len(table.columns)
        if isinstance(table, Later):
            size += 16.0 * table.corners()
        elif isinstance(table, gpd.GeoDataFrame):
            size += 16.0 * float(shapely.get_num_coordinates(table.geometry.array).sum())
    need = ROOM_LEAST + ROOM_FACTOR * size
    free = shutil.disk_usage(target.parent).free
    if free < need:
        raise OutputError(
            f"{target.parent}: {free / 2**20:.0f} MB are free, about {need / 2**20:.0f} MB are wanted "
            f"for {target.name}; make room or give another folder"
        )


def _sync(path: Path) -> None:
    """Make sure the bytes are on the disk before the name points at them."""
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _move(new: Path, target: Path) -> None:
    """Put the new file in the old one's place in one step; keep it under another name where that is refused."""
    try:
        new.replace(target)
    except OSError as error:
        spare = _spare_name(target)
        try:
            new.rename(spare)
        except OSError:
            raise error from None
        raise OutputError(
            f"{target}: cannot be replaced ({error.strerror}); a program has it open. The finished result stands in "
            f"{spare.name} beside it: close that program and rename the file"
        ) from error
    if os.name == "posix":
        handle = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _spare_name(target: Path) -> Path:
    number = 1
    while (spare := target.with_name(f"{target.stem}-new-{number}.gpkg")).exists():
        number += 1
    return spare
