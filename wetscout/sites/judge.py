"""Which natural basins lost their water, and which of nested ones is offered."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from wetscout.records import BOOL, F32, F64, Surfaces, Tree
from wetscout.settings.sites import SiteSettings
from wetscout.sites.nest import Nest


@dataclass(frozen=True)
class Measures:
    """One row a node of the natural tree; NaN where the node is too small to be looked at.

    Attributes
    ----------
    spill, floor, today, witness : float64 (n,)
        Natural spill (lifted for noise), floor, level at which water over the floor leaves today, spill of the
        cautious surface over the same floor [m].
    lost : float64 (n,)
        spill - today [m].
    cut, whole : bool (n,)
        The rim is cut; the rim holds.
    looked : bool (n,)
        Large and deep enough.
    floor_at : int64 (n, 2)
        Floor cell outside the corridors.
    left : float64 (n,)
        Share of a cut pool's water that today's ground still holds, 0-1; NaN for all others.
    pit : float64 (n,)
        Level up to which a pit reaches that was dug into the pool [m], minus infinity without one: all the others are
        those of the pool without its pit.
    """

    spill: F64
    floor: F64
    today: F64
    witness: F64
    lost: F64
    cut: BOOL
    whole: BOOL
    looked: BOOL
    floor_at: np.ndarray
    left: F64
    pit: F64


def lift(noise_m: float, cell_m: float, s: SiteSettings) -> float:
    """How far a spill level read at a pass lies too low because of noise.

    The lowest pass of a noisy rim leans down by about the noise of a 1 m cell; measured noise falls with cell size as
    cells average, less so when noise is correlated, hence the square root (own trials, 2026).

    Parameters
    ----------
    noise_m : float
        Measured noise [m].
    cell_m : float
        Cell size [m].
    s : SiteSettings

    Returns
    -------
    float
        [m]
    """
    return s.noise_lift * noise_m * float(np.sqrt(max(cell_m, 1.0)))


def too_wide(tree: Tree, cell_m: float, s: SiteSettings) -> BOOL:
    """Nodes wider than a screen can judge: lakes and whole plains. What lies inside them is looked at.

    Parameters
    ----------
    tree : Tree
    cell_m : float
        Cell size [m].
    s : SiteSettings
        `window_most_m2`.

    Returns
    -------
    bool (n,)
    """
    box = tree.bbox.astype(np.float64)
    wide: BOOL = (box[:, 2] - box[:, 0]) * (box[:, 3] - box[:, 1]) * cell_m**2 > s.window_most_m2
    return wide


def measure(
    surfaces: Surfaces,
    tree: Tree,
    filled: tuple[F32, F32],
    noise: tuple[float, float],
    scale: tuple[float, SiteSettings],
    each: Callable[..., list[Any]] | None = None,
) -> Measures:
    """Measure every node that is large enough.

    Parameters
    ----------
    surfaces : Surfaces
    tree : Tree
        Of the natural surface.
    filled : (float32 (rows, cols), float32 (rows, cols))
        Today's and the cautious surface, depressions raised to their spill levels [m].
    noise : (float, float)
        Measured noise, and the lift of spill levels [m].
    scale : (float, SiteSettings)
        Cell size [m] and limits.
    each : callable, optional
        Calls a function on each of many things, answers in their order; one by one by default.

    Returns
    -------
    Measures
    """
    cell_m, s = scale
    table = tree.table
    n = len(table)
    noise_m, lifted = noise
    spill = table["spill_m"].to_numpy(dtype=np.float64).copy()
    floor = table["floor_m"].to_numpy(dtype=np.float64).copy()
    area = table["area_m2"].to_numpy(dtype=np.float64)
    looked = (spill - floor >= s.min_depth_m - lifted) & (area >= s.min_area_m2) & ~too_wide(tree, cell_m, s)
    today = np.full(n, np.nan)
    witness = np.full(n, np.nan)
    left = np.full(n, np.nan)
    pit = np.full(n, -np.inf)
    floor_at = np.column_stack([table["floor_row"], table["floor_col"]]).astype(np.int64)

    def is_cut(depth: Any, lost: Any, held: Any = np.inf) -> Any:
        # by the level over the floor, or nearly so and by most of the water
        clear = (held <= s.left_share) & (lost >= 2.0 * s.lost_min_m)
        share = np.where(clear, s.lost_least, s.lost_share)
        return (lost >= share * depth) & (lost >= max(s.lost_min_m, s.lost_noise * noise_m))

    def pools(top: int) -> None:
        inside = nodes[np.searchsorted(nodes, tree.first[top]) : np.searchsorted(nodes, top) + 1]
        for i, pool in Nest.of(tree, top, surfaces, filled).pools(tree, inside):
            found = pool.measured(float(spill[i]), s)
            looked[i] = found is not None
            if found is not None:
                floor[i], today[i], witness[i], pit[i] = found.floor, found.today, found.witness, found.pit
                floor_at[i] = found.floor_at
                if is_cut(spill[i] - floor[i], spill[i] - today[i]) or pool.may_hold_little(float(spill[i]), s):
                    left[i] = pool.left(float(spill[i]), found.pit)

    nodes = np.flatnonzero(looked)
    tops: list[int] = []
    for node in nodes[::-1].tolist():
        # a node follows all that lie inside it
        if not tops or node < tree.first[tops[-1]]:
            tops.append(node)
    deque(map(pools, tops) if each is None else each(pools, tops), maxlen=0)
    depth = spill - floor
    cut = looked & is_cut(depth, spill - today, left)
    for i, k in drained_through(tree, cut, left, s):
        if is_cut(depth[i], spill[i] - today[k]):
            cut[i], today[i], floor_at[i] = True, today[k], floor_at[k]
    left[~cut] = np.nan
    lost = spill - today
    whole = looked & (lost <= np.maximum(max(0.05, 2.0 * noise_m), 0.1 * depth))
    return Measures(
        spill + lifted, floor, today, witness + lifted, lost + lifted, cut, whole, looked, floor_at, left, pit
    )


def drained_through(tree: Tree, cut: BOOL, left: F64, s: SiteSettings) -> list[tuple[int, int]]:
    """Pools that lost their water though most of their floor did not: a pocket as deep stands full beside it.

    Parameters
    ----------
    tree : Tree
    cut : bool (n,)
        Pools that lost it by the level over their own floor.
    left : float64 (n,)
        Share of its water that today's ground holds; NaN where it is much, and not asked for.
    s : SiteSettings
        `left_share`.

    Returns
    -------
    list of (int, int)
        The pool, and the one within, cut itself, that lost most water.
    """
    parent, volume = tree.table["parent"].to_numpy(dtype=np.int64), tree.table["volume_m3"].to_numpy()
    through = np.where(cut, np.arange(cut.size), -1)
    most = np.where(cut, (1.0 - left) * volume, 0.0)
    out: list[tuple[int, int]] = []
    for i in range(cut.size):
        # a node follows all that lie inside it
        if not cut[i] and through[i] >= 0 and left[i] <= s.left_share:
            out.append((i, int(through[i])))
        up = parent[i]
        if up >= 0 and through[i] >= 0 and not cut[up] and most[i] > most[up]:
            through[up], most[up] = through[i], most[i]
    return out


def holds(m: Measures, i: int, s: SiteSettings) -> bool:
    """Whether the cautious surface agrees that this basin holds water.

    Parameters
    ----------
    m : Measures
        Measures of all basins.
    i : int
        Number of the basin.
    s : SiteSettings
        Limits.

    Returns
    -------
    bool
    """
    depth = m.spill[i] - m.floor[i]
    held = m.witness[i] - m.floor[i]
    return bool(held >= s.witness_share * depth and m.spill[i] - m.witness[i] <= s.witness_drop_m)


def inner_pools(tree: Tree, m: Measures, i: int, children: list[list[int]], s: SiteSettings) -> list[int]:
    """The pools inside a node that is only a thin sheet over them, or pools that meet at the brim.

    Flat ground joins a pool at nearly its level; what a person would see is the pool, so a node that is
    `sheet_spread` times larger than what it holds `sheet_rise_m` lower is left for it. Pools that meet within
    `brim_m` of their common spill are offered one by one: levels are not known better than that. A hollow beside the
    pool, not drained itself, that joins it less than `same_level_m` below the spill is not of the pool either.

    Parameters
    ----------
    tree : Tree
    m : Measures
    i : int
        A cut node.
    children : list of list of int
    s : SiteSettings

    Returns
    -------
    list of int
        Nodes to look at instead; empty when the node stands for itself.
    """
    area = tree.table["area_m2"].to_numpy()
    spill = tree.table["spill_m"].to_numpy()
    at = i
    aside: list[int] = []
    while True:
        below = [k for k in children[at] if m.looked[k]]
        if not below:
            return []
        rise = spill[i] - max(spill[k] for k in below)
        if rise > min(s.sheet_rise_m, s.sheet_share * (spill[i] - m.floor[i])):
            return []
        largest = max(area[k] for k in below)
        cut = [k for k in below if m.cut[k]]
        if not cut:
            return []
        # several drained pools that meet are no sheet over the largest
        held = max(largest, sum(area[k] for k in cut))
        # a pool beside them may stand, and hold a smaller one that was drained
        aside += [j for k in below if not m.cut[k] for j in lower_nodes(tree, m, k, children, 0.0)]
        if held * s.sheet_spread <= area[at] and _spread_depth(tree, i, below, rise) <= s.sheet_depth_m:
            return cut + aside
        if rise <= s.same_level_m and largest * s.same_spread <= area[at]:
            return cut + aside
        if len(cut) > 1:
            return cut + aside if rise <= s.brim_m else []
        at = cut[0]


def _spread_depth(tree: Tree, i: int, below: list[int], rise: float) -> float:
    """Mean depth at a node's spill of the ground that it wets beyond the pools inside it [m]."""
    area, volume = tree.table["area_m2"].to_numpy(), tree.table["volume_m3"].to_numpy()
    spill = tree.table["spill_m"].to_numpy()
    inside = sum(volume[k] + (spill[i] - spill[k]) * area[k] for k in below)
    return float((volume[i] - inside) / max(area[i] - sum(area[k] for k in below), 1e-9))


def lower_nodes(tree: Tree, m: Measures, i: int, children: list[list[int]], step_m: float) -> list[int]:
    """The first cut nodes below a node that stand at least `step_m` lower or cover less than half of it.

    One on each branch. The step spares nodes that differ by a film of water; a side pool is a basin of its own however
    little lower it stands.

    Parameters
    ----------
    tree : Tree
    m : Measures
    i : int
    children : list of list of int
    step_m : float
        [m]

    Returns
    -------
    list of int
    """
    spill, area = tree.table["spill_m"].to_numpy(), tree.table["area_m2"].to_numpy()
    out: list[int] = []
    stack = list(children[i])
    while stack:
        k = stack.pop()
        if not m.looked[k]:
            continue
        if m.cut[k] and (spill[k] <= spill[i] - step_m or 2.0 * area[k] < area[i]):
            out.append(k)
        else:
            stack.extend(children[k])
    return sorted(out)


def children_of(tree: Tree) -> list[list[int]]:
    """Children of every node, from the parent column.

    Parameters
    ----------
    tree : Tree

    Returns
    -------
    list of list of int
    """
    parent = tree.table["parent"].to_numpy(dtype=np.int64)
    children: list[list[int]] = [[] for _ in range(parent.size)]
    for i in np.flatnonzero(parent >= 0):
        children[parent[i]].append(int(i))
    return children
