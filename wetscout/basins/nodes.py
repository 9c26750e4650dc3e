"""From the spanning tree of passes to numbered basins: strips by themselves, then what spans several."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.basins.graph import Crew, Graph
from wetscout.kernels import number, sort
from wetscout.kernels import tree as kernel

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
Floats = NDArray[np.floating[Any]]
Span = tuple[int, int]


@dataclass(frozen=True)
class Items:
    """Pits and junctions, as they lie on the ground, with the numbers of the nodes among them.

    Attributes
    ----------
    table : int32 (items, 8)
        See `kernels.tree`.
    above : int32 (items,)
        Item of the node around each, 0 none.
    number : int32 (items,)
        Innermost node, children before parents; -1 none.
    nodes : int
        How many nodes.
    level : like the graph's levels (pits + 1,)
        Level of the pass each pit took [m].
    floor : like the graph's levels (pits + 1,)
        Height of each pit [m].
    leaf : int32 (pits + 1,)
        Node whose catchment holds each pit, -1 outside.
    pits, junctions : list of (first, last)
        By strip; the last of the junctions are those of the whole.
    """

    table: I32
    above: I32
    number: I32
    nodes: int
    level: Floats
    floor: Floats
    leaf: I32
    pits: list[Span]
    junctions: list[Span]


@dataclass(frozen=True)
class _Passes:
    """Pits by the passes they took, sorted, of each strip."""

    orders: list[I32]


@dataclass(frozen=True)
class _Merged:
    """Items and who hands a catchment to whom; junctions: spans by strip, the last one those of the whole."""

    items: I32
    hand: I32
    junctions: list[Span]


@dataclass(frozen=True)
class Forest:
    """The spanning tree of passes by pit, without the raster it came from.

    Attributes
    ----------
    floor, parent, level, lower, code : array (pits + 1,)
        Height of the pit, the others as in `graph.Graph`.
    ends : int32 (pits + 1, 2)
        From `kernels.tree.edges`.
    offsets : int64 (strips + 1,)
        Pits before each strip, and all.
    """

    floor: Floats
    parent: I32
    level: Floats
    lower: Floats
    code: I64
    ends: I32
    offsets: I64

    @property
    def size(self) -> int:
        """How many pits."""
        return int(self.parent.size) - 1

    @property
    def pits(self) -> list[Span]:
        """Labels of each strip's pits, half open."""
        return [(int(a) + 1, int(b) + 1) for a, b in zip(self.offsets[:-1], self.offsets[1:], strict=True)]


def forest_of(net: Graph, crew: Crew) -> Forest:
    """The forest of a graph in memory.

    Parameters
    ----------
    net : Graph
    crew : Crew

    Returns
    -------
    Forest
    """
    floor = large.empty(net.pits.size, net.z.dtype)
    floor[0] = -np.inf
    floor[1:] = net.z.reshape(-1)[net.pits[1:]]
    ends = large.empty((net.pits.size, 2), np.int32)
    out = Forest(floor, net.parent, net.level, net.lower, net.code, ends, net.offsets)
    line, cols = net.label.reshape(-1), net.z.shape[1]
    which = np.arange(net.pits.size, dtype=np.int32)
    ways = (net.parent, net.level, net.code)
    crew.map(lambda span: kernel.edges(line, 0, cols, ways, which[span[0] : span[1]], ends), out.pits)
    return out


def items_of(net: Forest, crew: Crew, min_depth_m: float) -> Items:
    """Merge pits and number the basins.

    Parameters
    ----------
    net : Forest
        Its ends are marked where they lead out.
    crew : Crew
    min_depth_m : float
        Basins less deep are joined [m].

    Returns
    -------
    Items
        Numbers are the same for any strips.
    """
    passes = _passes(net, crew)
    merged = _merge(net, passes, crew, min_depth_m)
    return _number(net, merged, crew)


def _passes(net: Forest, crew: Crew) -> _Passes:
    """Sort the passes of the spanning tree by strip and from the lowest up."""
    ways, low, ends, pits = (net.parent, net.level, net.code), net.lower, net.ends, net.pits
    top = large.full(net.size + 1, -2, np.int32)
    top[0] = 0
    crew.map(lambda span: kernel.highest_ways(ways, low, span, top), pits)
    told = crew.map(lambda span: kernel.outward(ways, low, top, span, (span[0] - 1, span[1] - 1), ends), pits)
    stray = np.concatenate([t[1] for t in told])
    bounds = net.offsets[1:]
    # what leads out concerns the strip where it begins only
    home = np.searchsorted(bounds, ends[stray, 0])
    beyond = np.where(ends[stray, 1] < 0, home, np.searchsorted(bounds, ends[stray, 1]))
    bits = net.level.view(f"u{net.level.itemsize}")

    def order(k: int) -> I32:
        mine = np.concatenate([told[k][0], stray[(home == k) | (beyond == k)]])
        ordered: I32 = sort.in_order(mine, bits, low, net.code)
        return ordered

    return _Passes(crew.map(order, range(len(pits))))


def _merge(net: Forest, passes: _Passes, crew: Crew, min_depth_m: float) -> _Merged:
    """Merge strip by strip, then what was put off."""
    n, pits, floor = net.size, net.pits, net.floor
    # memory of what is put off and never comes is never touched
    items = large.empty((3 * n + 1, kernel.COLUMNS), np.int32)
    group = large.zeros((n + 1, 2), np.int32)
    tainted, hand = large.zeros(n + 1, np.uint8), large.full(n + 1, -1, np.int32)
    state = (items, group, tainted, hand)
    ground = (net.ends, net.level)

    def strip(k: int) -> tuple[I32, int]:
        span = pits[k]
        kernel.clear(items, group, span)
        own = (span[0] - 1, span[1] - 1)
        later, end = kernel.merge(passes.orders[k], ground, floor, state, own, n + span[0], min_depth_m)
        return later, int(end)

    told = crew.map(strip, range(len(pits)))
    later = np.concatenate([t[0] for t in told])
    junctions = [(n + span[0], t[1]) for span, t in zip(pits, told, strict=True)]
    tainted[:] = 0
    order = sort.in_order(later, net.level.view(f"u{net.level.itemsize}"), net.lower, net.code)
    _, end = kernel.merge(order, ground, floor, state, (0, n), 2 * n + 1, min_depth_m)
    return _Merged(items[: int(end)], hand, [*junctions, (2 * n + 1, int(end))])


def _number(net: Forest, merged: _Merged, crew: Crew) -> Items:
    """Number the nodes."""
    items, level, floor, pits = merged.items, net.level, net.floor, net.pits
    n, strips = net.size, range(len(pits))
    above = large.full(items.shape[0], -2, np.int32)
    above[0] = 0
    number.around(items, level, merged.junctions[-1], above)
    crew.map(lambda k: number.around(items, level, merged.junctions[k], above), strips)
    crew.map(lambda k: number.around_pits(items, level, pits[k], above), strips)
    parts = [*zip(pits, merged.junctions, strict=False), ((0, 0), merged.junctions[-1])]
    roots = np.concatenate(crew.map(lambda part: number.roots(items, above, part), parts))
    inner = large.empty(items.shape[0], np.int32)
    inner[0] = -1
    count = number.number_roots(_roots_in_order(items, level, floor, roots, crew), items, inner)
    number.hand_down(items, above, parts[-1], inner)
    crew.map(lambda part: number.hand_down(items, above, part, inner), parts[:-1])
    crew.map(lambda k: number.innermost(items, above, pits[k], inner), strips)
    leaf = large.full(n + 1, -2, np.int32)
    leaf[0] = -1
    crew.map(lambda k: number.catchments(merged.hand, inner, items, pits[k], leaf), strips)
    return Items(items, above, inner, count, level, floor, leaf, pits, merged.junctions)


def _roots_in_order(items: I32, level: Floats, floor: Floats, roots: I32, crew: Crew) -> I32:
    """Outermost nodes by spill level, floor, and pit: the lower and the higher half at once."""
    spill = level[items[roots, kernel.VIA]]
    middle = np.median(spill[:: max(1, roots.size // 1000)]) if roots.size else 0.0

    def order(half: NDArray[np.bool_]) -> I32:
        part, levels = roots[half], spill[half]
        pit = items[part, kernel.FLOOR]
        every = np.arange(part.size, dtype=np.int32)
        ordered: I32 = part[sort.in_order(every, levels.view(f"u{levels.itemsize}"), floor[pit], pit.astype(np.int64))]
        return ordered

    low = spill < middle
    return np.concatenate(crew.map(order, (low, ~low)))
