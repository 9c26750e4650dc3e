"""Cells to outlines, stations to lines: one form for one set of cells, whatever tile it came from."""

from __future__ import annotations

import numpy as np
import rasterio.features
import shapely
from numpy.typing import NDArray

from wetscout.grid import Grid
from wetscout.records import F64, Patch

# the contract's limit on how far a drawn line may leave its stations [cells]
LINE_OFF_CELLS = 0.5


def outline(patch: Patch, grid: Grid) -> shapely.MultiPolygon:
    """Outline of a set of cells, along the cell edges.

    Cells that touch at a corner only are separate polygons, so every polygon is valid. Rings start at their lowest
    (row, col); outer rings run counter-clockwise on the map, holes clockwise; polygons stand in the order of their
    starts. Corners become coordinates by the whole grid's formula.

    Parameters
    ----------
    patch : Patch
        Mask of any size, bool, with its window's place [cells].
    grid : Grid
        The whole raster's grid.

    Returns
    -------
    shapely.MultiPolygon
        In the grid's CRS; empty for a mask without a cell.
    """
    mask = np.ascontiguousarray(patch.mask).astype(np.uint8)
    found = []
    if mask.any():
        for shape, _ in rasterio.features.shapes(mask, mask=mask > 0, connectivity=4):
            rings = [_corners(ring, patch) for ring in shape["coordinates"]]
            outer, holes = rings[0], sorted(rings[1:], key=_start)
            found.append([_turn(outer, left=True), *(_turn(hole, left=False) for hole in holes)])
    found.sort(key=lambda rings: _start(rings[0]))
    return shapely.MultiPolygon([(_map(rings[0], grid), [_map(ring, grid) for ring in rings[1:]]) for rings in found])


def line(row: F64, col: F64, grid: Grid) -> shapely.LineString | None:
    """Line through stations, simplified within half a cell.

    Parameters
    ----------
    row, col : float64 (n,)
        Stations [cells]; (0, 0) is the centre of the first cell.
    grid : Grid
        The whole raster's grid.

    Returns
    -------
    shapely.LineString or None
        In the grid's CRS; None with fewer than two places.
    """
    places = np.column_stack([np.asarray(col, dtype=np.float64), np.asarray(row, dtype=np.float64)])
    keep = np.ones(len(places), dtype=bool)
    keep[1:] = (np.diff(places, axis=0) != 0).any(axis=1)
    places = places[keep]
    if len(places) < 2:
        return None
    simple = shapely.get_coordinates(
        shapely.simplify(shapely.LineString(places), LINE_OFF_CELLS, preserve_topology=False)
    )
    x, y = grid.xy(simple[:, 1], simple[:, 0])
    return shapely.LineString(np.column_stack([x, y]))


def length_m(row: F64, col: F64, grid: Grid) -> float:
    """Length of a line through its stations.

    Parameters
    ----------
    row, col : float64 (n,)
        Stations [cells].
    grid : Grid
        The whole raster's grid.

    Returns
    -------
    float
        [m].
    """
    return float(np.hypot(np.diff(row), np.diff(col)).sum()) * grid.cell_m


def _corners(ring: list[tuple[float, float]], patch: Patch) -> NDArray[np.int64]:
    """Closed ring as (row, col) of cell corners of the whole grid, from its lowest (row, col)."""
    points = np.rint(np.asarray(ring, dtype=np.float64)).astype(np.int64)[:-1, ::-1]
    points = points + np.array([patch.row0, patch.col0], dtype=np.int64)
    first = int(np.lexsort((points[:, 1], points[:, 0]))[0])
    points = np.roll(points, -first, axis=0)
    return np.vstack([points, points[:1]])


def _start(ring: NDArray[np.int64]) -> tuple[int, int]:
    return int(ring[0, 0]), int(ring[0, 1])


def _turn(ring: NDArray[np.int64], left: bool) -> NDArray[np.int64]:
    """The ring run round the way wanted on the map, where y points up; its start stays."""
    row, col = ring[:, 0], ring[:, 1]
    # twice the signed area with y = -row, by the shoelace formula: positive is counter-clockwise
    twice = int((col[:-1] * -row[1:] + col[1:] * row[:-1]).sum())
    return ring if (twice > 0) == left else ring[::-1]


def _map(ring: NDArray[np.int64], grid: Grid) -> F64:
    """Corners to map coordinates; `Grid.xy` counts from cell centres, corners lie half a cell before."""
    corners = ring.astype(np.float64) - 0.5
    x, y = grid.xy(corners[:, 0], corners[:, 1])
    return np.column_stack([x, y])
