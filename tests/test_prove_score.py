"""The scorer's rules on hand-made truths, and the printed report."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wetscout.prove import (
    Crossing,
    Found,
    Landscape,
    TrueBasin,
    TrueLine,
    lines_of,
    make_landscape,
    pool_scores,
    run_proof,
    score,
)
from wetscout.prove.found import inside, overlap
from wetscout.prove.joined import comes_from_above
from wetscout.prove.landscape import TruePond
from wetscout.prove.score import size_class
from wetscout.records import Patch

N = 200
DITCH = TrueLine(0, "drain", np.full(60, 30.0), np.arange(20.0, 80.0), np.linspace(8.5, 8, 60), 1.0, 2.0)
RIM = Crossing(0, np.array([30.0, 30.0]), np.array([50.0, 55.0]), True, False)


def box(row: int, col: int, rows: int, cols: int) -> Patch:
    return Patch(row, col, np.ones((rows, cols), dtype=bool))


def basin(node_id: int, pool: Patch, **changes: object) -> TrueBasin:
    area = float(pool.mask.sum())
    plain = TrueBasin(
        node_id=node_id,
        parent_id=-1,
        family=100 + node_id,
        pool=pool,
        spill_m=10.0,
        floor_m=9.0,
        depth_m=1.0,
        area_m2=area,
        volume_m3=area * 0.5,
        today_m=8.8,
        left=0.0,
        drained=True,
        partial=False,
        drained_by="ditch",
        under_road=False,
        crossings=(RIM,),
        starts_here=True,
        at_edge=False,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def land(*basins: TrueBasin) -> Landscape:
    z = np.zeros((N, N), dtype=np.float32)
    ponds = (TruePond(150.0, 150.0, 400.0, 1.5, False),)
    return Landscape(z, z, z, 1.0, "by hand", 0, basins, (DITCH,), (), (), (), ponds, 0.0)


def offer(pool: Patch, spill_m: float = 10.0, plugs: tuple[tuple[float, float], ...] = ((30.0, 50.0),)) -> Found:
    return Found(pool, spill_m, float(pool.mask.sum()) * 0.5, plugs)


WHOLE = {"drained": False, "crossings": (), "drained_by": "", "left": 1.0}


def test_patches_share_cells() -> None:
    one, two = box(10, 10, 20, 20), box(25, 20, 20, 20)
    assert overlap(one, two) == overlap(two, one) == 5 * 10
    assert overlap(one, box(100, 100, 5, 5)) == 0
    assert inside(one, np.array([10.0, 9.0, 29.4, 30.0]), np.array([10.0, 10.0, 29.0, 12.0])).tolist() == [
        True,
        False,
        True,
        False,
    ]


def test_size_classes() -> None:
    assert size_class(1000, 0.3) == "main"
    assert size_class(999, 0.3) == "small"
    assert size_class(1000, 0.29) == "shallow"
    assert size_class(400, 0.15) == "small and shallow"
    assert size_class(399, 2.0) is None and size_class(9999, 0.14) is None


def test_a_right_offer() -> None:
    pool = box(10, 10, 40, 40)
    s = score(land(basin(0, pool)), [offer(pool, 10.02, ((30.0, 60.0),))])
    (hit,) = s.hits
    assert hit.iou == 1.0 and hit.spill_error_m == pytest.approx(0.02) and hit.volume_error == pytest.approx(0.0)
    assert hit.plug_m == (5.0,) and hit.ways == hit.ways_plugged == 1
    assert not s.false_sites and not s.missed


def test_overlap_of_half_decides() -> None:
    # 1600 cells of truth; 800 inside and none outside is exactly one half
    truth = land(basin(0, box(10, 10, 40, 40)))
    assert len(score(truth, [offer(box(10, 10, 20, 40))]).hits) == 1
    s = score(truth, [offer(box(10, 10, 19, 40))])
    assert not s.hits and len(s.false_sites) == 1 and s.missed[0].best_iou == pytest.approx(0.475)
    assert "IoU 0.47" in s.false_sites[0].why or "IoU 0.48" in s.false_sites[0].why


def test_a_second_offer_is_false() -> None:
    pool = box(10, 10, 40, 40)
    s = score(land(basin(0, pool)), [offer(box(10, 10, 30, 40)), offer(pool)])
    assert [h.found for h in s.hits] == [1]
    assert [f.found for f in s.false_sites] == [0] and "second offer" in s.false_sites[0].why


def test_offers_on_whole_ground_or_nothing_are_false() -> None:
    pool = box(10, 10, 40, 40)
    s = score(land(basin(0, pool, **WHOLE)), [offer(pool), offer(box(140, 140, 20, 20))])
    assert len(s.false_sites) == 2 and not s.hits and not s.any_drained
    assert "nobody drained" in s.false_sites[0].why + s.false_sites[1].why
    assert any("pond" in f.why for f in s.false_sites)


@pytest.mark.parametrize(
    "changes", [{"drained": False, "partial": True}, {"at_edge": True}, {"area_m2": 300.0}, {"depth_m": 0.1}]
)
def test_what_counts_neither_way(changes: dict[str, object]) -> None:
    pool = box(10, 10, 40, 40)
    s = score(land(basin(0, pool, **changes)), [offer(pool)])
    assert s.neither == 1 and not s.hits and not s.false_sites and not s.missed
    again = score(land(basin(0, pool, **changes)), [offer(pool), offer(box(10, 10, 35, 40))])
    assert len(again.false_sites) == 1
    assert not score(land(basin(0, pool, **changes)), []).missed


def nested() -> Landscape:
    """Node 2 encloses 0 and 1 and shares its floor with 0."""
    return land(
        basin(0, box(10, 10, 40, 35), parent_id=2, family=7),
        basin(1, box(10, 50, 40, 35), parent_id=2, family=8),
        basin(2, box(5, 5, 60, 90), parent_id=-1, family=7),
    )


def test_nested_basins_count_once_a_family() -> None:
    inner, other, outer = (b.pool for b in nested().basins)
    both = score(nested(), [offer(inner), offer(other)])
    assert len(both.hits) == 2 and not both.missed and not both.false_sites
    one = score(nested(), [offer(outer)])
    assert len(one.hits) == 1 and one.covered == 1 and not one.missed
    twice = score(nested(), [offer(outer), offer(other)])
    assert len(twice.hits) == 1 and len(twice.false_sites) == 1
    part = score(nested(), [offer(other)])
    assert len(part.hits) == 1 and [m.node_id for m in part.missed] in ([0], [2])


def test_of_nested_basins_the_drained_one_is_taken() -> None:
    truth = land(basin(0, box(10, 10, 40, 40), parent_id=1), basin(1, box(8, 8, 44, 44), family=100, **WHOLE))
    s = score(truth, [offer(box(8, 8, 44, 44))])
    assert len(s.hits) == 1 and s.hits[0].node_id == 0


def test_plugs_are_measured_to_any_true_crossing() -> None:
    way_in = Crossing(0, np.array([90.0]), np.array([10.0]), False, False)
    far = Crossing(0, np.array([10.0]), np.array([120.0]), True, False)
    pool = box(10, 10, 40, 40)
    truth = land(basin(0, pool, crossings=(RIM, way_in, far)))
    (hit,) = score(truth, [offer(pool, plugs=((30.0, 52.0), (90.0, 14.0), (60.0, 60.0)))]).hits
    assert hit.plug_m[:2] == (pytest.approx(2.0), pytest.approx(4.0)) and hit.plug_m[2] > 25
    assert (hit.ways, hit.ways_plugged) == (2, 1)
    r = pool_scores([score(truth, [offer(pool, plugs=())])])
    assert r.plug_within == 0.0 and r.ways_plugged == 0.0


def test_pooled_numbers() -> None:
    pool, small = box(10, 10, 40, 40), box(100, 100, 25, 25)
    truth = land(basin(0, pool), basin(1, small, crossings=()))
    scores = [
        score(truth, [offer(pool, 10.1), offer(box(170, 170, 20, 20))]),
        score(truth, [offer(pool, 9.8), offer(small)]),
        score(land(basin(0, pool, **WHOLE)), [offer(box(160, 100, 40, 40))]),
    ]
    r = pool_scores(scores)
    assert r.recall["main"] == (2, 2) and r.recall["small"] == (1, 2)
    assert r.precision == pytest.approx(2 / 4) and r.precision_large == pytest.approx(2 / 3)
    assert r.spill_bias_m == pytest.approx(-0.05) and r.spill_median_m == pytest.approx(0.15)
    assert r.spill_within == pytest.approx(0.5)
    assert r.undrained_false == 1 and r.undrained_km2 == pytest.approx(0.04)
    text = "\n".join(lines_of(r))
    assert "2 of 2 drained (100 %)" in text and "1 of 2 drained (50 %)" in text
    assert "1 false sites in 0.0 km2 (100.0 in 4 km2)" in text
    assert "row 180 col 180, 400 m2" in text and "missed drained basins (1)" in text


def test_an_empty_report_prints() -> None:
    text = "\n".join(lines_of(pool_scores([])))
    assert "0 of 0 drained (-)" in text


def best_offers(truth: Landscape) -> list[Found]:
    """What a screen that knows everything would offer: the highest drained level of each."""
    up = {b.node_id: b for b in truth.basins}

    def under_a_drained_one(b: TrueBasin) -> bool:
        while b.parent_id >= 0:
            b = up[b.parent_id]
            if b.drained:
                return True
        return False

    plugs = {b.node_id: tuple((c.row[0], c.col[0]) for c in b.crossings if c.outflow) for b in truth.basins}
    return [
        Found(b.pool, b.spill_m, b.volume_m3, plugs[b.node_id])
        for b in truth.basins
        if b.drained and not under_a_drained_one(b)
    ]


@pytest.mark.parametrize("kind", ["everything", "collectors through basins"])
def test_a_screen_that_knows_everything_scores_full(kind: str) -> None:
    truth = make_landscape(kind, 3, 1.0, 750.0)
    r = pool_scores([score(truth, best_offers(truth))])
    assert r.recall["main"][0] == r.recall["main"][1] > 0
    assert r.precision == 1.0 and r.spill_p90_m == 0.0 and r.plug_within == 1.0 and r.ways_plugged == 1.0


def test_ways_out_are_closed_by_lines_and_by_what_the_water_does() -> None:
    """The plain and hole of the test above with ditches to two sides."""
    z = np.full((N, N), 10.0, dtype=np.float32)
    z[10:50, 10:50] = 9.0
    ground = z.copy()
    z[29:32, 20:200] = z[20:200, 29:32] = 8.5
    rims = (
        Crossing(0, np.array([30.0]), np.array([52.0]), True, False),
        Crossing(1, np.array([52.0]), np.array([30.0]), True, False),
    )
    truth = replace(land(basin(0, box(10, 10, 40, 40), crossings=rims)), z=z, ground=ground, opened=z)
    # one plug bent around the corner closes both; its middle is 16 m from either ditch
    bent = np.array([26.0, 54.0, 54.0]), np.array([54.0, 54.0, 26.0])
    one = replace(offer(box(10, 10, 40, 40), plugs=((44.7, 44.7),)), plug_lines=(bent,))
    s = score(truth, [one])
    assert (s.hits[0].ways, s.hits[0].ways_plugged, s.chains.several, s.chains.several_closed) == (2, 2, 1, 1)
    # plugs near both ways, but one beside its ditch: the water gets out
    lines = (np.array([26.0, 35.0]), np.array([54.0, 54.0])), (np.array([54.0, 54.0]), np.array([38.0, 48.0]))
    s = score(truth, [replace(one, plug_lines=lines)])
    assert s.hits[0].stands_off_m < -0.5 and s.chains.several_closed == s.chains.several_each == 0
    # told 0.03 m too high with both closed: the water stands at the true level, no way is open
    s = score(truth, [replace(one, spill_m=10.03)])
    assert s.hits[0].stands_off_m == pytest.approx(-0.03, abs=1e-4) and s.chains.several_closed == 1


def beside(told: int) -> tuple[Landscape, list[Found]]:
    """Two holes, the upper one drained by a ditch that passes the lower one behind a bank of 8 m."""
    z = np.full((N, N), 10.0, dtype=np.float32)
    z[60:100, 20:60] = 9.0
    z[60:100, 110:150] = 8.8
    ground = z.copy()
    # the ditch of the upper hole runs by 8 m beside the lower one, whose own ditch joins it beyond
    z[108:111, 38:200] = 8.5
    z[99:108, 38:41] = z[99:108, 128:131] = 8.6
    rims = [Crossing(k, np.array([102.0]), np.array([col]), True, False) for k, col in enumerate((39.0, 129.0))]
    upper = basin(0, box(60, 20, 40, 40), crossings=(rims[0],))
    lower = basin(1, box(60, 110, 40, 40), floor_m=8.8, depth_m=1.2, crossings=(rims[1],))
    truth = replace(land(upper, lower), z=z, ground=ground, opened=z)
    spur = np.array([102.0, 102.0]), np.array([124.0, 135.0])
    first = replace(offer(box(60, 20, 40, 40)), plug_lines=((np.array([102.0, 102.0]), np.array([34.0, 45.0])),))
    return truth, [replace(first, below=told), replace(offer(box(60, 110, 40, 40)), plug_lines=(spur,))]


def test_next_below_is_where_the_water_stands_with_the_plugs_in() -> None:
    """A plug on the spur leaves the passing ditch alone; one across the ditch itself dams it."""
    truth, found = beside(-1)
    chains = score(truth, found).chains
    assert (chains.pairs, chains.ground_pairs) == (0, 0)
    chains = score(*beside(1)).chains
    assert (chains.pairs, chains.pairs_right, chains.ground_pairs, chains.ground_pairs_right) == (1, 0, 1, 0)
    across = np.array([104.0, 115.0]), np.array([160.0, 160.0])
    for told in (-1, 1):
        truth, found = beside(told)
        chains = score(truth, [found[0], replace(found[1], plug_lines=(across,))]).chains
        assert (chains.pairs, chains.pairs_right, chains.ground_pairs_right) == (1, int(told == 1), 0)
        assert chains.ground_pairs == int(told == 1)


def test_a_drain_starts_here_where_the_plugs_hold_back_no_ditch_from_above() -> None:
    """The passing ditch lies outside the pool: left alone by a plug on the spur, dammed by one across it."""
    truth, found = beside(-1)
    stations = np.concatenate([np.arange(100.0, 110.0), np.full(161, 109.5)])
    passing = TrueLine(
        1, "drain", stations, np.concatenate([np.full(10, 39.0), np.arange(39.0, 200.0)]), stations * 0 + 8.5, 3.0, 0.0
    )
    spur = TrueLine(2, "drain", np.arange(90.0, 110.0), np.full(20, 129.0), np.full(20, 8.6), 3.0, 0.0)
    truth = replace(truth, ditches=(passing, spur))
    across = np.array([104.0, 115.0]), np.array([160.0, 160.0])
    for lines, position in ((found[1].plug_lines, "starts here"), ((across,), "passes through")):
        for told in ("starts here", "passes through"):
            chains = score(truth, [replace(found[1], plug_lines=lines, position=told)]).chains
            assert (chains.positions, chains.positions_right) == (1, int(told == position))
            # by the ground without plugs it starts here whichever plug is laid
            assert chains.ground_positions_right == int(told == "starts here")
    # one that stands across a ditch that does not come to its water dams it all the same
    beyond = np.array([104.0, 115.0]), np.array([70.0, 70.0])
    both = replace(found[1], plug_lines=(*found[1].plug_lines, beyond), position="starts here")
    assert score(truth, [both]).chains.positions_right == 0


def test_a_ditch_that_ends_in_a_pool_comes_into_it_however_short_its_way_there() -> None:
    pool = box(40, 40, 20, 20)
    row = np.full(60, 50.0)

    def came(first: float, last: float) -> bool:
        col = np.linspace(first, last, 60)
        return comes_from_above(TrueLine(0, "drain", row, col, row * 0, 1.0, 2.0), pool, pool, (), 1.0)

    assert came(-17.0, 42.0) and not came(-21.0, 38.0)
    # it grazes the shore and goes on
    corner = TrueLine(0, "drain", np.linspace(7.0, 66.0, 60), np.linspace(75.0, 16.0, 60), row * 0, 1.0, 2.0)
    assert inside(pool, corner.row, corner.col).sum() == 3
    assert not comes_from_above(corner, pool, pool, (), 1.0)


def test_run_over_landscapes() -> None:
    seen: list[tuple[int, int]] = []

    def blind(z: np.ndarray, cell_m: float, maps: object) -> list[Found]:
        assert z.shape == (200, 200) and cell_m == 2.0 and maps is not None
        z[:] = 0  # the caller's copy: the truth must not change with it
        return []

    r = run_proof(
        blind, ["rolling till plain", "none drained"], [1, 2], 2.0, 400.0, lambda done, of, _: seen.append((done, of))
    )
    assert seen == [(1, 4), (2, 4), (3, 4), (4, 4)]
    assert len(r.scores) == 4 and r.hits == 0 and np.isnan(r.precision)
    assert sum(not s.any_drained for s in r.scores) >= 2


def test_water_stands_where_the_plugs_hold_it() -> None:
    """A level plain at 10 with a square hole to 9 and a ditch at 8.5 out of it: plugged it holds 10, else it is dry."""
    z = np.full((N, N), 10.0, dtype=np.float32)
    z[10:50, 10:50] = 9.0
    ground = z.copy()
    z[29:32, 20:200] = 8.5
    truth = replace(land(basin(0, box(10, 10, 40, 40))), z=z, ground=ground, opened=z)
    across = (np.arange(26.0, 35.0), np.full(9, 54.0))
    right = replace(offer(box(10, 10, 40, 40)), plug_lines=(across,))
    (hit,) = score(truth, [right]).hits
    assert hit.stands_off_m == pytest.approx(0.0, abs=1e-5)
    aside = replace(right, plug_lines=((across[0] + 20, across[1]),))
    assert score(truth, [aside]).hits[0].stands_off_m < -0.9
    high = score(truth, [replace(right, spill_m=10.1)])
    assert high.hits[0].stands_off_m == pytest.approx(-0.1, abs=1e-5)
    assert np.isnan(score(truth, [offer(box(10, 10, 40, 40))]).hits[0].stands_off_m)
    r = pool_scores([score(truth, [right]), high])
    assert r.stands_within == r.stands_within_wide == 0.5
    assert np.isnan(pool_scores([]).stands_within)
