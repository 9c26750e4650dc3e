"""Which ditches bring water into a pool: levels along straight lines made by hand, plain geometry."""

from __future__ import annotations

import numpy as np
import pytest

from wetscout.records import Cut, Ditch
from wetscout.sites.enters import _calm, ditch_above
from wetscout.sites.network import Network

# the lines run along row 5; the pool lies at columns 100-139
N = 240
POOL = np.arange(100, 140)


def above(levels, cols=(0, N), *, bed=None, sure=True, pool=POOL, cell_m=1.0, cuts=(), beyond=False):
    """Ditch length told to enter, or whether it comes from beyond, for one line drawn with rising columns [m]."""
    water = np.full((11, N), 99.0, dtype=np.float32)
    water[5] = levels
    col = np.arange(*cols, dtype=np.float64)
    bed = np.asarray(levels if bed is None else bed, dtype=np.float64)[cols[0] : cols[1]]
    row = np.full(col.size, 5.0)
    line = Ditch(1, row, col, bed, bed + 1.0, bed + 1.0, bed * 0 + 3.0, "ditch", 1.0, 0.3, 1.0, "none", sure)
    at = np.flatnonzero(np.isin(col, pool))
    return ditch_above({0: at}, Network((line,), cell_m, 6.0), water, cuts, cell_m)[int(beyond)]


def _line(number, row, col, sure):
    bed = 10.0 - 0.001 * np.arange(row.size)
    return Ditch(number, row, col, bed, bed + 1.0, bed + 1.0, bed * 0 + 3.0, "ditch", 1.0, 0.3, 1.0, "none", sure)


def cut(col, ditch_id=1):
    way = np.zeros(0, dtype=np.int64)
    return Cut(5, col, 0.0, 1.0, 9.0, 10.0, 9.0, ditch_id, False, way, way)


X = np.arange(N, dtype=np.float64)


def test_a_ditch_that_falls_through_a_pool_enters_it_whichever_way_it_is_drawn():
    assert above(10.0 - 0.001 * X) == pytest.approx(100.0)
    # drawn uphill: the length beyond the pool, drawn downstream, is what enters
    assert above(10.0 + 0.001 * X) == pytest.approx(N - 1 - 139.0)
    # levels part only far from the shore
    assert above(10.0 - 0.0003 * X) == pytest.approx(100.0)
    assert above(10.0 - 0.002 * X, cell_m=0.5) == pytest.approx(50.0)


def test_a_ditch_that_comes_in_from_the_edge_of_the_ground_brings_nobody_knows_how_much():
    falls = 10.0 - 0.001 * X
    assert above(falls, beyond=True)
    assert not above(falls, (4, N), beyond=True) and not above(falls, sure=False, beyond=True)
    # it leaves by that edge
    assert not above(10.0 + 0.001 * X, (0, 140), beyond=True)
    assert above(10.0 + 0.001 * X, beyond=True)


def test_a_ditch_that_ends_at_the_shore_enters_however_little_of_it_lies_in_the_pool():
    falls = 10.0 - 0.001 * X
    assert above(falls, (0, 106)) == pytest.approx(100.0)
    assert above(falls, (0, 106), sure=False) == 0.0
    # it goes on: it passes beside the pool
    assert above(falls, pool=np.arange(100, 106)) == 0.0
    # it begins there, and leads away
    assert above(falls, (133, N)) == 0.0


@pytest.mark.parametrize(
    ("ends", "counted_m"),
    [
        (((5, 60), (5, 10)), 50.0),  # a gap of 10 m, straight on
        (((5, 50), (5, 10)), 0.0),  # too far
        (((5, 69), (25, 69)), 0.0),  # from the side
        (((9, 68), (9, 10)), 58.0),  # beside its head
        (((14, 64), (14, 10)), 0.0),  # aside of it
    ],
)
def test_a_faint_line_that_runs_on_into_the_head_of_a_ditch_is_its_beginning(ends, counted_m):
    (row1, col1), (row0, col0) = ends
    n = 60
    faint = _line(2, np.linspace(row0, row1, n), np.linspace(col0, col1, n), False)
    sure = _line(1, np.full(71, 5.0), np.arange(70.0, 141.0), True)
    network = Network((sure, faint), 1.0, 6.0)
    assert network.length_above([(0, 10)], set()) == pytest.approx(10.0 + counted_m)


def test_two_ditches_out_of_one_pool_drawn_as_one_line_do_not_enter_it():
    crest = 10.0 - 0.0005 * np.abs(X - 120.0)
    assert above(crest) == 0.0
    # the crest in the pool stands nearer to one shore
    assert above(10.0 - 0.0005 * np.abs(X - 105.0)) == 0.0


def test_a_head_in_the_pool_is_where_the_ditch_begins():
    # drawn into the pool, level outside, and rising to the ground at its end there
    head = np.where(X > 125.0, 10.0 + 0.05 * (X - 125.0), 10.0)
    assert above(head, (0, 140)) == 0.0
    # a ditch that ends in the pool on its floor comes in
    assert above(np.where(X < 100.0, 10.0, 9.9), (0, 140)) == pytest.approx(100.0)


def test_a_bank_at_the_end_of_a_line_is_no_water_from_above():
    # the outlet's line runs level and then up a bank beyond; the bed falls outwards
    water = np.where(X < 40.0, 10.8, 10.0)
    assert above(water, (0, 140), bed=9.0 + 0.001 * X) == 0.0
    # nothing tells: the line's own direction does
    assert above(np.full(N, 10.0)) == pytest.approx(100.0)


def test_what_leaves_by_one_end_came_in_by_the_other_however_the_line_is_drawn():
    # level water; the bed falls from the last station to the first, so the line was drawn uphill
    level = np.full(N, 10.0)
    assert above(level, bed=9.0 + 0.001 * X) == pytest.approx(N - 1 - 139.0)
    # only 20 m of ditch beyond the pool
    assert above(level, (0, 160), bed=9.0 + 0.001 * X) == pytest.approx(20.0)


def test_a_station_on_the_side_of_the_ditch_does_not_turn_it_round():
    falling = 10.0 - 0.001 * X
    # the line's station at the shore stands 4 cm up the side: outwards the water seems to fall at once
    side = np.where(X == 100, falling + 0.04, falling)
    assert above(side) == pytest.approx(100.0)


def test_road_fill_over_a_culvert_is_no_bed():
    # levels rise outwards; the bed was read from the fill of a road beside the shore, which today's ground has opened
    water = 10.0 - 0.0004 * X
    bed = np.where((X > 70) & (X < 100), 10.6, water)
    assert above(water, bed=bed) == pytest.approx(100.0)


def test_lines_that_graze_a_pool_or_are_faint_count_less():
    assert above(10.0 - 0.001 * X, pool=np.arange(100, 109)) == 0.0
    assert above(10.0 - 0.001 * X, pool=np.arange(100, 111)) == pytest.approx(100.0)
    assert above(10.0 - 0.001 * X, sure=False) == 0.0 and above(10.0 + 0.001 * X, sure=False) == 0.0


def test_by_the_only_way_out_of_a_pool_no_water_comes_in():
    # nothing tells, and the line is drawn into the pool: it would be taken for a ditch from above
    level = np.full(N, 10.0)
    assert above(level, (0, 140), cuts=(cut(95),)) == 0.0
    # unless the water falls along the whole line: the cut was found where it comes in
    assert above(10.0 - 0.001 * X, cuts=(cut(95),)) == pytest.approx(100.0)
    assert above(10.0 + 0.001 * X, cuts=(cut(145),)) == pytest.approx(N - 1 - 139.0)
    # a way out at the other end, on another line, or one of several says nothing
    assert above(level, cuts=(cut(145),)) == pytest.approx(100.0)
    assert above(level, (0, 140), cuts=(cut(95, 2),)) == pytest.approx(100.0)
    assert above(level, cuts=(cut(95), cut(145))) == pytest.approx(100.0)


def test_silt_at_the_shore_does_not_turn_a_ditch_round():
    # the way out rises by 0.03 m over silt and falls away behind: water of those few metres alone comes in
    silt = np.where(X > 139, 10.0 + 0.03 * np.exp(-(((X - 150.0) / 6.0) ** 2)) - 0.001 * (X - 139.0), 10.0)
    assert above(silt, (100, N)) == 0.0
    # a bed that goes on rising brings water
    assert above(10.0 + 0.001 * np.maximum(X - 139.0, 0.0), (100, N)) == pytest.approx(N - 1 - 139.0)


@pytest.mark.parametrize("size", range(0, 13))
def test_levels_of_short_lines_are_medians_and_never_what_the_memory_held(size):
    """Mirrored at the ends: numpy's `pad` and `median`. Of two values scipy gave garbage."""
    rng = np.random.default_rng(size)
    for _ in range(200):
        level = np.round(rng.normal(size=size), 1)
        padded = np.pad(level, 2, mode="reflect") if size else np.zeros(4)
        want = [np.median(padded[k : k + 5]) for k in range(size)]
        assert _calm(level).tolist() == want
