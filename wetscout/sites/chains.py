"""Sites in a row: which drains to which, what a plug does to the site above, what 1, 2, ... n plugs bring."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from heapq import heapify, heappop, heappush
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.kernels.downhill import follow_down
from wetscout.pieces import distinct
from wetscout.records import F32, U8, Site
from wetscout.records_along import Chain, ChainLink, ChainStep
from wetscout.settings.sites import SiteSettings
from wetscout.sites.enters import dug_to_end
from wetscout.sites.reached import Reached, inside

LEAVES, REACHES, BACKS, DROWNS = "leaves it alone", "reaches its plug", "backs into its pool", "drowns its plug"
EFFECTS = (LEAVES, REACHES, BACKS, DROWNS)

# water is followed from so many places on the floor, which is what lies under this part of the depth
PLACES, DEEP = 9, 0.3
# a way dug over this share of it leads one ditch from pool to pool
DUG_SHARE = 0.9
# in wider cells a ditch is often not told from the ground: "nobody upstream" was said of a field in 5 m cells that
# 860 m of ditch enter in 2 m cells, so there every way counts as one
DUG_CELL_M = 4.0

I64 = NDArray[np.int64]


def find_links(
    sites: Sequence[Site],
    filled_today: F32,
    ground: tuple[F32, F32],
    cell_m: float,
    s: SiteSettings,
    far: U8 | None = None,
) -> tuple[Site, ...]:
    """Note for each site the next one its water reaches today.

    Water is followed over today's surface, depressions raised, from the floor, not along the lines found: a gap in a
    line does not break a row of sites. Not from the first cut either: where a ditch passes through nearly level, that
    may be the cut by which it comes in. Where the floor drains two ways, most of nine places on it decide.

    Parameters
    ----------
    sites : sequence of Site
        `values` hold `_node`, `_floor_row` and `_floor_col`.
    filled_today : float32 (rows, cols)
        Today's surface, depressions raised to their spill levels [m].
    ground : (float32 (rows, cols), float32 (rows, cols))
        Natural ground, ground of today [m].
    cell_m : float
        Cell size [m].
    s : SiteSettings
        `chain_reach_m`, `chain_enter_m`, `upstream_m`.
    far : uint8 (rows, cols), optional
        What is known of level ground; see `follow_down`.

    Returns
    -------
    tuple of Site
        `values` gain `_below` (node of the next site, None when there is none near) and `_below_m` (length of the way).
        Where a way enters as a ditch, or in cells that do not show it, the drain passes through.
    """
    reached = Reached(sites, filled_today, cell_m, s.chain_enter_m)
    far = large.zeros(filled_today.shape, np.uint8) if far is None else far
    found: list[tuple[float, int, int, float]] = []
    dug: dict[int, float] = {}
    for k, site in enumerate(sites):
        rows, cols, hit = _most(k, reached, round(s.chain_reach_m / cell_m), far)
        if hit is not None:
            own = np.flatnonzero(inside(site.pool, rows[: hit[1]], cols[: hit[1]]))
            at = slice(int(own[-1]) if own.size else 0, hit[1] + 1)
            way_m = float(np.hypot(np.diff(rows[at]), np.diff(cols[at])).sum()) * cell_m
            found.append((-float(filled_today[rows[at.start], cols[at.start]]), k, hit[0], way_m))
            dug[k] = dug_to_end(rows[at], cols[at], *ground, cell_m) if cell_m <= DUG_CELL_M else way_m
    links: dict[int, tuple[int, float]] = {}
    # from the highest down; a way that grazes a pool could close a circle, so what would is left out
    for _, k, below, way_m in sorted(found, key=lambda link: (link[0], int(sites[link[1]].values["_node"]))):
        if not _leads_to(below, k, links):
            links[k] = below, way_m
    entering: dict[int, float] = {}
    for above, (below, way_m) in links.items():
        # a short way between two pools is a ditch throughout, or none
        if dug[above] > s.upstream_m or dug[above] >= DUG_SHARE * way_m:
            entering[below] = max(entering.get(below, 0.0), dug[above])
    out = []
    for k, site in enumerate(sites):
        to, away_m = links.get(k, (None, None))
        values = {**site.values, "_below": None if to is None else int(sites[to].values["_node"]), "_below_m": away_m}
        if k in entering:
            # the water of another site comes in, whether or not a line was found all the way
            values["drain_position"] = "passes through"
            values["upstream_ditch_m"] = max(float(values.get("upstream_ditch_m") or 0.0), entering[k])
        out.append(replace(site, values=values))
    return tuple(out)


def _most(k: int, reached: Reached, reach: int, far: U8) -> tuple[I64, I64, tuple[int, int] | None]:
    """A way from one of the places on a floor from which most reach the same site, and where it enters it."""
    filled, votes = reached.filled, dict[int, int]()
    ways: dict[int, tuple[I64, I64, tuple[int, int] | None]] = {}
    for row, col in _floor_places(reached.sites[k], filled):
        rows, cols = np.divmod(follow_down(filled, row, col, reach, far), filled.shape[1])
        hit = reached.first((rows, cols), k)
        to = -1 if hit is None else hit[0]
        votes[to] = votes.get(to, 0) + 1
        ways.setdefault(to, (rows, cols, hit))
        if votes[to] > PLACES // 2:
            break
    # of equals the one met first, that of the lowest place
    return ways[max(votes, key=lambda to: votes[to])]


def _floor_places(site: Site, filled: F32) -> list[tuple[int, int]]:
    """The lowest place of a site, and others spread over the deepest third of its pool."""
    pool, floor = site.pool, (int(site.values["_floor_row"]), int(site.values["_floor_col"]))
    rows, cols = pool.mask.shape
    ground = filled[pool.row0 : pool.row0 + rows, pool.col0 : pool.col0 + cols]
    low = float(filled[floor])
    row, col = np.nonzero(pool.mask & (ground <= low + DEEP * (float(site.values["spill_m"]) - low)))
    at = np.linspace(0, row.size - 1, PLACES - 1).astype(np.int64) if row.size else np.zeros(0, dtype=np.int64)
    return [floor, *zip((row[at] + pool.row0).tolist(), (col[at] + pool.col0).tolist(), strict=True)]


def _leads_to(start: int, end: int, links: Mapping[int, tuple[int, float]]) -> bool:
    at = start
    while at != end and at in links:
        at = links[at][0]
    return at == end


def effect_above(lower: Mapping[str, Any], upper: Mapping[str, Any], plug_bed_m: float, tie_m: float) -> str:
    """What the pool of a plugged site does to the site above it.

    Parameters
    ----------
    lower, upper : mapping
        Fields of both sites.
    plug_bed_m : float
        Bed at the foot of the upper site's plug [m].
    tie_m : float
        Levels nearer than this are the same [m].

    Returns
    -------
    str
        One of `EFFECTS`. `today_m` of the upper site is the lowest level at which water enters it from below, since it
        is the lowest at which water leaves.
    """
    level = float(lower["spill_m"])
    if level >= float(upper["spill_m"]) - tie_m:
        return DROWNS
    if level > float(upper["today_m"]) + tie_m:
        return BACKS
    return REACHES if level > plug_bed_m + tie_m else LEAVES


@dataclass(frozen=True)
class _Row:
    """Sites joined by links, in order downstream, and the place of the next one below each (-1 none)."""

    sites: tuple[Site, ...]
    below: tuple[int, ...]


def join_chains(
    sites: Sequence[Site], natural: F32, cell_m2: float, s: SiteSettings
) -> tuple[tuple[Site, ...], tuple[Chain, ...]]:
    """Put linked sites in order, say what each plug does to the one above and what the best 1, 2, ... n bring.

    Parameters
    ----------
    sites : sequence of Site
        From `find_links`, with their lasting ids. `values` hold `_dry`: the part of the pool without water today.
    natural : float32 (rows, cols)
        Natural ground [m].
    cell_m2 : float
        Cell area [m2].
    s : SiteSettings
        `chain_tie_m`.

    Returns
    -------
    sites : tuple of Site
        In the order given; those of a chain gain `chain_id`, `chain_order`, `chain_n`, `below_id`, `above_effect`,
        `chain_gain`.
    chains : tuple of Chain
        Sorted by id: the lowest site's.
    """
    new = {site.site_id: site for site in sites}
    chains = []
    for row in _rows(sites):
        links = _links(row, s)
        steps = gains(row.sites, [(link.site_id, link.above_id) for link in links], natural, cell_m2, s)
        chain = Chain(row.sites[-1].site_id, tuple(site.site_id for site in row.sites), links, steps)
        chains.append(chain)
        for place, site in enumerate(row.sites):
            new[site.site_id] = replace(site, values={**site.values, **_fields(chain, row, place)})
    return tuple(new[site.site_id] for site in sites), tuple(sorted(chains, key=lambda chain: chain.chain_id))


def _rows(sites: Sequence[Site]) -> list[_Row]:
    """Groups of two and more sites joined by links, farthest from the lowest one first."""
    at = {int(site.values["_node"]): k for k, site in enumerate(sites)}
    below = [-1 if site.values.get("_below") is None else at.get(int(site.values["_below"]), -1) for site in sites]
    end, way = [], []
    for k in range(len(sites)):
        far, j = 0.0, k
        while below[j] >= 0:
            far += float(sites[j].values["_below_m"])
            j = below[j]
        end.append(j)
        way.append(far)
    out = []
    for last in sorted(set(end), key=lambda k: sites[k].site_id):
        members = sorted((k for k in range(len(sites)) if end[k] == last), key=lambda k: (-way[k], sites[k].site_id))
        # the lowest one has no way to itself; a tie cannot put another behind it
        members = [k for k in members if k != last] + [last]
        if len(members) > 1:
            place = {k: i for i, k in enumerate(members)}
            out.append(_Row(tuple(sites[k] for k in members), tuple(place.get(below[k], -1) for k in members)))
    return out


def _links(row: _Row, s: SiteSettings) -> tuple[ChainLink, ...]:
    out = []
    for upper, below in zip(row.sites, row.below, strict=True):
        if below < 0:
            continue
        lower = row.sites[below]
        bed = float(upper.plugs[0].values["bed_m"])
        effect = effect_above(lower.values, upper.values, bed, s.chain_tie_m)
        levels = (float(lower.values["spill_m"]), bed, float(upper.values["today_m"]), float(upper.values["spill_m"]))
        out.append(ChainLink(lower.site_id, upper.site_id, float(upper.values["_below_m"]), effect, levels))
    return tuple(out)


def gains(
    sites: Sequence[Site], links: Sequence[tuple[str, str]], natural: F32, cell_m2: float, s: SiteSettings
) -> tuple[ChainStep, ...]:
    """Ground wet again with the best 1, 2, ... n sites closed, each cell counted once.

    A closed site wets its pool, and the ground below its level in the sites above whose way out lies lower than that.
    The next best is always added, which is the best choice while pools do not share cells.

    Parameters
    ----------
    sites : sequence of Site
        In order downstream.
    links : sequence of (lower id, upper id)
    natural : float32 (rows, cols)
        Natural ground [m].
    cell_m2 : float
        [m2].
    s : SiteSettings
        `chain_tie_m`.

    Returns
    -------
    tuple of ChainStep
    """
    by_id = {site.site_id: site for site in sites}
    above: dict[str, list[str]] = {}
    for lower, upper in links:
        above.setdefault(lower, []).append(upper)
    wet = {site.site_id: _wetted(site, above, by_id, natural, s.chain_tie_m) for site in sites}
    every = distinct(np.concatenate(list(wet.values())))
    places = {name: np.searchsorted(every, cells) for name, cells in wet.items()}
    covered = np.zeros(every.size, dtype=np.bool_)
    # of equals the lower one: its pool may drown the other's plug
    left = [(-cells.size, -k) for k, cells in enumerate(wet.values())]
    heapify(left)
    steps: list[ChainStep] = []
    plugs = 0
    while left:
        _, k = heappop(left)
        name = sites[-k].site_id
        new = -int(np.count_nonzero(~covered[places[name]])), k
        # what a site adds can only have become less: it is the best if it still beats what the others gave before
        if left and new > left[0]:
            heappush(left, new)
            continue
        covered[places[name]] = True
        plugs += len(by_id[name].plugs)
        steps.append(ChainStep(name, plugs, float(np.count_nonzero(covered)) * cell_m2))
    return tuple(steps)


def _wetted(site: Site, above: Mapping[str, list[str]], by_id: Mapping[str, Site], natural: F32, tie_m: float) -> I64:
    """Cells (row * cols + col) that closing one site alone makes wet."""
    level = float(site.values["spill_m"])
    parts = [_cells(site, natural, None)]
    stack = list(above.get(site.site_id, ()))
    while stack:
        upper = by_id[stack.pop()]
        if level <= float(upper.values["today_m"]) + tie_m:
            continue
        parts.append(_cells(upper, natural, min(level, float(upper.values["spill_m"]))))
        stack.extend(above.get(upper.site_id, ()))
    # those of one site are in order
    return distinct(np.concatenate(parts)) if len(parts) > 1 else parts[0]


def _cells(site: Site, natural: F32, level: float | None) -> I64:
    pool = site.pool
    dry = pool.mask & np.asarray(site.values.get("_dry", pool.mask))
    if level is not None:
        h, w = pool.mask.shape
        dry &= natural[pool.row0 : pool.row0 + h, pool.col0 : pool.col0 + w] < level
    rows, cols = np.nonzero(dry)
    return np.asarray((rows + pool.row0) * natural.shape[1] + cols + pool.col0, dtype=np.int64)


def _fields(chain: Chain, row: _Row, place: int) -> dict[str, Any]:
    site, below = row.sites[place], row.below[place]
    felt = [link.effect for link in chain.links if link.site_id == site.site_id]
    return {
        "chain_id": chain.chain_id,
        "chain_order": place + 1,
        "chain_n": len(row.sites),
        "below_id": row.sites[below].site_id if below >= 0 else None,
        "above_effect": max(felt, key=EFFECTS.index) if felt else None,
        "_chain_gain_m2": tuple(step.gain_m2 for step in chain.steps),
        "_below_effect": next((link.effect for link in chain.links if link.above_id == site.site_id), None),
        "_above_ids": tuple(link.above_id for link in chain.links if link.site_id == site.site_id),
    }
