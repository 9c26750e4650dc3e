"""Scoring of covered drains and of rows of basins: a screen that knows everything, and offers that are wrong."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wetscout.prove import Found, Landscape, TrueBasin, lines_of, make_landscape, pool_scores, run_proof, score
from wetscout.prove.found import iou
from wetscout.prove.score import Score
from wetscout.prove.score_covered import counts, score_covered
from wetscout.records import Patch


@pytest.fixture(scope="module")
def land() -> Landscape:
    return make_landscape("covered drains and whole hollows", 2, 2.0, 900.0)


@pytest.fixture(scope="module")
def row() -> Landscape:
    return make_landscape("chains along one ditch", 1, 2.0, 1000.0)


def knowing(land: Landscape) -> list[Found]:
    return [
        Found(
            c.pool,
            c.spill_m,
            c.volume_m3,
            (),
            "ditch into covered pipe",
            "medium",
            "",
            -1,
            ((c.mouth_row, c.mouth_col),),
        )
        for c in land.covered
    ]


def bared(land: Landscape, found: list[Found]) -> Score:
    """As a run over landscapes scores it: with maps, and nothing found by terrain alone."""
    return replace(score(land, found), bare=score_covered(land, []))


def on(b: TrueBasin, words: str = "buried drain suspected") -> Found:
    return Found(b.pool, b.spill_m, b.volume_m3, (), words, "low")


def test_a_screen_that_knows_the_pipes_scores_full(land: Landscape) -> None:
    s = score(land, knowing(land)).buried
    assert len(s.hits) == sum(counts(c) for c in land.covered) >= 3
    assert not s.false_sites and not s.missed and s.above_low == len(land.covered)
    assert all(h.mouth_m == 0.0 and h.spill_error_m == 0.0 and h.iou == 1.0 for h in s.hits)
    r = pool_scores([bared(land, knowing(land))])
    assert r.with_maps.recall == r.with_maps.precision == r.with_maps.mouth_within == 1.0
    # and the open drains of the same square are not touched by it
    assert r.hits == 0 and r.false_sites == 0


def test_mouths_are_measured(land: Landscape) -> None:
    far = [replace(f, mouths=((f.mouths[0][0] + 12.0, f.mouths[0][1]), f.mouths[0])) for f in knowing(land)]
    hits = score(land, far).buried.hits
    # 12 cells of 2 m
    assert all(h.mouth_m == pytest.approx(24.0) and h.any_mouth_m == 0.0 for h in hits)
    none = [replace(f, mouths=()) for f in knowing(land)]
    r = pool_scores([bared(land, none)]).with_maps
    assert r.mouth_within == 0.0 and r.recall == 1.0


def test_second_offers_and_shifted_pools_are_false(land: Landscape) -> None:
    true = next(c for c in land.covered if counts(c))
    right = next(f for f in knowing(land) if f.pool is true.pool)
    s = score(land, [right, right]).buried
    assert len(s.hits) == 1 and [f.why for f in s.false_sites] == ["second offer on one covered drain"]
    off = Patch(right.pool.row0 + right.pool.mask.shape[0], right.pool.col0, right.pool.mask)
    s = score(land, [replace(right, pool=off)]).buried
    assert not s.hits and true.covered_id in [m.covered_id for m in s.missed]


def test_two_pipes_out_of_one_pool_are_found_once(land: Landscape) -> None:
    true = next(c for c in land.covered if counts(c))
    number = max(c.covered_id for c in land.covered) + 1
    twice = replace(land, covered=(*land.covered, replace(true, covered_id=number)))
    right = next(f for f in knowing(land) if f.pool is true.pool)
    missed = [m.covered_id for m in score(twice, [right]).buried.missed]
    assert true.covered_id not in missed and number not in missed
    assert {true.covered_id, number} <= {m.covered_id for m in score(twice, []).buried.missed}


def test_a_hollow_in_a_found_basin_that_both_pipes_empty_is_not_missed(land: Landscape) -> None:
    """As with open drains: nested basins are one place. A pipe that does not empty the one found is missed."""
    true = next(c for c in land.covered if counts(c))
    number, node = max(c.covered_id for c in land.covered) + 1, len(land.basins)
    rows, cols = (n // 3 for n in true.pool.mask.shape)
    part = Patch(true.pool.row0 + rows, true.pool.col0 + cols, true.pool.mask[rows : 2 * rows, cols : 2 * cols])
    assert 0 < iou(part, true.pool) < 0.5
    inner = replace(land.basins[true.node_ids[0]], node_id=node, pool=part)
    right = next(f for f in knowing(land) if f.pool is true.pool)
    for ids, is_missed in (((node, *true.node_ids), False), ((node,), True)):
        second = replace(true, covered_id=number, pool=part, node_ids=ids)
        two = replace(land, basins=(*land.basins, inner), covered=(*land.covered, second))
        assert (number in [m.covered_id for m in score(two, [right]).buried.missed]) is is_missed
        assert number in [m.covered_id for m in score(two, []).buried.missed]


def test_a_hollow_and_mouth_in_a_basin_found_with_its_open_drain_are_not_missed(land: Landscape) -> None:
    """Plugged, that basin stands over both ends of the pipe; where the mouth lies outside, the pipe still drains."""
    true = next(c for c in land.covered if counts(c))
    for mouth_in in (True, False):
        at = (true.mouth_row, true.mouth_col) if mouth_in else (float(true.pool.row0), float(true.pool.col0))
        top, left = (int(min(a, b)) - 2 for a, b in zip(at, (true.pool.row0, true.pool.col0), strict=True))
        rows = int(max(at[0] + 3, true.pool.row0 + true.pool.mask.shape[0])) - top
        cols = int(max(at[1] + 3, true.pool.col0 + true.pool.mask.shape[1])) - left
        around = Patch(top, left, np.ones((rows, cols), dtype=bool))
        if not mouth_in:
            away = replace(true, mouth_row=float(top + rows + 20), mouth_col=true.mouth_col)
        outer = replace(land.basins[0], node_id=len(land.basins), pool=around, drained=True)
        covered = tuple((true if mouth_in else away) if c is true else c for c in land.covered)
        nested = replace(land, basins=(*land.basins, outer), covered=covered)
        missed = [m.covered_id for m in score(nested, [on(outer, "ditch")]).buried.missed]
        assert (true.covered_id in missed) is not mouth_in
        assert true.covered_id in [m.covered_id for m in score(nested, []).buried.missed]


def test_whole_basins_offered_are_false_but_for_ploughed_wetlands(land: Landscape) -> None:
    free = [b for b in land.basins if b.use in ("upland", "wetland") and not (b.at_edge or b.partial)]
    assert {b.use for b in free} == {"upland", "wetland"}
    for b in free:
        s = score(land, [on(b)])
        assert len(s.buried.false_sites) == 1 and f"whole basin, {b.use}" in s.buried.false_sites[0].why
        assert s.hits == () and s.false_sites == ()
    ploughed = replace(land, basins=tuple(replace(b, use="farmed wetland") if b is free[0] else b for b in land.basins))
    s = score(ploughed, [on(free[0])]).buried
    assert s.neither == 1 and not s.false_sites
    drained = next(b for b in land.basins if b.drained and not b.at_edge)
    assert "drained by" in score(land, [on(drained)]).buried.false_sites[0].why


def test_an_open_ditch_offered_on_a_covered_drain_is_a_false_open_site(land: Landscape) -> None:
    true = next(c for c in land.covered if counts(c))
    s = score(land, [on(land.basins[true.node_ids[0]], "ditch")])
    assert len(s.false_sites) == 1 and not s.buried.hits and true.covered_id in [m.covered_id for m in s.buried.missed]


def test_what_is_too_small_to_be_told_counts_neither_way(land: Landscape) -> None:
    true = next(c for c in land.covered if counts(c))
    for change in ({"depth_m": 0.14}, {"area_m2": 399.0}, {"at_edge": True}, {"cut_open": True}):
        lesser = replace(
            land,
            covered=tuple(replace(c, **change) if c is true else c for c in land.covered),  # type: ignore[arg-type]
        )
        s = score(lesser, [f for f in knowing(land) if f.pool is true.pool]).buried
        assert s.neither == 1 and not s.hits and not s.false_sites
        assert true.covered_id not in [m.covered_id for m in s.missed]


def tops(land: Landscape) -> list[TrueBasin]:
    def outer(b: TrueBasin) -> bool:
        at = b.parent_id
        while at >= 0:
            if land.basins[at].drained:
                return False
            at = land.basins[at].parent_id
        return True

    return [b for b in land.basins if b.drained and outer(b)]


def row_offers(land: Landscape) -> list[Found]:
    mine = tops(land)
    place = {b.node_id: i for i, b in enumerate(mine)}
    return [
        Found(
            b.pool,
            b.spill_m,
            b.volume_m3,
            tuple((c.row[0], c.col[0]) for c in b.crossings if c.outflow),
            "ditch",
            "high",
            "starts here" if b.starts_here else "passes through",
            place.get(b.next_id, -1),
        )
        for b in mine
    ]


def test_rows_of_basins_are_in_order(row: Landscape) -> None:
    below = {b.node_id: b.next_id for b in row.basins if b.next_id >= 0}
    assert len(below) >= 4
    by_id = {b.node_id: b for b in row.basins}
    for upper, lower in below.items():
        # water runs down: the lower one's floor lies below the upper one's spill, and a ditch comes into it from above
        assert by_id[lower].floor_m < by_id[upper].spill_m and not by_id[lower].starts_here
        assert iou(by_id[upper].pool, by_id[lower].pool) == 0.0
    # no circles
    for start in below:
        seen, at = {start}, below.get(start, -1)
        while at >= 0:
            assert at not in seen
            seen.add(at)
            at = below.get(at, -1)


def test_a_screen_that_knows_the_rows_scores_full(row: Landscape) -> None:
    r = pool_scores([score(row, row_offers(row))]).chains
    assert r.counts.members >= 5 and r.found == r.order_right == r.position_right == r.chain_position_right == 1.0


def test_a_screen_with_wrong_rows_does_not(row: Landscape) -> None:
    blind = [replace(f, below=-1) for f in row_offers(row)]
    assert pool_scores([score(row, blind)]).chains.order_right == 0.0
    turned = [
        replace(f, position="passes through" if f.position == "starts here" else "starts here") for f in row_offers(row)
    ]
    r = pool_scores([score(row, turned)]).chains
    assert r.position_right == 0.0 and r.found == 1.0


def test_every_way_out_of_a_rim_must_be_closed() -> None:
    land = make_landscape("several cuts in one rim", 2, 2.0, 900.0)
    offers = row_offers(land)
    several = pool_scores([score(land, offers)]).chains
    assert several.counts.several >= 4 and several.several_closed == 1.0
    one = [replace(f, plugs=f.plugs[:1]) for f in offers]
    assert pool_scores([score(land, one)]).chains.several_closed < 1.0


def test_covered_landscapes_are_screened_with_and_without_maps() -> None:
    seen: list[bool] = []

    def screen(z: np.ndarray, cell_m: float, maps: object) -> list[Found]:
        seen.append(maps is not None)
        return []

    r = run_proof(screen, ["covered drains", "none drained"], [2], 3.0, 600.0)
    assert seen == [True, False, True]
    assert r.with_maps.drains == r.terrain_alone.drains > 0 and r.with_maps.found == 0
    text = "\n".join(lines_of(r))
    assert "soils and land cover given: found 0 of" in text and "terrain alone: found 0 of" in text
    assert "missed covered drains" in text


def test_offers_where_there_is_no_covered_drain_are_counted_apart(row: Landscape) -> None:
    whole = next(b for b in row.basins if not (b.drained or b.partial or b.at_edge))
    r = pool_scores([score(row, [on(replace(whole, use="upland"))])])
    assert r.pipeless_false == 1 and r.pipeless_km2 == pytest.approx(1.0) and r.with_maps.false_sites == 0
    assert "1 sites offered as such in 1.0 km2" in "\n".join(lines_of(r))
