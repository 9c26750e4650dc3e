"""Hollows that a road divides, made whole: the road's fill is no rim."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy import ndimage

from wetscout.buried.hollows import Hollow
from wetscout.kernels.pool_window import pool_heights
from wetscout.records import BOOL, CUT, FILL, Patch, Surfaces, Tree
from wetscout.settings.buried import BuriedSettings

# levels nearer than this are the same [m]
_LEVEL_M = 0.02
# ground joined to a hollow without crossing a road is at most so many times its own: more is another basin
_OWN = 1.25


def whole_of(hollow: Hollow, natural: Tree, surfaces: Surfaces, s: BuriedSettings) -> Hollow | None:
    """The natural basin of which a hollow is the part on one side of a road.

    A road raised across a hollow leaves two closed ones. On the natural surface its fill is taken off: the highest
    basin there that stands no higher than the hollow holds both parts. The other part must lie behind road fill; where
    it is joined to the hollow over open ground, something else parts them.

    Parameters
    ----------
    hollow : Hollow
        Of the ground as surveyed.
    natural : Tree
        Of the natural surface.
    surfaces : Surfaces
    s : BuriedSettings
        `whole_times`, `held_drop_m`, `held_share`, `max_area_m2`.

    Returns
    -------
    Hollow or None
        With the number of that basin in `whole`, its zone as it was; None where no road divides one.
    """
    node = _basin_at(hollow, natural, s)
    column = {name: natural.table[name].to_numpy() for name in ("area_m2", "spill_m", "spill_row", "spill_col", "edge")}
    area = float(column["area_m2"][node]) if node >= 0 else 0.0
    if not s.whole_times * hollow.area_m2 <= area <= s.max_area_m2:
        return None
    first, (r0, c0, r1, c1) = int(natural.first[node]), (int(v) for v in natural.bbox[node])
    box = (slice(r0, r1), slice(c0, c1))
    labels, corridor = natural.labels[box], surfaces.corridor[box]
    mask = (labels >= first) & (labels <= node)
    if not _behind_a_road(hollow, Patch(r0, c0, mask), (corridor & FILL) > 0):
        return None
    free = int(np.count_nonzero(mask & ((corridor & (CUT | FILL)) == 0)))
    if not free:
        return None
    heights, k = pool_heights(labels, first, node, surfaces.smooth[box], corridor, CUT | FILL, free)
    return replace(
        hollow,
        pool=Patch(r0, c0, mask),
        spill_m=float(column["spill_m"][node]),
        floor_m=float(np.partition(heights, int(0.01 * free))[int(0.01 * free)]),
        floor_at=(r0 + k // mask.shape[1], c0 + k % mask.shape[1]),
        spill_at=(int(column["spill_row"][node]), int(column["spill_col"][node])),
        area_m2=area,
        edge=bool(column["edge"][node]),
        whole=node,
    )


def apart_from_whole(hollows: Sequence[Hollow]) -> tuple[Hollow, ...]:
    """Leave out hollows that lie in one made whole, but for the one it was made of.

    Parameters
    ----------
    hollows : sequence of Hollow

    Returns
    -------
    tuple of Hollow
        In the order given.
    """
    made = sorted((h for h in hollows if h.whole >= 0), key=lambda h: (-h.area_m2, h.node))
    kept: list[Hollow] = []
    for hollow in made:
        if not any(_holds(other, hollow.floor_at) for other in kept):
            kept.append(hollow)
    nodes = {hollow.node for hollow in kept}
    return tuple(
        h for h in hollows if h.node in nodes or (h.whole < 0 and not any(_holds(k, h.floor_at) for k in kept))
    )


def _holds(hollow: Hollow, at: tuple[int, int]) -> bool:
    row, col = at[0] - hollow.pool.row0, at[1] - hollow.pool.col0
    rows, cols = hollow.pool.mask.shape
    return bool(0 <= row < rows and 0 <= col < cols and hollow.pool.mask[row, col])


def _basin_at(hollow: Hollow, natural: Tree, s: BuriedSettings) -> int:
    """The highest natural basin around the floor of a hollow that stands as high, -1 where none does."""
    parent = natural.table["parent"].to_numpy(dtype=np.int64)
    spill = natural.table["spill_m"].to_numpy(dtype=np.float64)
    at = int(natural.labels[hollow.floor_at])
    if at < 0 or spill[at] > hollow.spill_m + _LEVEL_M:
        return -1
    while parent[at] >= 0 and spill[parent[at]] <= hollow.spill_m + _LEVEL_M:
        at = int(parent[at])
    # a road may hold water higher than the ground does, as in `Chooser`
    drop = max(s.held_drop_m, s.held_share * (hollow.spill_m - hollow.floor_m))
    return at if spill[at] >= hollow.spill_m - drop else -1


def _behind_a_road(hollow: Hollow, whole: Patch, road: BOOL) -> bool:
    """Whether what a basin has beyond a hollow lies on the other side of road fill."""
    parts, _ = ndimage.label(whole.mask & ~road, np.ones((3, 3), dtype=np.int8))
    h, w = whole.mask.shape
    own = np.zeros((h, w), dtype=np.bool_)
    row, col = np.nonzero(hollow.pool.mask)
    row, col = row + hollow.pool.row0 - whole.row0, col + hollow.pool.col0 - whole.col0
    ok = (row >= 0) & (col >= 0) & (row < h) & (col < w)
    own[row[ok], col[ok]] = True
    shared = np.bincount(parts[own], minlength=int(parts.max()) + 1)
    joined = np.isin(parts, np.flatnonzero(shared)) & (parts > 0)
    return bool(road[whole.mask].any() and np.count_nonzero(joined & ~own) <= (_OWN - 1.0) * np.count_nonzero(own))
