"""Nested basins of a DEM: pools, spill points, catchments."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from wetscout import large
from wetscout.basins import checks, graph, measure
from wetscout.basins.nodes import forest_of, items_of
from wetscout.errors import InputError
from wetscout.kernels import pools
from wetscout.records import Patch
from wetscout.settings.basins import BasinSettings

__all__ = ["BasinTree", "basin_tree", "tree_of"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
F64 = NDArray[np.float64]


@dataclass(frozen=True)
class BasinTree:
    """Nested basins, children before parents: the subtree of node i is the nodes first[i] ... i.

    Cells in all arrays are (row, col); node numbers start at 0, -1 is none or outside.

    Attributes
    ----------
    cell_m : float
        Cell size [m].
    parent : int32 (nodes,)
        Enclosing basin; -1 none.
    first : int32 (nodes,)
        First node of the subtree.
    floor_m, spill_m : float64 (nodes,)
        Lowest ground; level at which the pool spills [m].
    floor_at, spill_at : int64 (nodes,)
        Flat index of the floor cell; of the cell on the rim at spill level.
    spill_to : int32 (nodes,)
        Leaf basin into whose catchment it spills; -1 outside.
    area_cells, catchment_cells, depth_quanta : int64 (nodes,)
        Cells strictly below spill; cells that drain there; depth summed over the pool [2**-14 m].
    edge : uint8 (nodes,)
        1 where pool or spill cell touches the raster's border or ground that is not known.
    labels : int32 (rows, cols)
        Innermost node whose pool holds the cell; the pool of i is first[i] <= labels <= i.
    catchment_labels : int32 (rows, cols)
        Leaf whose catchment holds the cell; the catchment of i is first[i] <= catchment_labels <= i.
    """

    cell_m: float
    parent: I32
    first: I32
    floor_m: F64
    spill_m: F64
    floor_at: I64
    spill_at: I64
    spill_to: I32
    area_cells: I64
    catchment_cells: I64
    depth_quanta: I64
    edge: NDArray[np.uint8]
    labels: I32
    catchment_labels: I32

    def __len__(self) -> int:
        """Number of basins."""
        return int(self.parent.size)

    @cached_property
    def floor_cell(self) -> I64:
        """Row and column of the floor cell, (nodes, 2)."""
        return self._row_col(self.floor_at)

    @cached_property
    def spill_cell(self) -> I64:
        """Row and column of the spill cell, (nodes, 2)."""
        return self._row_col(self.spill_at)

    @cached_property
    def bbox(self) -> I32:
        """Window of each pool, (nodes, 4): row0, col0, row1, col1, half open."""
        return _windows(self.labels, self.parent)

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row per basin, in metres, square metres, cubic metres; the columns of the contract."""
        cell_m2 = self.cell_m * self.cell_m
        return pd.DataFrame(
            {
                "parent": self.parent,
                "floor_m": self.floor_m,
                "floor_row": self.floor_cell[:, 0],
                "floor_col": self.floor_cell[:, 1],
                "spill_m": self.spill_m,
                "spill_row": self.spill_cell[:, 0],
                "spill_col": self.spill_cell[:, 1],
                "area_m2": self.area_cells * cell_m2,
                "volume_m3": self.depth_quanta / pools.QUANTA * cell_m2,
                "catchment_m2": self.catchment_cells * cell_m2,
                "edge": self.edge,
            }
        )

    def pool(self, node: int) -> Patch:
        """Cells of a basin's pool: those strictly below its spill level.

        Parameters
        ----------
        node : int
            Basin, 0 ... len - 1.

        Returns
        -------
        Patch

        Raises
        ------
        IndexError
            No such basin.
        """
        return self._patch(self.labels, self.bbox, node)

    def pool_later(self, node: int) -> Patch:
        """As `pool`, the mask made anew whenever it is asked for: masks of a county's nested pools would fill a disk.

        Parameters
        ----------
        node : int
            Basin, 0 ... len - 1.

        Returns
        -------
        Patch

        Raises
        ------
        IndexError
            No such basin.
        """
        return _Later(self.labels, self.bbox[self._known(node)], (int(self.first[node]), node))

    def catchment(self, node: int) -> Patch:
        """Cells that drain into a basin, its pool included.

        Parameters
        ----------
        node : int
            Basin, 0 ... len - 1.

        Returns
        -------
        Patch

        Raises
        ------
        IndexError
            No such basin.
        """
        return self._patch(self.catchment_labels, self._catchment_bbox, node)

    def ancestors(self, node: int) -> list[int]:
        """Basins around a basin, the innermost first.

        Parameters
        ----------
        node : int
            Basin, 0 ... len - 1.

        Returns
        -------
        list of int

        Raises
        ------
        IndexError
            No such basin.
        """
        out = []
        above = int(self.parent[self._known(node)])
        while above >= 0:
            out.append(above)
            above = int(self.parent[above])
        return out

    def children(self, node: int) -> list[int]:
        """Basins directly inside a basin, ascending.

        Parameters
        ----------
        node : int
            Basin, 0 ... len - 1; -1 lists the outermost ones.

        Returns
        -------
        list of int

        Raises
        ------
        IndexError
            No such basin.
        """
        low, high = (0, len(self)) if node == -1 else (int(self.first[self._known(node)]), node)
        return [low + int(k) for k in np.flatnonzero(self.parent[low:high] == node)]

    def _known(self, node: int) -> int:
        if not 0 <= node < len(self):
            raise IndexError(f"no basin {node}; the tree has {len(self)}, numbered from 0")
        return node

    @cached_property
    def _catchment_bbox(self) -> I32:
        return _windows(self.catchment_labels, self.parent)

    def _row_col(self, at: I64) -> I64:
        return np.stack(np.divmod(at, self.labels.shape[1]), axis=1)

    def _patch(self, labels: I32, boxes: I32, node: int) -> Patch:
        row0, col0, row1, col1 = (int(k) for k in boxes[self._known(node)])
        window = labels[row0:row1, col0:col1]
        return Patch(row0, col0, large.keep((window >= self.first[node]) & (window <= node)))


class _Later(Patch):
    """Cells of a pool, looked up in the labels when they are wanted."""

    def __init__(self, labels: I32, box: I32, nodes: tuple[int, int]) -> None:
        row0, col0, row1, col1 = box.tolist()
        vars(self).update(row0=row0, col0=col0, _labels=labels[row0:row1, col0:col1], _nodes=nodes)

    @property
    def mask(self) -> NDArray[np.bool_]:
        """The cells."""
        labels, (first, last) = vars(self)["_labels"], vars(self)["_nodes"]
        held: NDArray[np.bool_] = (labels >= first) & (labels <= last)
        return held

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the window."""
        rows, cols = vars(self)["_labels"].shape
        return rows, cols

    @property
    def labelled(self) -> tuple[I32, int, int]:
        """Labels of the window, and those of the pool."""
        return vars(self)["_labels"], *vars(self)["_nodes"]


def _windows(labels: I32, parent: I32) -> I32:
    """Window of each node with its children."""
    box: I32 = pools.no_windows(parent.size)
    pools.stretch(labels, 0, box)
    pools.enclose(box, parent)
    return box


def basin_tree(dem: ArrayLike, cell_m: float = 1.0, min_depth_m: float = 0.0) -> BasinTree:
    """Find the nested basins of a DEM, their spill points, pools and catchments.

    Parameters
    ----------
    dem : array_like (rows, cols), real numbers
        Heights [m], any strides. Border, NaN and -inf are outlets. Not changed.
    cell_m : float
        Cell size [m].
    min_depth_m : float
        Basins less deep than this [m] (spill level less floor) are left out; one that meets a deeper one becomes part
        of it, and its catchment goes to the basin it spills into.

    Returns
    -------
    BasinTree
        Basins that merge at one level are one parent with many children; none has no thickness, none a single child.

    Raises
    ------
    TypeError
        Masked, bool, complex or other values that are not heights.
    InputError
        Not two-dimensional, +inf, heights beyond 1e6, cell_m not positive, min_depth_m negative.
    """
    return tree_of(dem, cell_m=cell_m, min_depth_m=min_depth_m)


def tree_of(
    dem: ArrayLike,
    hole: ArrayLike | None = None,
    *,
    cell_m: float = 1.0,
    min_depth_m: float = 0.0,
    strips: int | None = None,
    workers: int | None = None,
) -> BasinTree:
    """`basin_tree` where inner holes are unknown ground: walls, not outlets.

    Parameters
    ----------
    dem : array_like (rows, cols), real numbers
        Heights [m]. Border, NaN and -inf are outlets, except in `hole`.
    hole : array_like of bool (rows, cols) or None
        Cells whose ground is not known. Basins that touch one have edge 1; ground that holes enclose has no way out
        and its outermost basin is left out.
    cell_m, min_depth_m : float
        See `basin_tree`.
    strips, workers : int or None
        Strips labelled alone, threads; the answer does not depend on them. None takes the settings.

    Returns
    -------
    BasinTree

    Raises
    ------
    TypeError, InputError
        See `basin_tree`.
    """
    array = checks.raster(dem, "basin_tree")
    if not cell_m > 0 or not np.isfinite(cell_m):
        raise InputError(f"basin_tree: cell_m is {cell_m}; want the cell size in metres, more than 0")
    if not min_depth_m >= 0:
        raise InputError(f"basin_tree: min_depth_m is {min_depth_m}; want a depth in metres, 0 or more")
    if array.size == 0:
        raise InputError(f"basin_tree: got an array of shape {array.shape}, without cells; want a DEM")
    z, values = checks.work_copy(array)
    if values is not None:
        raise InputError("basin_tree: integers beyond 2**53 are not heights in metres")
    if hole is not None:
        mask = np.asarray(hole, dtype=bool)
        if mask.shape != z.shape:
            raise InputError(f"basin_tree: hole has shape {mask.shape}, the DEM {z.shape}; want the same")
        np.copyto(z, np.inf, where=mask)
    settings = BasinSettings()
    with graph.Crew(workers or graph.workers_of(settings)) as crew:
        net = graph.build(z, graph.cut(z.shape, strips, settings), crew)
        if net.infs or net.highest > checks.HIGHEST_M:
            checks.refuse_heights(array, None if hole is None else mask)
        return _grow(net, crew, cell_m, min_depth_m)


def _grow(net: graph.Graph, crew: graph.Crew, cell_m: float, min_depth_m: float) -> BasinTree:
    """The tree of a graph, with all measures."""
    items = items_of(forest_of(net, crew), crew, min_depth_m)
    ladder = measure.ladder_of(items, crew)
    pool, sums = _pools(net, crew, ladder)
    columns = measure.columns_of(items, (net.pits, net.code), net.z.shape[1], (ladder.spot, sums), crew)
    crew.map(lambda s: pools.hand_over(graph.flat(net.z, s), graph.flat(net.label, s), items.leaf), net.strips)
    catchment = measure.catchments_of(items, sums)
    edge = np.zeros(items.nodes, np.uint8)
    whole = (0, net.z.shape[0], 0, net.z.shape[0] - 1)
    pools.touch(net.z, pool, net.inner, whole, edge)
    pools.touch_spills(net.z, net.inner, whole, (np.arange(items.nodes), columns.spill_at), edge)
    pools.gather(columns.parent, columns.spill_m, columns.area_cells, columns.depth_quanta, catchment, edge)
    return BasinTree(
        cell_m=float(cell_m),
        catchment_cells=catchment,
        edge=edge,
        labels=pool,
        catchment_labels=net.label,
        **vars(columns),
    )


def _pools(net: graph.Graph, crew: graph.Crew, ladder: measure.Ladder) -> tuple[I32, measure.Sums]:
    """Innermost pool of every cell, and the sums of `pools.place`."""
    pool = large.empty(net.label.shape, net.label.dtype)
    # each part has sums of its own, 40 bytes a basin, so more than four would cost more than they bring
    parts = min(crew.workers, 4, len(net.strips))
    sums = [ladder.room() for _ in range(parts)]

    def work(part: int) -> None:
        # neighbouring strips in one part: most pages of the other parts' sums are then never touched
        for strip in net.strips[len(net.strips) * part // parts : len(net.strips) * (part + 1) // parts]:
            z, label, water = (graph.flat(a, strip) for a in (net.z, net.label, pool))
            ladder.place(z, label, water, sums[part])

    crew.map(work, range(parts))
    return pool, measure.add(sums, crew)
