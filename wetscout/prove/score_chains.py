"""Scoring of basins in a row on one ditch, of where their drains start, and of rims with several cuts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from shapely.geometry import LineString

from wetscout.prove.downstream import next_below
from wetscout.prove.found import Found
from wetscout.prove.joined import BEGINS, begins_in, comes_from_above, joined_pool
from wetscout.prove.landscape import Landscape, TrueBasin
from wetscout.records import Patch


@dataclass(frozen=True)
class ChainScore:
    """Counts over the basins found on one landscape.

    Attributes
    ----------
    members, members_found : int
        Scored basins that stand in a row with another; those of them found.
    pairs, pairs_right : int
        Basins found whose water comes to the water that stands in another one found, its plugs in, or is told to; those
        where the site the result names below is that one.
    ground_pairs, ground_pairs_right : int
        The same without plugs, by which ground is joined to the floors today: a ditch through a rim that is cut away
        beside it passes by, a plug in it stands in its way.
    positions, positions_right : int
        Basins found whose `drain_position` is told; where it is right: with the plugs in, a ditch from above runs into
        the water that stands, or a plug stands across one.
    chain_positions, chain_positions_right : int
        The same for members of a row.
    ground_positions_right, ground_chain_positions_right : int
        Of both those right without plugs: a ditch from above runs onto ground that is joined to the floor.
    several, several_closed, several_each : int
        Basins found with two or more true ways out; those where, with the plugs in the true ground, water gets out by
        none of them; those with a plug within 15 m of each. One plug below where two ditches meet closes both, and by
        a ditch between its banks no water leaves.
    """

    members: int
    members_found: int
    pairs: int
    pairs_right: int
    ground_pairs: int
    ground_pairs_right: int
    positions: int
    positions_right: int
    chain_positions: int
    chain_positions_right: int
    ground_positions_right: int
    ground_chain_positions_right: int
    several: int
    several_closed: int
    several_each: int


def score_chains(
    landscape: Landscape,
    found: Sequence[Found],
    hits: Mapping[int, int],
    ways: Sequence[tuple[int, int, bool]],
    waters: Mapping[int, Patch | None],
) -> ChainScore:
    """Score rows of basins.

    Parameters
    ----------
    landscape : Landscape
    found : sequence of Found
    hits : mapping of int to int
        Place in `found` of the site that stands for a true basin, by `node_id`.
    ways : sequence of (int, int, bool)
        True ways out of each basin found, those with a plug, and whether the water stands.
    waters : mapping of int to Patch or None
        What stands in each basin found once its plugs are in, by `node_id`; None where no plug is drawn.

    Returns
    -------
    ChainScore
    """
    basins = landscape.basins
    up = landscape.parent_of()
    site = {n: _hit_of(n, hits, up) for n in range(len(basins))}
    below = {b.node_id: b.next_id for b in basins if b.next_id >= 0}
    members = [n for n in sorted(set(below) | set(below.values())) if _scored(basins[n])]
    told = {n: f for n, f in hits.items() if found[f].position}
    starts = {n: _starts(landscape, basins[n], found[f], waters.get(n)) for n, f in told.items()}
    right = {n for n, f in told.items() if (found[f].position == "starts here") == starts[n]}
    by_ground = {n for n, f in told.items() if (found[f].position == "starts here") == basins[n].starts_here}
    # a hit may stand for a nested member of the row
    of_row = {n for n in told for m in members if site[m] == told[n]}
    several = [w for w in ways if w[0] >= 2]
    surfaces = landscape.ground, landscape.opened
    joined = {n: joined_pool(basins[n].pool, *surfaces, (basins[n].floor_m, basins[n].spill_m)) for n in hits}
    ground_pairs, ground_right = _pairs(landscape, found, hits, joined)
    pairs, right_pairs = _pairs(landscape, found, hits, {n: waters.get(n) or joined[n] for n in hits})
    return ChainScore(
        members=len(members),
        members_found=sum(site[n] is not None for n in members),
        pairs=pairs,
        pairs_right=right_pairs,
        ground_pairs=ground_pairs,
        ground_pairs_right=ground_right,
        positions=len(told),
        positions_right=len(right),
        chain_positions=len(of_row),
        chain_positions_right=len(of_row & right),
        ground_positions_right=len(by_ground),
        ground_chain_positions_right=len(of_row & by_ground),
        several=len(several),
        several_closed=sum(held for _, _, held in several),
        several_each=sum(closed >= of for of, closed, _ in several),
    )


def _starts(landscape: Landscape, basin: TrueBasin, found: Found, water: Patch | None) -> bool:
    """Whether the plugs of a site hold back no ditch that comes from above."""
    if water is None:
        return basin.starts_here
    plugs = [LineString(np.column_stack([row, col])) for row, col in found.plug_lines]
    for line in landscape.ditches:
        if comes_from_above(line, basin.pool, water, landscape.ditches, landscape.cell_m):
            return False
        # a ditch that begins at a plug brings nothing to it
        if (
            line.kind != "roadside"
            and line.row.size > BEGINS + 1
            and not begins_in(line, basin.pool, landscape.ditches)
        ):
            above = LineString(np.column_stack([line.row[BEGINS:], line.col[BEGINS:]]))
            if any(above.intersects(plug) for plug in plugs):
                return False
    return True


def _scored(b: TrueBasin) -> bool:
    return not b.at_edge and b.area_m2 >= 1000.0 and b.depth_m >= 0.3


def _hit_of(node: int, hits: Mapping[int, int], up: Mapping[int, int]) -> int | None:
    """The site on a basin, or on one inside or around it."""
    if node in hits:
        return hits[node]
    at = up.get(node, -1)
    while at >= 0:
        if at in hits:
            return hits[at]
        at = up.get(at, -1)
    for inner, site in sorted(hits.items()):
        at = up.get(inner, -1)
        while at >= 0:
            if at == node:
                return site
            at = up.get(at, -1)
    return None


def _pairs(
    landscape: Landscape, found: Sequence[Found], hits: Mapping[int, int], areas: Mapping[int, Patch]
) -> tuple[int, int]:
    """Basins found whose water comes to another one found, or is told to; those told right."""
    own = [landscape.basins[n] for n in hits]
    # of waters that meet the higher one lies above the other
    order = sorted(areas, key=lambda n: landscape.basins[n].spill_m)
    below = next_below(own, {n: areas[n] for n in order}, landscape.ground, landscape.opened, landscape.cell_m)
    node = {f: n for n, f in hits.items()}
    told = {n: node.get(_next_hit(found, f, set(hits.values())), -1) for n, f in hits.items()}
    some = [n for n in hits if below[n] >= 0 or told[n] >= 0]
    return len(some), sum(below[n] == told[n] for n in some)


def _next_hit(found: Sequence[Found], site: int, right: set[int]) -> int:
    """The next site down the way of the water that stands for a true basin; -1 none."""
    at = found[site].below
    for _ in found:
        if at < 0 or at in right:
            return at
        at = found[at].below
    return -1
