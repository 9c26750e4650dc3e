"""From the spanning tree of passes to numbered basins: strips by themselves, then what spans several."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

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
    table : int32 (items, 6)
        See `kernels.tree`.
    chain : int32 (items, 4)
        See `kernels.number`.
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
    chain: I32
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
    """Passes by the pit that took them, and which belong to each strip."""

    ends: I32
    low: Floats
    level: Floats
    code: I64
    orders: list[I32]


@dataclass(frozen=True)
class _Merged:
    """Items and who hands a catchment to whom; junctions: spans by strip, the last one those of the whole."""

    items: I32
    hand: I32
    junctions: list[Span]


def items_of(net: Graph, crew: Crew, min_depth_m: float) -> Items:
    """Merge the pits of a graph and number the basins.

    Parameters
    ----------
    net : Graph
    crew : Crew
    min_depth_m : float
        Basins less deep are joined [m].

    Returns
    -------
    Items
        Numbers are the same for any strips.
    """
    floor = np.empty(net.pits.size, net.z.dtype)
    floor[0] = -np.inf
    floor[1:] = net.z.reshape(-1)[net.pits[1:]]
    passes = _passes(net, crew)
    merged = _merge(net, passes, floor, crew, min_depth_m)
    return _number(net, passes, floor, merged, crew)


def _pits(net: Graph) -> list[Span]:
    """Labels of each strip's pits, half open."""
    return [(a + 1, b + 1) for a, b in zip(net.offsets[:-1], net.offsets[1:], strict=True)]


def _passes(net: Graph, crew: Crew) -> _Passes:
    """Sort the passes of the spanning tree by strip and from the lowest up."""
    forest = (net.parent, net.level, net.code)
    n = net.pits.size
    ends, low = np.empty((n, 2), np.int32), np.empty(n, net.z.dtype)
    pits = _pits(net)
    crew.map(lambda span: kernel.edges(net.z, net.label, forest, span, ends, low), pits)
    top = np.full(n, -2, np.int32)
    top[0] = 0
    crew.map(lambda span: kernel.highest_ways(forest, low, span, top), pits)
    told = crew.map(lambda span: kernel.outward(forest, low, top, span, (span[0] - 1, span[1] - 1), ends), pits)
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

    return _Passes(ends, low, net.level, net.code, crew.map(order, range(len(pits))))


def _merge(net: Graph, passes: _Passes, floor: Floats, crew: Crew, min_depth_m: float) -> _Merged:
    """Merge strip by strip, then what was put off."""
    n = net.pits.size - 1
    # memory of what is put off and never comes is never touched
    items = np.empty((3 * n + 1, 6), np.int32)
    group = np.zeros((n + 1, 2), np.int32)
    tainted, hand = np.zeros(n + 1, np.uint8), np.full(n + 1, -1, np.int32)
    state = (items, group, tainted, hand)
    ground = (passes.ends, passes.level)

    def strip(k: int) -> tuple[I32, int]:
        span = _pits(net)[k]
        kernel.clear(items, group, span)
        own = (span[0] - 1, span[1] - 1)
        later, end = kernel.merge(passes.orders[k], ground, floor, state, own, n + span[0], min_depth_m)
        return later, int(end)

    told = crew.map(strip, range(len(net.strips)))
    later = np.concatenate([t[0] for t in told])
    junctions = [(n + span[0], t[1]) for span, t in zip(_pits(net), told, strict=True)]
    tainted[:] = 0
    order = sort.in_order(later, passes.level.view(f"u{passes.level.itemsize}"), passes.low, passes.code)
    _, end = kernel.merge(order, ground, floor, state, (0, n), 2 * n + 1, min_depth_m)
    return _Merged(items[: int(end)], hand, [*junctions, (2 * n + 1, int(end))])


def _number(net: Graph, passes: _Passes, floor: Floats, merged: _Merged, crew: Crew) -> Items:
    """Number the nodes."""
    items, level, pits = merged.items, passes.level, _pits(net)
    n, strips = net.pits.size - 1, range(len(pits))
    above = np.full(items.shape[0], -2, np.int32)
    above[0] = 0
    number.around(items, level, merged.junctions[-1], above)
    crew.map(lambda k: number.around(items, level, merged.junctions[k], above), strips)
    crew.map(lambda k: number.around_pits(items, level, pits[k], above), strips)
    chain = np.empty((items.shape[0], 4), np.int32)
    empty = np.zeros(0, np.int32)

    def heads(span: Span, junctions: Span, more: I32) -> I32:
        out = np.empty(span[1] - span[0] + junctions[1] - junctions[0], np.int32)
        count = number.sizes(items, level, floor, above, (span, junctions, more), chain, out)
        return out[:count]

    found = np.concatenate(crew.map(lambda k: heads(pits[k], merged.junctions[k], empty), strips))
    late = above[found] > 2 * n
    roots = np.concatenate([found[~late], heads((0, 0), merged.junctions[-1], found[late])])
    inner = np.empty(items.shape[0], np.int32)
    inner[0] = -1
    count = number.number_roots(_roots_in_order(items, level, floor, roots, crew), chain, inner)
    number.hand_down(items, above, chain, ((0, 0), merged.junctions[-1]), inner)
    crew.map(lambda k: number.hand_down(items, above, chain, (pits[k], merged.junctions[k]), inner), strips)
    crew.map(lambda k: number.innermost(items, above, pits[k], inner), strips)
    leaf = np.full(net.pits.size, -2, np.int32)
    leaf[0] = -1
    crew.map(lambda k: number.catchments(merged.hand, inner, items, pits[k], leaf), strips)
    return Items(items, chain, above, inner, count, level, floor, leaf, pits, merged.junctions)


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
