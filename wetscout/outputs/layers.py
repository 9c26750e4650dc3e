"""What a run found, as tables with outlines: the layers of the GeoPackage before they are written."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from wetscout.grid import Grid
from wetscout.io.geopackage import Later
from wetscout.io.geopackage_schema import LayerSpec
from wetscout.outputs import along, buried, fields, shapes
from wetscout.outputs.us_units import recipe
from wetscout.records import Basin, Ditch, Embankment, Linework, Plug, Screen, Site, bed_ends
from wetscout.units import ACRE_M2

Row = dict[str, Any]
SPILL_ORDER = {"natural": 0, "today": 1, "next": 2, "overflow": 3}
US_LAYERS = ("sites", "plugs")


def to_layers(screen: Screen, us_units: bool = False) -> dict[str, pd.DataFrame]:
    """Turn a run's result into the layers of the contract, sorted by id.

    Parameters
    ----------
    screen : Screen
        The result. Keys of `values` that begin with `_` stay inside; others become fields.
    us_units : bool
        Add twins in feet, acres, cubic yards and acre-feet to `sites` and `plugs`.

    Returns
    -------
    dict of str to DataFrame
        By layer name, in the order in which they are written; GeoDataFrames where the layer has a geometry.
    """
    grid = screen.terrain.grid
    crs = plane_crs(grid)
    sites = sorted(screen.sites, key=lambda site: site.site_id)
    plugs = sorted((plug for site in sites for plug in site.plugs), key=lambda plug: (plug.site_id, plug.order))
    basins = sorted(screen.basins, key=_basin_key)
    drawn = [_basin(basin, grid) for basin in basins]
    # what is turned down is a basin too, most often of the same cells: outlines of large pools are drawn once
    outlines = {id(basin.pool): row["geometry"] for basin, row in zip(basins, drawn, strict=True)}
    rows: dict[str, list[Row]] = {
        "sites": [_site(site, grid, crs) for site in sites],
        "plugs": [_plug(plug, grid) for plug in plugs],
        "spill_points": [row for site in sites for row in _spill_points(site, grid)],
        "ditches": _ditches(screen.linework, plugs, grid),
        "head_cuts": along.step_rows(screen.linework, grid),
        "embankments": [_embankment(item, grid) for item in _by_number(screen.linework.embankments, "embankment_id")],
        "basins": drawn,
        "not_offered": [_turned_down(basin, grid, outlines) for basin in sorted(screen.not_offered, key=_basin_key)],
        "catchments": [_catchment(site, grid) for site in sites if site.catchment is not None],
        "levels": [row for site in sites for row in _levels(site)],
        "chains": [row for chain in screen.chains for row in along.chain_rows(chain)],
        "chain_links": [row for chain in screen.chains for row in along.link_rows(chain)],
        "pipe_mouths": buried.mouth_rows(sites, grid),
        "suspected_lines": buried.line_rows(sites, grid),
        "wet_ground_no_rim": buried.ground_rows(screen.wet_ground, grid),
        "run": run_rows(screen.run),
    }
    layers = {name: frame(fields.by_name(name), content, crs) for name, content in rows.items()}
    if us_units:
        for name in US_LAYERS:
            layers[name] = add_us(name, layers[name])
    return layers


def basins_later(screen: Screen) -> Later:
    """The layer `basins`, its outlines drawn while it is written.

    Parameters
    ----------
    screen : Screen

    Returns
    -------
    Later
        Rows as in `to_layers`.
    """
    grid = screen.terrain.grid
    basins = sorted(screen.basins, key=_basin_key)
    rows = [_open(basin.values) | {"basin_id": basin.basin_id} for basin in basins]
    table = frame(replace(fields.by_name("basins"), geometry=None), rows)
    return Later(table, lambda some: shapes.outlines([basins[k].pool for k in some], grid), plane_crs(grid))


def plane_crs(grid: Grid) -> pyproj.CRS | None:
    """Horizontal CRS of a grid; a compound one is cut to its plane part, for outlines carry no height.

    Parameters
    ----------
    grid : Grid
        The raster's grid.

    Returns
    -------
    pyproj.CRS or None
        None where the grid has none.
    """
    if not grid.crs_wkt:
        return None
    crs = pyproj.CRS.from_user_input(grid.crs_wkt)
    return crs.sub_crs_list[0] if crs.is_compound else crs


def frame(spec: LayerSpec, rows: Sequence[Mapping[str, Any]], crs: pyproj.CRS | None = None) -> pd.DataFrame:
    """Rows as a table with the layer's fields in their order and type; unknown is missing, never 0.

    Parameters
    ----------
    spec : LayerSpec
        The layer.
    rows : sequence of mapping
        Field name to value; `geometry` for the shape. Names the layer does not know come after its own, sorted.
    crs : pyproj.CRS or None
        Of the geometry.

    Returns
    -------
    DataFrame
        A GeoDataFrame where the layer has a geometry.
    """
    known = {item.name: item.kind for item in spec.fields}
    extra = sorted({key for row in rows for key in row if key not in known and key != "geometry"})
    columns: dict[str, pd.Series[Any]] = {}
    for name in [*known, *extra]:
        values = [_plain(row.get(name)) for row in rows]
        columns[name] = _column(values, known.get(name) or _kind(values))
    table = pd.DataFrame(columns)
    if spec.geometry is None:
        return table
    shapes_ = np.array([row.get("geometry") for row in rows], dtype=object)
    drawn: pd.DataFrame = gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(shapes_, crs=crs), crs=crs)
    return drawn


def add_us(name: str, table: pd.DataFrame) -> pd.DataFrame:
    """Add the US twins to a layer, before its geometry.

    Parameters
    ----------
    name : str
        Layer name.
    table : DataFrame
        The layer.

    Returns
    -------
    DataFrame
        With the twins; the input is left as it was.
    """
    lacking = recipe(fields.by_name(name), [str(column) for column in table.columns])
    result: pd.DataFrame = table.copy()
    at = len([column for column in table.columns if column != "geometry"])
    for place, (twin, (metric, size)) in enumerate(lacking.items()):
        result.insert(at + place, twin, table[metric] / size)
    return result


def run_rows(run: Mapping[str, Any]) -> list[Row]:
    """Rows of the table `run`: key and JSON value, sorted by key.

    Parameters
    ----------
    run : mapping
        Any values that JSON can hold, paths and dates too.

    Returns
    -------
    list of dict
    """
    entries = {"schema_version": fields.SCHEMA_VERSION, **run}
    return [
        {"key": key, "value": json.dumps(_plain_json(value), sort_keys=True, ensure_ascii=False, default=str)}
        for key, value in sorted(entries.items())
    ]


def _site(site: Site, grid: Grid, crs: pyproj.CRS | None) -> Row:
    row = _open(site.values)
    row["site_id"] = site.site_id
    row.setdefault("origin", "found")
    row.setdefault("list", "open drains")
    row["geometry"] = shapes.outline(site.pool, grid)
    for metric, acres in (("pool_m2", "pool_ac"), ("gain_m2", "gain_ac")):
        if row.get(acres) is None and row.get(metric) is not None:
            row[acres] = float(row[metric]) / ACRE_M2
    if row.get("lon") is None or row.get("lat") is None:
        row["lon"], row["lat"] = _lon_lat(site, grid, crs, row["geometry"])
    return row


def _lon_lat(
    site: Site, grid: Grid, crs: pyproj.CRS | None, pool: shapely.MultiPolygon
) -> tuple[float | None, float | None]:
    """WGS 84 of the floor cell, or of a place inside the pool where no floor is named."""
    if crs is None:
        return None, None
    row, col = site.values.get("_floor_row"), site.values.get("_floor_col")
    if row is not None and col is not None:
        xs, ys = grid.xy(np.array([float(row)]), np.array([float(col)]))
        x, y = float(xs[0]), float(ys[0])
    elif not pool.is_empty:
        inside = pool.representative_point()
        x, y = inside.x, inside.y
    else:
        return None, None
    lon, lat = _to_wgs84(crs).transform(x, y)
    return (float(lon), float(lat)) if math.isfinite(lon) and math.isfinite(lat) else (None, None)


@lru_cache(maxsize=4)
def _to_wgs84(crs: pyproj.CRS) -> pyproj.Transformer:
    """Kept: looking it up takes some milliseconds, and there are hundreds of sites."""
    return pyproj.Transformer.from_crs(crs, 4326, always_xy=True)


def _plug(plug: Plug, grid: Grid) -> Row:
    row = _open(plug.values)
    row |= {"plug_id": plug.plug_id, "site_id": plug.site_id, "ditch_id": plug.ditch_id, "order": plug.order}
    # a plug is drawn as given: simplifying could move its ends off the banks
    x, y = grid.xy(np.asarray(plug.row, dtype=np.float64), np.asarray(plug.col, dtype=np.float64))
    row["geometry"] = shapely.LineString(np.column_stack([x, y])) if len(x) > 1 else None
    return row


def _spill_points(site: Site, grid: Grid) -> list[Row]:
    found = sorted(site.spill_points, key=lambda point: (SPILL_ORDER.get(point[0], 9), point[0], point[1], point[2]))
    rows = []
    for kind, row, col, level_m in found:
        x, y = grid.xy(np.array([float(row)]), np.array([float(col)]))
        rows.append({"site_id": site.site_id, "kind": kind, "level_m": level_m, "geometry": shapely.Point(x[0], y[0])})
    return rows


def _ditches(lines: Linework, plugs: Sequence[Plug], grid: Grid) -> list[Row]:
    """Lines that are sure, and any that a plug names: a plug on a line that is not listed would point nowhere."""
    drains: dict[int, set[str]] = {}
    for plug in plugs:
        if plug.ditch_id is not None:
            drains.setdefault(plug.ditch_id, set()).add(plug.site_id)
    listed = [item for item in lines.ditches if item.sure or item.ditch_id in drains]
    highest = along.highest_steps(lines)
    return [
        _ditch(item, drains.get(item.ditch_id, set()), grid) | {"head_cut_m": highest.get(item.ditch_id)}
        for item in _by_number(listed, "ditch_id")
    ]


def _ditch(item: Ditch, drains: set[str], grid: Grid) -> Row:
    length = shapes.length_m(item.row, item.col, grid)
    bed_up, bed_down, share = bed_ends(np.asarray(item.bed_m, dtype=np.float64), grid.cell_m)
    fall = 100.0 * (bed_up - bed_down) / (share * length) if length > 0 else float("nan")
    width = np.asarray(item.top_width_m, dtype=np.float64)
    width = width[np.isfinite(width)]
    return {
        "ditch_id": item.ditch_id,
        "kind": item.kind,
        "length_m": length,
        "depth_m": item.depth_m,
        "top_width_m": float(np.median(width)) if width.size else None,
        "bed_up_m": _known(bed_up),
        "bed_down_m": _known(bed_down),
        "fall_pct": _known(fall),
        "bank_climb_m": item.bank_climb_m,
        "straightness": item.straightness,
        "spoil": item.spoil,
        "drains": ",".join(sorted(drains)) or None,
        "geometry": shapes.line(item.row, item.col, grid),
    }


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _embankment(item: Embankment, grid: Grid) -> Row:
    return {
        "embankment_id": item.embankment_id,
        "kind": item.kind,
        "height_m": item.height_m,
        "width_m": item.width_m,
        "taken_off": item.taken_off,
        "geometry": shapes.line(item.row, item.col, grid),
    }


def _basin(basin: Basin, grid: Grid) -> Row:
    return _open(basin.values) | {"basin_id": basin.basin_id, "geometry": shapes.outline(basin.pool, grid)}


def _turned_down(basin: Basin, grid: Grid, outlines: Mapping[int, shapely.MultiPolygon]) -> Row:
    reason = basin.reason or basin.values.get("reason")
    known = outlines.get(id(basin.pool))
    geometry = shapes.outline(basin.pool, grid) if known is None else known
    return {"basin_id": basin.basin_id, "reason": reason, "geometry": geometry}


def _catchment(site: Site, grid: Grid) -> Row:
    patch = site.catchment
    assert patch is not None
    area = site.values.get("catchment_m2")
    if area is None:
        area = float(np.count_nonzero(patch.mask)) * grid.cell_m2
    return {"site_id": site.site_id, "catchment_m2": area, "geometry": shapes.outline(patch, grid)}


def _levels(site: Site) -> list[Row]:
    return [
        {"site_id": site.site_id, "level_m": level, "pool_m2": area, "volume_m3": volume}
        for level, area, volume in sorted(site.levels)
    ]


def _open(values: Mapping[str, Any]) -> Row:
    """Values that go into the file; those that begin with `_` are the stages' own."""
    return {key: value for key, value in values.items() if not key.startswith("_")}


def _by_number(items: Iterable[Any], name: str) -> list[Any]:
    return sorted(items, key=lambda item: getattr(item, name))


def _basin_key(basin: Basin) -> tuple[str, int, int]:
    return basin.basin_id, basin.pool.row0, basin.pool.col0


def _plain(value: Any) -> Any:
    """Python's own number or word; NaN and infinities are unknown."""
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value is pd.NA or (isinstance(value, float) and not math.isfinite(value)):
        return None
    if isinstance(value, list | tuple | set | frozenset):
        parts = sorted(value) if isinstance(value, set | frozenset) else value
        return "; ".join(str(part) for part in parts)
    return value


def _plain_json(value: Any) -> Any:
    """The value with numpy's numbers as Python's and what JSON cannot say as null."""
    if isinstance(value, Mapping):
        return {str(key): _plain_json(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain_json(item) for item in value]
    if isinstance(value, np.ndarray):
        return _plain_json(value.tolist())
    return _plain(value)


def _kind(values: Sequence[Any]) -> str:
    """Type of a field the registry does not know, from what it holds."""
    known = [value for value in values if value is not None]
    if known and all(isinstance(value, bool | int) for value in known):
        return "integer"
    if known and all(isinstance(value, bool | int | float) for value in known):
        return "real"
    return "text"


def _column(values: Sequence[Any], kind: str) -> pd.Series[Any]:
    if kind == "integer":
        return pd.Series(pd.array([None if value is None else int(value) for value in values], dtype="Int64"))
    if kind == "real":
        return pd.Series([math.nan if value is None else float(value) for value in values], dtype="float64")
    return pd.Series([None if value is None else str(value) for value in values], dtype=object)
