"""Where the search for covered drains meets the rest: hollows open drains do not explain, wet ground without a rim."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wetscout.basins import fill, tree_of
from wetscout.buried import (
    Chooser,
    Hollow,
    OpenWays,
    Searcher,
    apart_from_whole,
    banks_of,
    covered_site,
    cut_depth,
    one_a_basin,
    wet_ground,
    whole_of,
    without_banks,
)
from wetscout.buried.open_ways import BLUR_CELL_M
from wetscout.evidence import wet_soil, zone_of
from wetscout.records import F32, FILL, U8, Basin, Patch, Screen, Site, Tree
from wetscout.records_covered import Evidence, Zone
from wetscout.settings import Settings
from wetscout.sites.turned_down import PLUGGED
from wetscout.steps.plan import Plan

# a hollow and a site are one place from this share of their ground on (intersection over union)
_SAME = 0.5
# a hollow is explained by an open drain's pool that holds this share of it, or lies in it with this share
_COVERED = 0.3
# it lies inside that pool from this share of its ground on
_INSIDE = 0.9


def add_covered(
    screen: Screen, settings: Settings, evidence: Evidence | None = None, plan: Plan | None = None
) -> Screen:
    """Add the sites that a covered pipe may drain, and the wet ground that no rim holds.

    Parameters
    ----------
    screen : Screen
        With surfaces, tree, basins and the sites of open drains.
    settings : Settings
    evidence : Evidence or None
        Soils and land cover, where given.
    plan : Plan, optional
        Threads.

    Returns
    -------
    Screen
    """
    surfaces, terrain = screen.surfaces, screen.terrain
    if surfaces is None:
        return screen
    s, cell_m, plan = settings.buried, terrain.grid.cell_m, plan or Plan()

    def zone_at(pool: Patch) -> Zone:
        return Zone() if evidence is None else zone_of(evidence, pool, settings.evidence)

    told = None if evidence is None else zone_at

    least = settings.sites.persistence_m
    asis = tree_of(surfaces.smooth, terrain.hole, cell_m=cell_m, min_depth_m=least, workers=plan.workers)
    bare = without_banks(surfaces.natural, cell_m, s, plan.each)
    held, bank = fill(bare), banks_of(surfaces.natural, bare, s)
    shown = cut_depth(surfaces, cell_m, plan.each)
    ways = OpenWays(screen.linework, surfaces, (shown, bank), cell_m, s)

    hollows = Chooser(terrain, surfaces, asis, held, told, s).choose(plan.each, ways.plugged, ways.drain)
    if screen.tree is not None:
        hollows = one_a_basin(hollows, screen.tree, s)
    hollows, hidden = _apart(_unplugged(hollows, screen), screen, shown, settings)
    hollows, hidden = _whole(hollows, hidden, (screen, shown, ways, told), settings)
    looked = Searcher(terrain, surfaces, screen.linework, shown, s).run(
        hollows, plan.each, lambda h: h.within or ways.begins(h), ways.behind
    )
    # a site leaves the list of open drains only where it stands on the other one
    gone = {site_id for one in looked for site_id in hidden.get(one.hollow.node, ())}
    sites = tuple(site for site in screen.sites if site.site_id not in gone)
    covered = tuple(
        covered_site(one, f"c{k}", _catchment(one.hollow, asis, screen.tree), terrain, surfaces, s)
        for k, one in enumerate(looked, start=1)
    )
    ground = _ground(screen, settings, evidence)
    counts = {
        **screen.run.get("counts", {}),
        "sites": len(sites),
        "hollows_looked_at": len(hollows),
        "covered_sites": len(covered),
        "wet_ground_no_rim": len(ground),
    }
    return replace(screen, sites=(*sites, *covered), wet_ground=ground, run={**screen.run, "counts": counts})


def _unplugged(hollows: tuple[Hollow, ...], screen: Screen) -> tuple[Hollow, ...]:
    """Hollows but those that were turned down as drained by an open ditch which earth fills again at the rim.

    In wide cells only: in fine ones the ground itself tells a plug from backfill (one covered drain of five squares at
    1 m had been lost).
    """
    if screen.terrain.grid.cell_m <= BLUR_CELL_M:
        return hollows
    pools = [one.pool for one in screen.not_offered if one.reason == PLUGGED]
    boxes = _boxes(pools)

    def same(hollow: Hollow) -> bool:
        # only those whose windows meet: all against all grows with the square of a county
        return any(_shared(hollow.pool, pools[k])[0] >= _SAME for k in _meeting(boxes, hollow.pool))

    return tuple(h for h in hollows if not same(h))


def _apart(
    hollows: tuple[Hollow, ...], screen: Screen, shown: F32, settings: Settings
) -> tuple[tuple[Hollow, ...], dict[int, tuple[str, ...]]]:
    """Hollows that open drains do not explain, and by hollow the sites that would be covered drains then.

    That is a site whose cut does not show in the ground at the rim, while the ground closes there. Hollows inside the
    larger pool of a site are kept and noted as such.
    """
    if screen.surfaces is None:
        return hollows, {}
    s, corridor = settings.buried, screen.surfaces.corridor
    reach = max(1, round(s.near_road_m / screen.terrain.grid.cell_m))
    kept: list[Hollow] = []
    hidden: dict[int, tuple[str, ...]] = {}
    boxes = _boxes([site.pool for site in screen.sites])
    for hollow in hollows:
        near = [screen.sites[k] for k in _meeting(boxes, hollow.pool)]
        shares = [(*_shared(hollow.pool, site.pool), site) for site in near]
        over = [site for _, part, whole, site in shares if part >= _COVERED or whole >= _COVERED]
        same = [
            site
            for iou, _, _, site in shares
            if iou >= _SAME and not _shows(site, shown, s.shown_cut_m, (corridor, reach))
        ]
        if len(same) == len(over):
            hidden[hollow.node] = tuple(site.site_id for site in same)
            kept.append(hollow)
        elif all(iou < _SAME and (part >= _INSIDE or part < _COVERED > whole) for iou, part, whole, _ in shares):
            # a pocket of a drained basin that the ground closes: a pipe of its own may empty it
            kept.append(replace(hollow, within=True))
    return tuple(kept), hidden


def _whole(
    hollows: tuple[Hollow, ...],
    hidden: dict[int, tuple[str, ...]],
    about: tuple[Screen, F32, OpenWays, Callable[[Patch], Zone] | None],
    settings: Settings,
) -> tuple[tuple[Hollow, ...], dict[int, tuple[str, ...]]]:
    """Parts of hollows that a road divides, whole, unless an open drain leaves or left the other part."""
    screen, shown, ways, told = about
    if screen.tree is None or screen.surfaces is None:
        return hollows, hidden
    out: list[Hollow] = []
    for hollow in hollows:
        whole = whole_of(hollow, screen.tree, screen.surfaces, settings.buried)
        kept, same = ((), {}) if whole is None else _apart((whole,), screen, shown, settings)
        if not kept or ways.drain(kept[0]) or ways.plugged(kept[0]):
            out.append(hollow)
            continue
        hidden = {**hidden, **same}
        out.append(kept[0] if told is None else replace(kept[0], zone=told(kept[0].pool)))
    return apart_from_whole(out), hidden


def _catchment(hollow: Hollow, asis: Tree, natural: Tree | None) -> Patch:
    """What drains into a hollow, over the ground of which it was found."""
    if hollow.whole >= 0 and natural is not None:
        return natural.catchment(hollow.whole)
    return asis.catchment(hollow.node)


def _shows(site: Site, shown: F32, least_m: float, roads: tuple[U8, int]) -> bool:
    """Whether any of a site's cuts shows in the ground where it crosses the rim, or runs under a road."""
    places = [(int(p.values["_row"]), int(p.values["_col"])) for p in site.plugs]
    return any(float(shown[at]) >= least_m or _by_road(*roads, at) for at in places)


def _by_road(corridor: U8, reach: int, at: tuple[int, int]) -> bool:
    """Whether road fill lies within so many steps along rows and columns."""
    box = tuple(slice(max(0, k - reach), k + reach + 1) for k in at)
    r, c = np.nonzero(corridor[box] & FILL)
    return bool((np.abs(r + box[0].start - at[0]) + np.abs(c + box[1].start - at[1]) <= reach).any())


def _box(pool: Patch) -> tuple[int, int, int, int]:
    h, w = pool.shape
    return pool.row0, pool.col0, pool.row0 + h, pool.col0 + w


def _boxes(pools: Sequence[Patch]) -> NDArray[np.int64]:
    """Windows of pools, (n, 4)."""
    return np.array([_box(pool) for pool in pools], dtype=np.int64).reshape(-1, 4)


def _meeting(boxes: NDArray[np.int64], pool: Patch) -> list[int]:
    """Numbers of the windows that share cells with a pool's."""
    r0, c0, r1, c1 = _box(pool)
    meets = (boxes[:, 0] < r1) & (boxes[:, 2] > r0) & (boxes[:, 1] < c1) & (boxes[:, 3] > c0)
    return [int(k) for k in np.flatnonzero(meets)]


def _shared(one: Patch, other: Patch) -> tuple[float, float, float]:
    """Shared cells over the cells of both together, over those of the first, and over those of the second."""
    r0, c0 = max(one.row0, other.row0), max(one.col0, other.col0)
    r1 = min(one.row0 + one.mask.shape[0], other.row0 + other.mask.shape[0])
    c1 = min(one.col0 + one.mask.shape[1], other.col0 + other.mask.shape[1])
    if r1 <= r0 or c1 <= c0:
        return 0.0, 0.0, 0.0
    a = one.mask[r0 - one.row0 : r1 - one.row0, c0 - one.col0 : c1 - one.col0]
    b = other.mask[r0 - other.row0 : r1 - other.row0, c0 - other.col0 : c1 - other.col0]
    both = int((a & b).sum())
    own, its = int(one.mask.sum()), int(other.mask.sum())
    return both / (own + its - both), both / own, both / its


def _ground(screen: Screen, settings: Settings, evidence: Evidence | None) -> tuple[Basin, ...]:
    wet = None if evidence is None else wet_soil(evidence, settings.evidence)
    if evidence is None or wet is None or screen.surfaces is None:
        return ()
    pools = [b.pool for b in screen.basins]
    return wet_ground(screen.terrain, screen.surfaces, screen.linework, (evidence, wet), pools, settings.buried)
