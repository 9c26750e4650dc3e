"""Cells to outlines, stations to lines: one form for one set of cells, whatever tile it came from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from wetscout.grid import Grid
from wetscout.kernels.outline import PACK_BITS, joined, label_runs, rings, runs
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
    return _polygons(rings_of(*patch.labelled), (patch.row0, patch.col0), grid)


def outlines(patches: Sequence[Patch], grid: Grid) -> list[shapely.MultiPolygon]:
    """Outlines of many sets of cells; of pools that lie in each other only the window of the outermost is looked at.

    1300 nested pools of 16 million cells have windows of 2000 million cells.

    Parameters
    ----------
    patches : sequence of Patch
    grid : Grid
        The whole raster's grid.

    Returns
    -------
    list of shapely.MultiPolygon
        As `outline` gives each.
    """
    found: list[Any] = [None] * len(patches)
    told = [patch.labelled for patch in patches]
    # a pool comes after all that lie inside it
    order = sorted(range(len(patches)), key=lambda k: (id(told[k][0].base), told[k][2]))
    while order:
        labels, first, _ = told[order[-1]]
        nest = [order.pop()]
        while order and told[order[-1]][0].base is labels.base and told[order[-1]][1] >= first:
            nest.append(order.pop())
        top = patches[nest[0]]
        if len(nest) == 1 or top.col0 + top.shape[1] >= 1 << PACK_BITS:
            for k in nest:
                found[k] = outline(patches[k], grid)
        else:
            for k, some in zip(nest[::-1], _nested([patches[k] for k in nest[::-1]]), strict=True):
                rows, cols = patches[k].shape
                ringed = rings(some, np.zeros((rows + 1, cols), np.bool_))
                found[k] = _polygons(ringed, (patches[k].row0, patches[k].col0), grid)
    return found


def _nested(patches: Sequence[Patch]) -> Iterator[tuple[I64, I64, I64]]:
    """Runs of pools, inner ones first, that all lie in the last."""
    labels, first, last = patches[-1].labelled
    label, packed = label_runs(labels, (first, last), (patches[-1].row0, patches[-1].col0))
    order = np.argsort(label, kind="stable")
    label, packed = label[order], packed[order]
    # first and last label of those that lie in none yet, and their runs
    inner: list[tuple[int, int, I64]] = []
    for patch in patches:
        _, first, last = patch.labelled
        parts, upto = [], last
        while inner and inner[-1][0] >= first:
            low, high, its = inner.pop()
            parts += [_labelled(label, packed, high + 1, upto), its]
            upto = low - 1
        parts.append(_labelled(label, packed, first, upto))
        own = np.sort(np.concatenate(parts))
        begins, left, right = joined(own, (patch.row0, patch.shape[0], patch.col0))
        yield begins, left, right
        inner.append((first, last, own[: left.size].copy()))


def _labelled(label: NDArray[np.int32], packed: I64, first: int, last: int) -> I64:
    """Runs, sorted by label, that have labels first ... last."""
    low, high = np.searchsorted(label, np.array([first, last + 1], dtype=np.int32))
    return packed[low:high]


def _polygons(ringed: tuple[I64, I64, I64], corner: tuple[int, int], grid: Grid) -> shapely.MultiPolygon:
    """Polygons of rings in a window whose first cell is the corner."""
    corners, begins, piece = ringed
    if piece.size == 0:
        return shapely.MultiPolygon()
    # `Grid.xy` counts from cell centres, corners lie half a cell before
    row, col = (corners + np.array(corner, dtype=np.int64)).astype(np.float64).T - 0.5
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
