"""Filling and the basin tree of a raster that is not in memory: strip by strip from one field to others.

The same kernels and the same order of comparisons as in memory, so the same answer to the bit. In memory are the strips
under way, one a thread, and what is known of pits, passes and basins, about 150 bytes a pit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from wetscout.basins import checks, graph, measure, nodes
from wetscout.errors import InputError
from wetscout.kernels import fill as filling
from wetscout.kernels import labels, pools
from wetscout.kernels import tree as kernel
from wetscout.records_field import Field
from wetscout.settings.basins import BasinSettings

T = TypeVar("T")
I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
F64 = NDArray[np.float64]
Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class FarTree:
    """A basin tree whose cells are in fields; see `tree.BasinTree` for what the columns mean.

    Attributes
    ----------
    cell_m : float
    parent, first : int32 (nodes,)
    floor_m, spill_m : float64 (nodes,)
    floor_at, spill_at : int64 (nodes,)
    spill_to : int32 (nodes,)
    area_cells, catchment_cells, depth_quanta : int64 (nodes,)
    edge : uint8 (nodes,)
    bbox : int32 (nodes, 4)
        Window of each pool: row0, col0, row1, col1, half open.
    labels, catchment_labels : Field of int32 (rows, cols)
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
    bbox: I32
    labels: Field
    catchment_labels: Field


class _Strips:
    """Rows of a field, cut into strips that threads read with the rows beside them."""

    def __init__(self, z: Field, hole: Field | None, strip_cells: int, workers: int | None) -> None:
        if z.dtype not in (np.float32, np.float64):
            raise TypeError(f"far: heights of type {z.dtype}; want float32 or float64")
        if min(z.shape) < 1:
            raise InputError(f"far: a field of shape {z.shape} has no cells")
        settings = BasinSettings()
        self.z, self.hole = z, hole
        self.rows, self.cols = z.shape
        self.workers = workers or graph.workers_of(settings)
        self.spans = graph.cut(z.shape, max(1, min(self.rows, -(-self.rows * self.cols // strip_cells))), settings)

    def map(self, work: Callable[[int], T]) -> list[T]:
        """Ask for each strip by its number."""
        with graph.Crew(self.workers) as crew:
            return crew.map(work, range(len(self.spans)))

    def ring(self, k: int) -> tuple[int, int]:
        """Rows of a strip with one beside it on each side."""
        r0, r1 = self.spans[k]
        return max(0, r0 - 1), min(self.rows, r1 + 1)

    def ground(self, first: int, last: int) -> Floats:
        """Heights with outlets -inf and walls +inf."""
        part: Floats = self.z.read(first, last, 0, self.cols)
        if (part == np.inf).any() or (np.abs(part[np.isfinite(part)]) > checks.HIGHEST_M).any():
            hole = None if self.hole is None else self.hole.read(first, last, 0, self.cols)
            checks.refuse_heights(part, hole)
        part[np.isnan(part)] = -np.inf
        if self.hole is not None:
            part[self.hole.read(first, last, 0, self.cols)] = np.inf
        return part


@dataclass(frozen=True)
class _Pits:
    """The forest and the flat index of each pit; whether there are outlets or walls within."""

    forest: nodes.Forest
    at: I64
    inner: bool


def _label(strips: _Strips, label: Field) -> tuple[list[I64], list[Floats], list[I32], bool]:
    """Label each strip by itself; its pits, their heights, its first and last row of labels."""

    def work(k: int) -> tuple[I64, Floats, I32, bool]:
        (r0, r1), (w0, w1) = strips.spans[k], strips.ring(k)
        z = strips.ground(w0, w1)
        lab = np.empty((r1 - r0) * strips.cols, np.int32)
        pits = graph.label_strip(z, lab, r0 - w0, r1 - w0)
        floor = z.reshape(-1)[pits]
        part = lab.reshape(r1 - r0, strips.cols)
        label.write(r0, 0, part)
        return pits + w0 * strips.cols, floor, part[[0, -1]], bool(np.isinf(z).any())

    told = strips.map(work)
    return [t[0] for t in told], [t[1] for t in told], [t[2] for t in told], any(t[3] for t in told)


def _settle(strips: _Strips, label: Field, borders: list[I32], offsets: I64) -> list[I32]:
    """Final labels of every strip; those of its first and last row come back."""
    count = len(strips.spans)
    if offsets[-1] >= 2**31 - 1:
        raise InputError(f"far: {offsets[-1]} pits are more than 2**31; smooth the ground first, or take a part of it")
    # two rows a strip stand for the whole raster: only those are looked up
    rows = np.concatenate(borders).reshape(-1)
    beside = labels.seams(rows, strips.cols, np.arange(0, 2 * count + 1, 2), offsets)

    def work(k: int) -> I32:
        r0, r1 = strips.spans[k]
        part = label.read(r0, r1, 0, strips.cols)
        labels.settle(part.reshape(-1), offsets[k], beside[k])
        label.write(r0, 0, part)
        ends: I32 = part[[0, -1]]
        return ends

    return strips.map(work)


def _pits(strips: _Strips, label: Field) -> _Pits:
    """Label the raster, join its pits."""
    found, floors, borders, inner = _label(strips, label)
    offsets = np.cumsum([0, *(p.size for p in found)], dtype=np.int64)
    ends = _settle(strips, label, borders, offsets)
    forest = graph.empty_forest(int(offsets[-1]), strips.z.dtype)

    def join(k: int) -> tuple[Any, ...]:
        (r0, r1), (w0, w1) = strips.spans[k], strips.ring(k)
        above = [ends[k - 1][1:]] if w0 < r0 else []
        below = [ends[k + 1][:1]] if w1 > r1 else []
        lab = np.concatenate([*above, label.read(r0, r1, 0, strips.cols), *below])
        own = (int(offsets[k]), int(offsets[k + 1]))
        return graph.join_strip(strips.ground(w0, w1), lab, (r0 - w0, r1 - w0), own, forest, w0)

    graph.join_rest(strips.map(join), forest)
    _, parent, level, lower, code = forest
    floor = np.concatenate([np.array([-np.inf], strips.z.dtype), *floors])
    sides = _sides(strips, label, (parent, level, code))
    at = np.concatenate([np.array([-1], np.int64), *found])
    return _Pits(nodes.Forest(floor, parent, level, lower, code, sides, offsets), at, inner)


def _sides(strips: _Strips, label: Field, ways: tuple[Any, ...]) -> I32:
    """Labels at both ends of the passes, looked up where each pass lies."""
    code = ways[2]
    ends = np.full((code.size, 2), -1, np.int32)
    starts = np.array([span[0] for span in strips.spans])
    taken = np.flatnonzero(ways[0] >= 0).astype(np.int32)
    home = np.searchsorted(starts, (code[taken] >> 4) // strips.cols, side="right") - 1
    order = np.argsort(home, kind="stable")
    bounds = np.searchsorted(home[order], np.arange(len(starts) + 1))

    def work(k: int) -> None:
        r0, r1 = strips.spans[k]
        part = label.read(r0, min(strips.rows, r1 + 1), 0, strips.cols)
        which = taken[order[bounds[k] : bounds[k + 1]]]
        kernel.edges(part.reshape(-1), r0 * strips.cols, strips.cols, ways, which, ends)

    strips.map(work)
    return ends


def fill_far(z: Field, out: Field, label: Field, strip_cells: int = 1 << 23, workers: int | None = None) -> None:
    """`filling.fill` from field to field.

    Parameters
    ----------
    z : Field of float32 or float64
        Heights; border, NaN and -inf are outlets and stay as they are.
    out : Field like z
        Written.
    label : Field of int32 (rows, cols)
        Room to work in.
    strip_cells : int
        Cells of a strip.
    workers : int, optional

    Raises
    ------
    InputError
        A cell is +inf or beyond 1e6 m.
    """
    strips = _Strips(z, None, strip_cells, workers)
    forest = _pits(strips, label).forest
    level = filling.levels(forest.parent, forest.level)

    def work(k: int) -> None:
        r0, r1 = strips.spans[k]
        ground, lab = strips.ground(r0, r1), label.read(r0, r1, 0, strips.cols)
        filling.raise_ground(ground.reshape(-1), lab.reshape(-1), level)
        raw = z.read(r0, r1, 0, strips.cols)
        np.copyto(ground, raw, where=np.isnan(raw))
        out.write(r0, 0, ground)

    strips.map(work)


@dataclass(frozen=True)
class FarPlan:
    """How `tree_far` works.

    Attributes
    ----------
    cell_m, min_depth_m : float
        See `tree.basin_tree`.
    strip_cells : int
        Cells of a strip.
    workers : int or None
    """

    cell_m: float = 1.0
    min_depth_m: float = 0.0
    strip_cells: int = 1 << 23
    workers: int | None = None


def tree_far(z: Field, hole: Field | None, label: Field, pool: Field, plan: FarPlan) -> FarTree:
    """`tree.tree_of` from field to field.

    Parameters
    ----------
    z : Field of float32 or float64
        Heights [m]. Border, NaN and -inf are outlets, except in `hole`.
    hole : Field of bool or None
        Cells whose ground is not known.
    label, pool : Field of int32 (rows, cols)
        Written: leaf whose catchment holds each cell, and innermost node whose pool holds it.
    plan : FarPlan

    Returns
    -------
    FarTree
        The same as in memory, to the bit, for any strips and threads.

    Raises
    ------
    InputError
        Heights beyond 1e6 m.
    """
    strips = _Strips(z, hole, plan.strip_cells, plan.workers)
    pits = _pits(strips, label)
    with graph.Crew(strips.workers) as crew:
        items = nodes.items_of(pits.forest, crew, float(plan.min_depth_m))
        ladder = measure.ladder_of(items, crew)
        sums, boxes = _place(strips, items, ladder, (label, pool))
        total = measure.add(sums, crew)
        columns = measure.columns_of(items, (pits.at, pits.forest.code), strips.cols, (ladder.spot, total), crew)
    edge = _touch(strips, pool, pits.inner, columns.spill_at)
    catchment = measure.catchments_of(items, total)
    pools.gather(columns.parent, columns.spill_m, columns.area_cells, columns.depth_quanta, catchment, edge)
    for more in boxes[1:]:
        np.minimum(boxes[0][:, :2], more[:, :2], out=boxes[0][:, :2])
        np.maximum(boxes[0][:, 2:], more[:, 2:], out=boxes[0][:, 2:])
    pools.enclose(boxes[0], columns.parent)
    return FarTree(
        cell_m=float(plan.cell_m),
        catchment_cells=catchment,
        edge=edge,
        bbox=boxes[0],
        labels=pool,
        catchment_labels=label,
        **vars(columns),
    )


def _place(
    strips: _Strips, items: nodes.Items, ladder: measure.Ladder, fields: tuple[Field, Field]
) -> tuple[list[measure.Sums], list[I32]]:
    """Write pools and catchments; sums and windows of each part of the strips."""
    label, pool = fields
    count = len(strips.spans)
    parts = min(strips.workers, 4, count)
    sums = [ladder.room() for _ in range(parts)]
    boxes = [pools.no_windows(items.nodes) for _ in range(parts)]

    def work(part: int) -> None:
        for r0, r1 in strips.spans[count * part // parts : count * (part + 1) // parts]:
            ground, lab = strips.ground(r0, r1), label.read(r0, r1, 0, strips.cols)
            water = np.empty_like(lab)
            ladder.place(ground.reshape(-1), lab.reshape(-1), water.reshape(-1), sums[part])
            pools.stretch(water, r0, boxes[part])
            pools.hand_over(ground.reshape(-1), lab.reshape(-1), items.leaf)
            pool.write(r0, 0, water)
            label.write(r0, 0, lab)

    with graph.Crew(parts) as crew:
        crew.map(work, range(parts))
    return sums, boxes


def _touch(strips: _Strips, pool: Field, inner: bool, spill_at: I64) -> NDArray[np.uint8]:
    """Nodes that touch the border or ground that is not known."""
    edge = np.zeros(spill_at.size, np.uint8)
    starts = np.array([span[0] for span in strips.spans])
    home = np.searchsorted(starts, spill_at // strips.cols, side="right") - 1

    def work(k: int) -> None:
        (r0, r1), (w0, w1) = strips.spans[k], strips.ring(k)
        which = np.flatnonzero(home == k)
        rows = (r0 - w0, r1 - w0, -w0, strips.rows - 1 - w0)
        ground = strips.ground(w0, w1)
        pools.touch(ground, pool.read(w0, w1, 0, strips.cols), inner, rows, edge)
        pools.touch_spills(ground, inner, rows, (which, spill_at[which] - w0 * strips.cols), edge)

    strips.map(work)
    return edge
