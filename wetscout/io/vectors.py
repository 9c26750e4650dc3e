"""Reading the user's map layers: parcels, roads, culverts, soils, areas."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from wetscout.io import environment

environment.prepare()

import geopandas as gpd  # noqa: E402
import numpy as np  # noqa: E402
import pyogrio  # noqa: E402
import pyproj  # noqa: E402
import shapely  # noqa: E402
from pyogrio.errors import DataLayerError, DataSourceError  # noqa: E402
from pyproj.exceptions import ProjError  # noqa: E402

from wetscout.errors import InputError  # noqa: E402

__all__ = ["horizontal", "read_layer"]

_KINDS = {
    "point": (shapely.GeometryType.POINT, shapely.GeometryType.MULTIPOINT),
    "line": (shapely.GeometryType.LINESTRING, shapely.GeometryType.MULTILINESTRING, shapely.GeometryType.LINEARRING),
    "polygon": (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON),
}
_WORDS = {"point": "points", "line": "lines", "polygon": "polygons"}
_HOST = {"curve": "line", "compoundcurve": "line", "multicurve": "line", "curvepolygon": "polygon"}
LAYER_MARK = "::"
Bounds = tuple[float, float, float, float]


def horizontal(crs: Any) -> pyproj.CRS:
    """Map part of a CRS, without its heights.

    Parameters
    ----------
    crs : anything pyproj takes
        WKT, EPSG code, CRS.

    Returns
    -------
    pyproj.CRS
    """
    found = pyproj.CRS.from_user_input(crs)
    while found.is_compound:
        found = found.sub_crs_list[0]
    return found.to_2d()


def read_layer(
    path: str | Path,
    wanted: str | Sequence[str],
    target_crs: Any,
    bounds: Bounds,
    what: str,
    repair: bool = True,
) -> gpd.GeoDataFrame:
    """Read the part of a layer that lies over the DEM, in the DEM's CRS.

    Parameters
    ----------
    path : str or Path
        Any vector file GDAL opens; `FILE::LAYER` names one layer of several.
    wanted : {"point", "line", "polygon"} or several of them
        Kinds of geometry that make sense for this layer.
    target_crs : anything pyproj takes
        CRS of the DEM.
    bounds : (west, south, east, north)
        Of the DEM [its CRS unit].
    what : str
        What the layer is for the user ("parcels"), used in messages.
    repair : bool
        Repair polygons whose rings cross themselves.

    Returns
    -------
    GeoDataFrame
        Index 0, 1, ...; flat geometry of the wanted kinds only. `attrs["notes"]` holds what was changed, in words.

    Raises
    ------
    InputError
        Missing, empty or broken file, no or several fitting layers, no CRS, wrong geometry, nothing over the DEM.
    """
    kinds = (wanted,) if isinstance(wanted, str) else tuple(wanted)
    name, _mark, chosen = str(path).partition(LAYER_MARK)
    _check_parts(name, what)
    layer = _choose(name, chosen, kinds, what)
    info = _ask(pyogrio.read_info, name, what, layer=layer, force_total_bounds=True)
    where = f"the {what} layer {name}" + (f" ({layer})" if chosen else "")
    if info["features"] == 0:
        raise InputError(f"{where} is empty; wanted: {_words(kinds)}.")
    if not info["crs"]:
        raise InputError(_no_crs(where, name, info["total_bounds"]))
    own, goal = horizontal(info["crs"]), horizontal(target_crs)
    box = _box(bounds, goal, own)
    _check_overlap(where, info["total_bounds"], box, own)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Z and M dropped, curves made straight: told below in our words
        rows = _ask(pyogrio.read_dataframe, name, what, layer=layer, bbox=box)
    notes: list[str] = []
    rows = _clean(rows, kinds, where, notes, repair)
    if rows.crs is None or own != goal:
        rows = rows.set_crs(own, allow_override=True).to_crs(goal)
        notes.append(f"{where}: brought from {own.name} to the DEM's {goal.name}")
    else:
        rows = rows.set_crs(goal, allow_override=True)
    rows.attrs["notes"] = notes
    return rows


def _words(kinds: Sequence[str]) -> str:
    return " or ".join(_WORDS[kind] for kind in kinds)


def _check_parts(name: str, what: str) -> None:
    """Whether the file and the files beside it are there."""
    if name.startswith(("/vsi", "http://", "https://")):
        return
    place = Path(name)
    if not place.exists():
        raise InputError(f"there is no {what} file {name}. Check the path and its spelling.")
    if place.is_file() and place.stat().st_size == 0:
        raise InputError(f"the {what} file {name} is empty (0 bytes). Copy or download it again.")
    if place.suffix.lower() == ".shp":
        beside = {other.suffix.lower() for other in place.parent.glob(f"{place.stem}.*")}
        missing = [ending for ending in (".shx", ".dbf", ".prj") if ending not in beside]
        if missing:
            raise InputError(
                f"the {what} file {name} comes without its {' and '.join(place.stem + ending for ending in missing)}. "
                "A shapefile is several files: copy all of them into that folder."
            )


def _ask(function: Any, name: str, what: str, **options: Any) -> Any:
    try:
        return function(name, **options)
    except (DataSourceError, DataLayerError, UnicodeDecodeError) as error:
        raise InputError(
            f"the {what} file {name} cannot be read: {error}. Open it in a GIS, and save it as GeoPackage if it opens."
        ) from error


def _kind_of(geometry_type: str | None) -> str | None:
    plain = (geometry_type or "").lower().split(" ")[0].removeprefix("2.5d ")
    plain = _HOST.get(plain, plain)
    for kind in ("point", "line", "polygon"):
        if kind in plain:
            return kind
    return "polygon" if "surface" in plain else None


def _choose(name: str, chosen: str, kinds: Sequence[str], what: str) -> str:
    """The one layer that is meant."""
    listed = _ask(pyogrio.list_layers, name, what)
    layers = {str(layer): geometry for layer, geometry in listed if geometry is not None}
    if chosen:
        if chosen not in layers:
            raise InputError(f"{name} has no layer {chosen!r}; it has: {', '.join(layers) or 'none with geometry'}.")
        return chosen
    if not layers:
        raise InputError(f"the {what} file {name} has no layer with geometry; wanted: {_words(kinds)}.")
    fitting = [layer for layer, geometry in layers.items() if (_kind_of(geometry) or kinds[0]) in kinds]
    if len(fitting) > 1:
        raise InputError(
            f"{name} has {len(fitting)} layers that could be the {what}: {', '.join(fitting)}. Say which: "
            f"{name}{LAYER_MARK}{fitting[0]}"
        )
    return fitting[0] if fitting else next(iter(layers))


def _no_crs(where: str, name: str, bounds: Bounds) -> str:
    degrees = max(abs(bounds[0]), abs(bounds[2])) <= 180.0 and max(abs(bounds[1]), abs(bounds[3])) <= 90.0
    hint = "; the numbers look like degrees (EPSG:4326)" if degrees else ""
    return (
        f"{where} has no coordinate reference system (bounds {_say(bounds)}{hint}). Write it in: "
        f'ogr2ogr -a_srs EPSG:CODE "{Path(name).stem}_crs.gpkg" "{name}"'
    )


def _say(bounds: Bounds) -> str:
    digits = 5 if max(abs(value) for value in bounds) <= 400.0 else 1
    west, south, east, north = (f"{value:.{digits}f}" for value in bounds)
    return f"x {west} to {east}, y {south} to {north}"


def _box(bounds: Bounds, goal: pyproj.CRS, own: pyproj.CRS) -> Bounds:
    """Bounds of the DEM in the CRS of the layer."""
    if own == goal:
        return bounds
    try:
        mover = pyproj.Transformer.from_crs(goal, own, always_xy=True)
        west, south, east, north = mover.transform_bounds(*bounds, errcheck=True)
    except ProjError as error:
        raise InputError(f"no way is known from {goal.name} to {own.name}: {error}") from error
    return float(west), float(south), float(east), float(north)


def _meets(one: Bounds, other: Bounds) -> bool:
    return one[0] <= other[2] and other[0] <= one[2] and one[1] <= other[3] and other[1] <= one[3]


def _check_overlap(where: str, layer: Bounds, dem: Bounds, crs: pyproj.CRS) -> None:
    if _meets(layer, dem):
        return
    swapped = (layer[1], layer[0], layer[3], layer[2])
    hint = "Is it the right file, or is its CRS declared wrongly?"
    if _meets(swapped, dem):
        hint = "Its x and y are swapped: export it again with the order x (or longitude), y (or latitude)."
    raise InputError(
        f"{where} does not reach the DEM. Layer: {_say(layer)}; DEM: {_say(dem)} (both in {crs.name}). {hint}"
    )


def _clean(
    rows: gpd.GeoDataFrame, kinds: Sequence[str], where: str, notes: list[str], repair: bool
) -> gpd.GeoDataFrame:
    """Keep flat, valid geometry of the wanted kinds; say what else there was."""
    if not isinstance(rows, gpd.GeoDataFrame):
        raise InputError(f"{where} is a table without geometry; wanted: {_words(kinds)}.")
    if rows.empty:
        raise InputError(f"{where}: none of its shapes lies over the DEM.")
    shapes = np.asarray(rows.geometry.array, dtype=object)
    empty = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    if empty.any():
        notes.append(f"{where}: {int(empty.sum())} row(s) without geometry left out")
    if shapely.has_z(shapes[~empty]).any():
        notes.append(f"{where}: heights of its points are not used")
    flat = shapely.force_2d(shapes)
    parts = np.array([None if gone else _of_kind(shape, kinds) for shape, gone in zip(flat, empty, strict=True)])
    other = np.array([part is None for part in parts]) & ~empty
    if other.any():
        found = sorted({shape.geom_type for shape in flat[other]})
        if other.sum() == (~empty).sum():
            raise InputError(f"{where} holds {', '.join(found)}; wanted: {_words(kinds)}.")
        notes.append(f"{where}: {int(other.sum())} {' and '.join(found)} left out; wanted: {_words(kinds)}")
    kept = rows[~(empty | other)].copy()
    if kept.empty:
        raise InputError(f"{where}: none of its rows over the DEM has a geometry.")
    shapes = parts[~(empty | other)]
    if repair:
        shapes, count = _repair(shapes)
        if count:
            notes.append(f"{where}: {count} polygon(s) with crossing rings repaired")
    kept = kept.set_geometry(gpd.GeoSeries(shapes, index=kept.index, crs=rows.crs))
    alike = _repeated(kept)
    if alike.any():
        notes.append(f"{where}: {int(alike.sum())} row(s) that repeat another in every value left out")
    return kept[~alike].reset_index(drop=True)


def _of_kind(shape: Any, kinds: Sequence[str]) -> Any:
    """The parts of a shape that are of a wanted kind; None when it has none."""
    types = {kind for name in kinds for kind in _KINDS[name]}
    if shapely.get_type_id(shape) in types:
        return shape
    if shapely.get_type_id(shape) != shapely.GeometryType.GEOMETRYCOLLECTION:
        return None
    parts = [part for part in _flatten(shape) if shapely.get_type_id(part) in types]
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else shapely.unary_union(parts)


def _flatten(shape: Any) -> list[Any]:
    if shapely.get_type_id(shape) != shapely.GeometryType.GEOMETRYCOLLECTION:
        return [shape]
    return [part for inner in shape.geoms for part in _flatten(inner)]


def _repair(shapes: np.ndarray[Any, Any]) -> tuple[np.ndarray[Any, Any], int]:
    """Make polygons valid; a shape that leaves no area keeps its place as it was."""
    broken = ~shapely.is_valid(shapes)
    fixed = shapes.copy()
    for place in np.flatnonzero(broken):
        made = _of_kind(shapely.make_valid(shapes[place]), ("polygon",))
        fixed[place] = shapes[place] if made is None else made
    return fixed, int(broken.sum())


def _repeated(rows: gpd.GeoDataFrame) -> np.ndarray[Any, Any]:
    """Rows equal to an earlier one in geometry and in every value."""
    table = rows.drop(columns=rows.geometry.name).astype(str)
    table["_shape"] = shapely.to_wkb(shapely.normalize(np.asarray(rows.geometry.array, dtype=object)), hex=True)
    return np.asarray(table.duplicated(), dtype=bool)
