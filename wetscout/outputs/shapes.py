"""Cells to outlines, stations to lines: one form for one set of cells, whatever tile it came from."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from wetscout.grid import Grid
from wetscout.kernels.outline import rings, runs
from wetscout.records import F64, Patch

I64 = NDArray[np.int64]
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
    corners, begins, piece = rings_of(*patch.labelled)
    if piece.size == 0:
        return shapely.MultiPolygon()
    # `Grid.xy` counts from cell centres, corners lie half a cell before
    row, col = (corners + np.array([patch.row0, patch.col0], dtype=np.int64)).astype(np.float64).T - 0.5
    owner = np.repeat(np.arange(piece.size), np.diff(begins))
    around = shapely.linearrings(np.column_stack(grid.xy(row, col)), indices=owner)
    # rings of a piece together; pieces are numbered as their outer rings stand
    order = np.argsort(piece, kind="stable")
    polygons = shapely.polygons(np.atleast_1d(np.asarray(around))[order], indices=piece[order] - 1)
    return shapely.MultiPolygon(list(np.asarray(polygons)))


def rings_of(labels: NDArray[Any], first: int = 1, last: int = 1) -> tuple[I64, I64, I64]:
    """Rings around the pieces of a set of cells.

    Parameters
    ----------
    labels : int (h, w)
    first, last : int
        The cells are those with labels first ... last.

    Returns
    -------
    corners, first, piece
        As `kernels.outline.rings` gives them.
    """
    h, w = labels.shape
    walked = np.zeros((h + 1, w), np.bool_)
    found: tuple[I64, I64, I64] = rings(runs(labels, first, last), walked)
    return found


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
