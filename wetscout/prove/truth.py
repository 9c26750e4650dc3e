"""The exact answers: natural basins of the ground before digging, what is left of them, and where they were cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from wetscout.prove.fields import sample
from wetscout.prove.flood import Node, fill_level, labels_of, nodes_of, passes_of
from wetscout.prove.found import inside
from wetscout.prove.joined import comes_from_above, joined_pool
from wetscout.prove.landscape import Crossing, TrueBasin, TrueLine
from wetscout.records import BOOL, F32, F64, I32, Patch

# Hollows that meet are kept apart when both are this deep there [m].
PERSISTENCE_M = 0.06
# Smallest natural basin listed: under the smallest that is scored (0.15 m, 0.04 ha).
LEAST_DEPTH_M, LEAST_AREA_M2 = 0.12, 250.0
# A basin is drained, partly drained or whole by what today's ground still holds.
DRAINED_LOST, DRAINED_LEFT = 0.7, 0.35
TRACE_LOST, TRACE_LEFT = 0.1, 0.9
# On the rim: the ground beside the ditch stands this close to the spill level [m] (findings on plugs).
RIM_M = 0.05
_EDGE_M = 6.0


@dataclass(frozen=True)
class Works:
    """What people built: ditches, and height of road fill [m] (rows, cols)."""

    ditches: tuple[TrueLine, ...]
    fill: F32


@dataclass(frozen=True)
class Pool:
    """Cells of one natural basin and its numbers."""

    node: Node
    parent: int
    patch: Patch
    area_m2: float
    volume_m3: float


def natural_pools(ground: F32, cell_m: float) -> list[Pool]:
    """List the natural basins of a surface, children before parents.

    Parameters
    ----------
    ground : float32 (rows, cols)
        [m].
    cell_m : float
        [m].

    Returns
    -------
    list of Pool
        `parent` counts in this list; -1 none.
    """
    labels, floor = labels_of(ground)
    nodes = nodes_of(labels, floor, passes_of(ground, labels), PERSISTENCE_M)
    windows = ndimage.find_objects(labels)
    kept: dict[int, int] = {}
    pools: list[Pool] = []
    for number, node in enumerate(nodes):
        if node.spill_m - node.floor_m < LEAST_DEPTH_M:
            continue
        patch = _patch(ground, labels, node, windows)
        area = float(np.count_nonzero(patch.mask)) * cell_m**2
        if area < LEAST_AREA_M2:
            continue
        depth = node.spill_m - _under(ground, patch)[patch.mask].astype(np.float64)
        kept[number] = len(pools)
        pools.append(Pool(node, -1, patch, area, float(depth.sum()) * cell_m**2))
    return [
        Pool(p.node, _parent(n, nodes, kept), p.patch, p.area_m2, p.volume_m3) for n, p in zip(kept, pools, strict=True)
    ]


def _under(raster: F32, patch: Patch) -> F32:
    rows, cols = patch.mask.shape
    return raster[patch.row0 : patch.row0 + rows, patch.col0 : patch.col0 + cols]


def _patch(ground: F32, labels: I32, node: Node, windows: list[tuple[slice, slice] | None]) -> Patch:
    boxes = [w for w in (windows[p - 1] for p in node.pits) if w is not None]
    r0, r1 = min(w[0].start for w in boxes), max(w[0].stop for w in boxes)
    c0, c1 = min(w[1].start for w in boxes), max(w[1].stop for w in boxes)
    wanted = np.zeros(int(labels.max()) + 1, dtype=np.bool_)
    wanted[list(node.pits)] = True
    mask = wanted[labels[r0:r1, c0:c1]] & (ground[r0:r1, c0:c1] < np.float32(node.spill_m))
    rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    cut = np.ascontiguousarray(mask[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1])
    return Patch(int(r0 + rows[0]), int(c0 + cols[0]), cut)


def _parent(number: int, nodes: list[Node], kept: dict[int, int]) -> int:
    """Nearest listed ancestor."""
    for upper in range(number + 1, len(nodes)):
        if number in nodes[upper].children:
            return kept[upper] if upper in kept else _parent(upper, nodes, kept)
    return -1


def true_basins(ground: F32, opened: F32, cell_m: float, works: Works) -> tuple[TrueBasin, ...]:
    """Tell what became of each natural basin.

    Parameters
    ----------
    ground : float32 (rows, cols)
        Natural ground [m].
    opened : float32 (rows, cols)
        Today's ground, culverts open, no noise [m].
    cell_m : float
        [m].
    works : Works

    Returns
    -------
    tuple of TrueBasin
        Children before parents.
    """
    today = fill_level(opened)
    pools = natural_pools(ground, cell_m)
    return tuple(_basin(i, pool, (ground, opened, today), cell_m, works) for i, pool in enumerate(pools))


def _basin(number: int, pool: Pool, surfaces: tuple[F32, F32, F32], cell_m: float, works: Works) -> TrueBasin:
    ground, opened, today = surfaces
    node, patch = pool.node, pool.patch
    spill, depth = node.spill_m, node.spill_m - node.floor_m
    natural = _under(ground, patch)[patch.mask].astype(np.float64)
    level = np.minimum(_under(today, patch)[patch.mask].astype(np.float64), spill)
    deep = natural <= node.floor_m + 0.3 * depth
    today_m = float(np.median(level[deep]))
    lost = (spill - max(today_m, node.floor_m)) / depth
    left = float(np.clip(level - natural, 0, None).sum()) * cell_m**2 / max(pool.volume_m3, 1e-9)
    drained = lost >= DRAINED_LOST and left <= DRAINED_LEFT
    partial = not drained and (lost >= TRACE_LOST or left <= TRACE_LEFT)
    crossings = _crossings(pool, ground, works, cell_m) if drained or partial else ()
    ways = [c for c in crossings if c.outflow]
    kinds = {works.ditches[c.line_id].kind for c in ways}
    under = any(c.under_road for c in ways)
    by = "" if not (drained or partial) else "ditch under road" if under else "ditch"
    if by == "ditch" and kinds == {"deepened outlet"}:
        by = "deepened outlet"
    gap = max(2, round(_EDGE_M / cell_m))
    rows, cols = ground.shape
    edge = patch.row0 < gap or patch.col0 < gap
    edge = edge or patch.row0 + patch.mask.shape[0] > rows - gap or patch.col0 + patch.mask.shape[1] > cols - gap
    return TrueBasin(
        node_id=number,
        parent_id=pool.parent,
        family=node.floor_pit,
        pool=patch,
        spill_m=spill,
        floor_m=node.floor_m,
        depth_m=depth,
        area_m2=pool.area_m2,
        volume_m3=pool.volume_m3,
        today_m=today_m,
        left=left,
        drained=drained,
        partial=partial,
        drained_by=by,
        under_road=under,
        crossings=crossings,
        starts_here=not any(_enters(pool, line, works.ditches, (ground, opened), cell_m) for line in works.ditches),
        at_edge=bool(edge),
    )


def _enters(pool: Pool, line: TrueLine, lines: Sequence[TrueLine], surfaces: tuple[F32, F32], cell_m: float) -> bool:
    """Whether a ditch comes from outside a pool onto ground that is joined to its floor."""
    if line.kind == "roadside" or not inside(pool.patch, line.row, line.col).any():
        return False
    area = joined_pool(pool.patch, *surfaces, (pool.node.floor_m, pool.node.spill_m))
    return comes_from_above(line, pool.patch, area, lines, cell_m)


def _crossings(pool: Pool, ground: F32, works: Works, cell_m: float) -> tuple[Crossing, ...]:
    out: list[Crossing] = []
    for line in works.ditches:
        wet = inside(pool.patch, line.row, line.col)
        if not wet.any():
            continue
        beside = sample(ground, line.col, line.row, 1.0)
        first, last = int(np.argmax(wet)), wet.size - 1 - int(np.argmax(wet[::-1]))
        if last < wet.size - 1:
            out += _crossing(pool, line, (beside, works.fill), cell_m, np.arange(last, wet.size))
        if first > 0:
            out += _crossing(pool, line, (beside, works.fill), cell_m, np.arange(first, -1, -1))
    return tuple(out)


def _crossing(
    pool: Pool, line: TrueLine, around: tuple[F64, F32], cell_m: float, run: NDArray[np.int64]
) -> list[Crossing]:
    """One rim crossing; `run` walks the stations from the pool outwards, downstream where water leaves."""
    beside, fill = around
    outflow = bool(run[-1] > run[0])
    spill = pool.node.spill_m
    if line.level_m[run[: max(2, round(3 / cell_m))]].min() > spill - RIM_M:
        return []
    ground = beside[run]
    # as far as the ground holds the pool; it ends where the ground falls away behind the rim
    falls = np.flatnonzero(ground[2:] < spill - RIM_M)
    # and no further than 100 m: a plug far off on level land holds the pool, but nobody would look for it there
    end = min(int(falls[0]) + 2 if falls.size else run.size, max(2, round(100 / cell_m)))
    held = ground[:end]
    crest = int(np.argmax(held >= held[: max(2, round(60 / cell_m))].max() - RIM_M))
    on_rim = np.abs(held - spill) <= RIM_M
    on_rim[0] = True
    on_rim[min(crest, end - 1)] = True
    at = run[:end][on_rim]
    span = run[: max(crest + 1, 2)]
    raised = sample(fill, line.col[span], line.row[span], 1.0) > 0.1
    return [Crossing(line.line_id, line.row[at], line.col[at], outflow, bool(raised.any()))]


def near_mask(pools: list[Pool], shape: tuple[int, int], cell_m: float, reach_m: float) -> BOOL:
    """Mark basins and what lies within reach of them.

    Parameters
    ----------
    pools : list of Pool
    shape : (rows, cols)
    cell_m, reach_m : float
        [m].

    Returns
    -------
    bool (rows, cols)
    """
    mask: BOOL = np.zeros(shape, dtype=np.bool_)
    for pool in pools:
        rows, cols = pool.patch.mask.shape
        mask[pool.patch.row0 : pool.patch.row0 + rows, pool.patch.col0 : pool.patch.col0 + cols] |= pool.patch.mask
    size = 2 * round(reach_m / cell_m) + 1
    wide = ndimage.maximum_filter1d(ndimage.maximum_filter1d(mask, size, axis=0), size, axis=1)
    return np.asarray(wide, dtype=np.bool_)
