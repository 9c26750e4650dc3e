"""Where a raster lies and in which units: CRS, map scale, cell size in metres, vertical unit."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Any

import pyproj
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info
from pyproj.exceptions import CRSError, ProjError

from wetscout.errors import InputError, UnitError
from wetscout.io.rasters import RasterInfo
from wetscout.settings.ingest import IngestSettings
from wetscout.units import FOOT_M, US_SURVEY_FOOT_M, Z_UNITS

__all__ = ["Place", "place_of", "suggest_utm", "vertical_unit"]

_UNIT_WORDS = {
    "m": ("m", "metre", "meter", "metres", "meters"),
    "ft": ("ft", "foot", "feet", "international foot", "international feet", "foot_intl", "ft_int"),
    "us-ft": ("us-ft", "us survey foot", "us survey feet", "ftus", "us_survey_foot", "foot_us", "us ft", "sft"),
}
_OTHER_WORDS = {"cm": 0.01, "centimetre": 0.01, "centimeter": 0.01, "dm": 0.1, "mm": 0.001, "km": 1000.0}


@dataclass(frozen=True)
class Place:
    """The horizontal side of a raster.

    Attributes
    ----------
    crs_wkt : str
        As in the file.
    unit_m : float
        Length of the map unit [m].
    scale : float
        Map length over ground length; 1 when the difference is not worth a correction.
    cell_m : float
        Cell size on the ground [m].
    south_up : bool
        The first row is the southernmost.
    notes : tuple of str
    """

    crs_wkt: str
    unit_m: float
    scale: float
    cell_m: float
    south_up: bool
    notes: tuple[str, ...] = ()


def suggest_utm(lon: float, lat: float, datum: str = "WGS 84") -> str:
    """UTM zone for a place.

    Parameters
    ----------
    lon, lat : float
        [degrees]
    datum : str
        Name of the datum to keep if a zone exists on it.

    Returns
    -------
    str
        "EPSG:32615" and the like; NAD83 where the raster is on it.
    """
    spot = AreaOfInterest(lon, lat, lon, lat)
    for name in (datum, "WGS 84"):
        found = query_utm_crs_info(datum_name=name, area_of_interest=spot)
        if found:
            return f"{found[0].auth_name}:{found[0].code}"
    zone = min(60, int((lon + 180.0) // 6.0) + 1)
    return f"EPSG:{(32600 if lat >= 0 else 32700) + zone}"


def _out_name(path: str, word: str) -> str:
    stem, dot, ending = path.rpartition(".")
    return f"{stem}_{word}.tif" if dot and "/" not in ending and "\\" not in ending else f"{path}_{word}.tif"


def _crs(info: RasterInfo) -> pyproj.CRS:
    if not info.crs_wkt:
        raise InputError(
            f"{info.path} has no coordinate reference system. Find out in which it was made (its metadata, the "
            f'download page) and write it in: gdal_translate -a_srs EPSG:CODE "{info.path}" '
            f'"{_out_name(info.path, "crs")}"'
        )
    try:
        return pyproj.CRS.from_wkt(info.crs_wkt)
    except CRSError as error:
        raise InputError(
            f"the coordinate reference system of {info.path} is not understood ({error}). Write it in anew: "
            f'gdal_translate -a_srs EPSG:CODE "{info.path}" "{_out_name(info.path, "crs")}"'
        ) from error


def _horizontal(crs: pyproj.CRS) -> pyproj.CRS:
    while crs.is_compound:
        crs = crs.sub_crs_list[0]
    return crs.source_crs if crs.is_bound and crs.source_crs is not None else crs


def place_of(info: RasterInfo, settings: IngestSettings) -> Place:
    """Judge CRS, direction and cell size of one raster.

    Parameters
    ----------
    info : RasterInfo
        What the file says.
    settings : IngestSettings
        `square_max`, `scale_warn`.

    Returns
    -------
    Place

    Raises
    ------
    InputError
        No CRS or one without a place on the earth, degrees, a rotated grid, cells that are not square on the ground;
        with the command that puts it right.
    """
    crs = _crs(info)
    flat = _horizontal(crs)
    _x0, dx, x_row, _y0, y_col, dy = info.transform
    if flat.is_geographic or flat.is_geocentric:
        raise InputError(_degrees(info, flat))
    if not flat.is_projected:
        raise InputError(
            f"{info.path} is in a local system ({flat.name}, {flat.type_name}) that has no place on the earth. If it "
            f'is really a national one, write that in: gdal_translate -a_srs EPSG:CODE "{info.path}" '
            f'"{_out_name(info.path, "crs")}"'
        )
    if (dx, x_row, y_col, dy) in {(1.0, 0.0, 0.0, 1.0)} and info.transform[0] == 0.0 and info.transform[3] == 0.0:
        raise InputError(
            f"{info.path} has a CRS but no place on the map (its corner is 0, 0 and its cell 1). Fetch it with its "
            "world file or georeference it."
        )
    if max(abs(x_row), abs(y_col)) > 1e-6 * max(abs(dx), abs(dy)) or dx <= 0 or dy == 0:
        side = f"{math.hypot(dx, y_col):.6g}"
        raise InputError(
            f"the grid of {info.path} is rotated or mirrored (row and column terms {x_row:g}, {y_col:g}); wanted: rows "
            f"along the x axis. Turn it: gdalwarp -r bilinear -tr {side} {side} -dstnodata -9999 "
            f'"{info.path}" "{_out_name(info.path, "northup")}"'
        )
    unit_m = float(flat.axis_info[0].unit_conversion_factor) if flat.axis_info else 1.0
    notes = []
    if dy > 0:
        notes.append(f"{info.path}: the rows run from south to north; they were put in order, nothing was resampled")
    scale, squash = _map_scale(info, flat)
    if abs(math.log(dx / abs(dy))) > settings.square_max or squash > 1.0 + 2.5 * settings.square_max:
        side = f"{math.sqrt(dx * abs(dy)):.6g}"
        lon, lat = _centre(info, flat)
        target = "" if squash <= 1.0 + 2.5 * settings.square_max else f"-t_srs {suggest_utm(lon, lat)} "
        raise InputError(
            f"the cells of {info.path} are not square on the ground ({dx:g} x {abs(dy):g} map units in {flat.name}); "
            f"up to {settings.square_max:.0%} can be taken. Resample: gdalwarp -r bilinear {target}-tr {side} {side} "
            f'-dstnodata -9999 "{info.path}" "{_out_name(info.path, "square")}"'
        )
    if abs(scale - 1.0) > settings.scale_warn:
        notes.append(
            f"{info.path}: in {flat.name} a map metre is {1.0 / scale:.4f} m on the ground here. Lengths, areas and "
            "volumes are given in ground metres, so areas measured on this map in a GIS will differ"
        )
    else:
        scale = 1.0
    return Place(info.crs_wkt, unit_m, scale, math.sqrt(dx * abs(dy)) * unit_m / scale, dy > 0, tuple(notes))


def _degrees(info: RasterInfo, crs: pyproj.CRS) -> str:
    west, south, east, north = info.bounds
    lon, lat = (west + east) / 2.0, (south + north) / 2.0
    metres = abs(info.transform[5]) * 111200.0
    datum = crs.datum.name if crs.datum else ""
    utm = suggest_utm(lon, lat, {"North American Datum 1983": "NAD83"}.get(datum, datum))
    return (
        f"{info.path} is in degrees ({crs.name}, cells of about {metres:.2g} m); lengths and areas need metres or feet."
        f" Project it: gdalwarp -t_srs {utm} -tr {metres:.2g} {metres:.2g} -r bilinear -dstnodata -9999 "
        f'"{info.path}" "{_out_name(info.path, "utm")}"'
    )


def _centre(info: RasterInfo, crs: pyproj.CRS) -> tuple[float, float]:
    west, south, east, north = info.bounds
    lon, lat = pyproj.Proj(crs)((west + east) / 2.0, (south + north) / 2.0, inverse=True)
    return float(lon), float(lat)


def _map_scale(info: RasterInfo, crs: pyproj.CRS) -> tuple[float, float]:
    """Map length over ground length at the centre, and how much it depends on direction (1 = not at all)."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # pyproj warns that a PROJ string keeps less than the WKT; enough here
            lon, lat = _centre(info, crs)
            factors: Any = pyproj.Proj(crs).get_factors(lon, lat)
        scale = math.sqrt(factors.areal_scale)
        return scale, factors.tissot_semimajor / factors.tissot_semiminor
    except (ProjError, CRSError, ZeroDivisionError, ValueError):
        return 1.0, 1.0


def _named_unit(word: str) -> tuple[str, float] | None:
    plain = word.strip().lower()
    for name, words in _UNIT_WORDS.items():
        if plain in words:
            return name, Z_UNITS[name]
    if plain in _OTHER_WORDS:
        return plain, _OTHER_WORDS[plain]
    return None


def _crs_height_unit(crs: pyproj.CRS) -> tuple[str, float] | None:
    parts = list(crs.sub_crs_list) if crs.is_compound else [crs]
    for part in parts:
        if part.is_vertical or len(part.axis_info) == 3:
            axis = part.axis_info[-1]
            factor = float(axis.unit_conversion_factor)
            return (_named_unit(axis.unit_name) or (axis.unit_name, factor))[0], factor
    return None


def vertical_unit(info: RasterInfo, z_unit: str | None = None) -> tuple[float, tuple[str, ...]]:
    """Length of the unit of the heights: what the user says, else what CRS and band say, else a stated rule.

    The rule: on a map in metres heights are taken for metres, since lidar ground models on metre grids are; the check
    of the ground's slope that follows (`plausible`) can still contradict. On a map in feet nothing is assumed.

    Parameters
    ----------
    info : RasterInfo
        What the file says.
    z_unit : {"m", "ft", "us-ft"}, optional
        What the user says; it wins.

    Returns
    -------
    unit_m : float
        Length of the height unit [m].
    notes : tuple of str

    Raises
    ------
    UnitError
        Unknown, contradictory, or not a unit of length.
    """
    crs = pyproj.CRS.from_wkt(info.crs_wkt) if info.crs_wkt else None
    by_crs = _crs_height_unit(crs) if crs is not None else None
    by_band = _named_unit(info.unit) if info.unit else None
    said = [(by_crs, "its CRS"), (by_band, "its band unit")]
    if z_unit is not None:
        if z_unit not in Z_UNITS:
            raise UnitError(f"height unit {z_unit!r} is not known; wanted: {', '.join(Z_UNITS)}")
        against = [
            f"{what} says {unit[0]}" for unit, what in said if unit and abs(unit[1] / Z_UNITS[z_unit] - 1) > 1e-4
        ]
        note = f"{info.path}: heights taken in {z_unit} as you said" + (
            f" ({' and '.join(against)})" if against else ""
        )
        return Z_UNITS[z_unit], (note,)
    if by_crs and by_band and abs(by_crs[1] / by_band[1] - 1.0) > 1e-4:
        raise UnitError(
            f"{info.path}: its CRS gives heights in {by_crs[0]}, its band unit says {by_band[0]}. Find out which is "
            "true and say so: --z-unit m, --z-unit ft or --z-unit us-ft"
        )
    for unit, what in said:
        if unit:
            note = f"{info.path}: heights in {unit[0]} (from {what})"
            return unit[1], (note,) if abs(unit[1] - 1.0) > 1e-12 else ()
    return _assumed_unit(info, crs)


def _assumed_unit(info: RasterInfo, crs: pyproj.CRS | None) -> tuple[float, tuple[str, ...]]:
    if info.unit:
        raise UnitError(
            f"{info.path}: the unit of its band is {info.unit!r}, which is not a length known here. Say what the "
            "heights are in: --z-unit m, --z-unit ft or --z-unit us-ft"
        )
    map_unit = float(_horizontal(crs).axis_info[0].unit_conversion_factor) if crs is not None else 1.0
    if abs(map_unit - 1.0) < 1e-6:
        return 1.0, (f"{info.path}: it does not say in which unit its heights are; metres assumed, as is its map unit",)
    near = min((abs(map_unit - FOOT_M), "ft"), (abs(map_unit - US_SURVEY_FOOT_M), "us-ft"))[1]
    raise UnitError(
        f"{info.path}: the map is in feet, but nothing says whether the heights are in feet or metres, and taking one "
        f"for the other is wrong by a factor of 3.3. Look in its metadata and say so: --z-unit {near} or --z-unit m"
    )
