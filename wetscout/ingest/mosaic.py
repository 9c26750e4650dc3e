"""Several rasters as one grid: same CRS, same cells, no resampling."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pyproj

from wetscout.errors import InputError
from wetscout.grid import Grid
from wetscout.ingest.georef import Place
from wetscout.io.rasters import RasterInfo
from wetscout.settings.ingest import IngestSettings

__all__ = ["Mosaic", "clip_to_area", "lay_out"]


@dataclass(frozen=True)
class Mosaic:
    """A grid and where each raster lies in it.

    Attributes
    ----------
    grid : Grid
        Around all rasters, or the part wanted of them.
    corners : tuple of (int, int)
        Row and column of each raster's north-west cell in `grid`; may lie outside of it.
    """

    grid: Grid
    corners: tuple[tuple[int, int], ...]


def lay_out(infos: Sequence[RasterInfo], places: Sequence[Place], settings: IngestSettings) -> Mosaic:
    """Find the grid that all rasters share.

    Parameters
    ----------
    infos : sequence of RasterInfo
        At least one.
    places : sequence of Place
        Of the same rasters.
    settings : IngestSettings
        `align_max`.

    Returns
    -------
    Mosaic

    Raises
    ------
    InputError
        Mixed CRS or cell sizes, or grids that do not fall on each other; with the command that puts it right.
    """
    first, home = infos[0], pyproj.CRS.from_wkt(places[0].crs_wkt)
    dx, dy = first.transform[1], abs(first.transform[5])
    for info, place in zip(infos[1:], places[1:], strict=True):
        if place.crs_wkt != places[0].crs_wkt and pyproj.CRS.from_wkt(place.crs_wkt) != home:
            other = pyproj.CRS.from_wkt(place.crs_wkt).name
            raise InputError(
                f"{first.path} is in {home.name}, {info.path} in {other}; one mosaic needs one CRS. Warp the second "
                f"onto the first: {_warp(info, first)}"
            )
        if max(abs(info.transform[1] / dx - 1.0), abs(abs(info.transform[5]) / dy - 1.0)) > 1e-6:
            raise InputError(
                f"{first.path} has cells of {dx:g}, {info.path} of {info.transform[1]:g} map units; one mosaic needs "
                f"one cell size. Bring the second to the cells of the first: {_warp(info, first)}"
            )
    west, north = min(i.bounds[0] for i in infos), max(i.bounds[3] for i in infos)
    # the first raster's own corner, moved by whole cells, so that its coordinates keep their bits
    cols_west = round((first.bounds[0] - west) / dx)
    rows_north = round((north - first.bounds[3]) / dy)
    x0, y0 = first.bounds[0] - cols_west * dx, first.bounds[3] + rows_north * dy
    corners = []
    for info in infos:
        row, col = (y0 - info.bounds[3]) / dy, (info.bounds[0] - x0) / dx
        off = max(abs(row - round(row)), abs(col - round(col)))
        if off > settings.align_max:
            raise InputError(
                f"the cells of {info.path} do not fall on those of {first.path} (off by {off:.2f} of a cell). Bring "
                f"them onto one grid: {_warp(info, first)}"
            )
        corners.append((round(row), round(col)))
    rows = max(row + info.rows for (row, _c), info in zip(corners, infos, strict=True))
    cols = max(col + info.cols for (_r, col), info in zip(corners, infos, strict=True))
    return Mosaic(Grid(rows, cols, x0, y0, dx, dy, places[0].cell_m, places[0].crs_wkt), tuple(corners))


def _warp(info: RasterInfo, onto: RasterInfo) -> str:
    dx, dy = onto.transform[1], abs(onto.transform[5])
    crs = pyproj.CRS.from_wkt(onto.crs_wkt)
    epsg = crs.to_epsg()
    target = f"EPSG:{epsg}" if epsg else f'"{onto.path}.wkt" (its CRS, written with gdalsrsinfo -o wkt "{onto.path}")'
    return (
        f'gdalwarp -t_srs {target} -tr {dx:.12g} {dy:.12g} -tap -r bilinear -dstnodata -9999 "{info.path}" '
        f'"{info.path.rpartition(".")[0] or info.path}_same.tif"'
        + ("" if _on_tap(onto) else f' (and the same for "{onto.path}")')
    )


def _on_tap(info: RasterInfo) -> bool:
    """Whether the grid lies on whole multiples of its cell size, as -tap makes it."""
    shifts = (info.bounds[0] / info.transform[1], info.bounds[3] / abs(info.transform[5]))
    return all(abs(shift - round(shift)) < 1e-3 for shift in shifts)


def clip_to_area(mosaic: Mosaic, area: Any, unit_m: float, settings: IngestSettings) -> Mosaic:
    """Keep only the part around some polygons on which their basins may depend.

    Parameters
    ----------
    mosaic : Mosaic
        All rasters.
    area : shapely geometry
        In the CRS of the mosaic.
    unit_m : float
        Map unit [m].
    settings : IngestSettings
        `area_ring_m`.

    Returns
    -------
    Mosaic
        Cut along whole cells.

    Raises
    ------
    InputError
        The polygons are empty or lie outside; both bounds are told.
    """
    grid = mosaic.grid
    if area.is_empty:
        raise InputError("the polygons given as area are empty; draw at least one.")
    ring = settings.area_ring_m / unit_m
    west, south, east, north = area.bounds
    low = (grid.x0, grid.y0 - grid.rows * grid.dy)
    high = (grid.x0 + grid.cols * grid.dx, grid.y0)
    if west >= high[0] or east <= low[0] or south >= high[1] or north <= low[1]:
        raise InputError(
            f"the area ({west:.1f}, {south:.1f} to {east:.1f}, {north:.1f}) lies outside the DEM ({low[0]:.1f}, "
            f"{low[1]:.1f} to {high[0]:.1f}, {high[1]:.1f}). Is it in another CRS, or are x and y swapped?"
        )
    top = max(0, int((grid.y0 - north - ring) // grid.dy))
    bottom = min(grid.rows, int((grid.y0 - south + ring) // grid.dy) + 1)
    left = max(0, int((west - ring - grid.x0) // grid.dx))
    right = min(grid.cols, int((east + ring - grid.x0) // grid.dx) + 1)
    part = Grid(
        bottom - top,
        right - left,
        grid.x0 + left * grid.dx,
        grid.y0 - top * grid.dy,
        grid.dx,
        grid.dy,
        grid.cell_m,
        grid.crs_wkt,
    )
    return Mosaic(part, tuple((row - top, col - left) for row, col in mosaic.corners))
