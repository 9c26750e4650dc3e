"""Which basins count as cut, where their cuts are, and the ditch network around them."""

from __future__ import annotations

import naive_surfaces as naive
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_surfaces import straight_ditch

from wetscout.kernels.route import way_out
from wetscout.pipeline import screen_array
from wetscout.records import FILL, Crossing, Cut
from wetscout.sites.cuts import by_road, named_pipe, rim_place
from wetscout.sites.network import Network


@given(seed=st.integers(0, 10_000), rounded=st.booleans())
@settings(max_examples=25, deadline=None)
def test_way_out_leaves_between_the_least_exit_and_the_border_level(seed, rounded):
    rng = np.random.default_rng(seed)
    z = rng.uniform(0, 5, (18, 20))
    z = np.round(z, 0 if rounded else 3).astype(np.float32)
    inside = np.zeros(z.shape, dtype=bool)
    inside[5:13, 5:14] = True
    rows, cols, level, exit_at, open_end = way_out(z, inside, 9, 9, 5)
    assert not open_end
    # at least what it takes to leave the region once, at most what it takes to reach the border
    border = np.zeros_like(inside)
    border[1:-1, 1:-1] = True
    least = naive.least_highest_level(z, inside, (9, 9))
    assert least - 1e-6 <= level <= naive.least_highest_level(z, border, (9, 9)) + 1e-6
    assert not inside[rows[exit_at], cols[exit_at]] and inside[rows[exit_at - 1], cols[exit_at - 1]]
    steps = np.maximum(np.abs(np.diff(rows)), np.abs(np.diff(cols)))
    assert (steps == 1).all()
    assert z[rows[: exit_at + 1], cols[: exit_at + 1]].max() == pytest.approx(level)


def test_way_out_of_a_cut_bowl_is_the_cut():
    row, col = np.mgrid[0:60, 0:60]
    z = (0.002 * ((row - 30.0) ** 2 + (col - 30.0) ** 2)).astype(np.float32)
    inside = z < 0.6
    z[30, 30:] = np.minimum(z[30, 30:], 0.1 - 0.001 * np.arange(30))
    rows, cols, level, exit_at, _ = way_out(z, inside, 30, 30, 8)
    assert level == pytest.approx(naive.least_highest_level(z, inside, (30, 30)))
    assert (rows[exit_at], cols[exit_at]) == (30, 48)


def test_way_out_says_when_it_meets_the_border():
    z = np.zeros((8, 8), dtype=np.float32)
    inside = np.ones((8, 8), dtype=bool)
    *_, open_end = way_out(z, inside, 4, 4, 5)
    assert open_end


def test_rim_is_the_first_of_two_humps_of_equal_height():
    rim = np.full((1, 60), 10.0, dtype=np.float32)
    rim[0, 15], rim[0, 40] = 11.0, 11.02
    row, col = np.zeros(60, dtype=np.int64), np.arange(60)
    assert rim_place(rim, (row, col), 10, 45, 99.0) == 15
    rim[0, 40] = 11.2
    assert rim_place(rim, (row, col), 10, 45, 99.0) == 40
    assert rim_place(rim, (row, col), 10, 45, 99.0, col < 30) == 15
    assert rim_place(rim, (row, col), 10, 45, 10.9) == 15


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
def test_a_way_out_lies_by_a_road_near_its_cut_or_by_a_pipe_that_was_named(cell_m):
    n = round(60.0 / cell_m)
    along = np.arange(n, dtype=np.int64)
    cut = Cut(n // 2, n // 2, 0.0, 1.0, 9.0, 9.5, 8.5, 1, True, np.full(n, n // 2, dtype=np.int64), along)
    bare = np.zeros((n, n), dtype=np.uint8)
    assert not by_road(cut, bare, cell_m)
    for away_m, there in ((4.0, True), (8.0, False)):
        road = bare.copy()
        road[n // 2 + round(away_m / cell_m), :] = FILL
        assert by_road(cut, road, cell_m) == there
    # on the way, but 26 m beyond the cut
    far = bare.copy()
    far[:, n - round(4.0 / cell_m)] = FILL
    assert not by_road(cut, far, cell_m)
    ends = np.array([n // 2, n // 2], dtype=float), np.array([n // 2 - 2, n // 2 + 6], dtype=float)
    for named in (True, False):
        assert named_pipe(cut, [Crossing(*ends, np.array([9.0, 8.9]), named)], cell_m) == named
        assert not named_pipe(cut, [Crossing(ends[0] + 30.0 / cell_m, ends[1], np.array([9.0, 8.9]), named)], cell_m)


def test_length_above_counts_side_ditches_once():
    main = straight_ditch(np.full(101, 50.0), np.arange(101.0))
    side = straight_ditch(np.arange(10.0, 51.0), np.full(41, 40.0))
    late = straight_ditch(np.arange(20.0, 51.0), np.full(31, 80.0))
    ditches = tuple(type(d)(**{**d.__dict__, "ditch_id": k + 1}) for k, d in enumerate((main, side, late)))
    network = Network(ditches, 1.0, 3.0)
    # up to station 60: 60 m of the main ditch and the 40 m side ditch; the late one joins below
    assert network.length_above([(0, 60)], set()) == pytest.approx(100.0, abs=0.5)
    assert network.nearest(52.0, 60.0, 6.0) == 0
    assert network.nearest(70.0, 60.0, 6.0) is None


def drained_bowl(drained=True, seed=3):
    """Bowl 0.8 m deep in a gently falling plain; a 1.3 m deep ditch leads out to the east border."""
    rng = np.random.default_rng(seed)
    row, col = np.mgrid[0:420, 0:520].astype(float)
    radius = np.hypot(row - 210, col - 200)
    ground = 100 - 0.004 * (col - 200) + 0.8 * np.clip(radius / 60, 0, 1) ** 2 - 0.8
    ground += 0.15 * np.exp(-(((radius - 62) / 12) ** 2))
    if drained:
        off = np.abs(row - 210 - 0.1 * (col - 200)) / np.hypot(1, 0.1)
        bed = 98.9 - 0.0025 * (col - 200)
        cut = np.where(col >= 190, bed + np.clip(off - 0.6, 0, None) / 1.5, np.inf)
        ground = np.minimum(ground, cut)
    return (ground + rng.normal(0, 0.03, ground.shape)).astype(np.float32)


def test_a_drained_bowl_is_found_with_its_cut_and_level():
    screen = screen_array(drained_bowl(), 1.0)
    assert len(screen.sites) == 1
    site = screen.sites[0]
    # closed form: the rim stands lowest in the east, where the plain has fallen 0.004 x 62 m
    rim = max(
        100 - 0.004 * x + 0.8 * min(x / 60, 1) ** 2 - 0.8 + 0.15 * np.exp(-(((x - 62) / 12) ** 2))
        for x in range(40, 90)
    )
    assert site.values["spill_m"] == pytest.approx(rim, abs=0.06)
    assert site.values["drain_position"] == "starts here"
    plug = site.plugs[0]
    assert 50 <= np.hypot(plug.values["_row"] - 210, plug.values["_col"] - 200) <= 75
    assert plug.values["fill_m3"] > 5


def test_a_whole_bowl_is_a_basin_but_not_offered():
    screen = screen_array(drained_bowl(drained=False), 1.0)
    assert screen.sites == ()
    assert any(b.values["rim"] == "whole" and b.values["pool_m2"] > 5000 for b in screen.basins)


@pytest.mark.parametrize("turn", ["mirrored", "rotated"])
def test_a_turned_dem_gives_the_turned_answer(turn):
    z = drained_bowl()
    one = screen_array(z, 1.0).sites[0].values
    other = screen_array(np.ascontiguousarray(z[:, ::-1] if turn == "mirrored" else np.rot90(z)), 1.0).sites[0].values
    assert other["spill_m"] == pytest.approx(one["spill_m"], abs=0.02)
    assert other["pool_m2"] == pytest.approx(one["pool_m2"], rel=0.02)


def test_stations_in_a_window_as_one_looks_them_up_one_by_one():
    rng = np.random.default_rng(3)
    made = (straight_ditch(rng.uniform(0, 60, n), rng.uniform(0, 60, n)) for n in (80, 60, 90))
    ditches = tuple(type(d)(**{**d.__dict__, "ditch_id": k + 1}) for k, d in enumerate(made))
    network = Network(ditches, 1.0, 3.0)
    mask = rng.random((30, 25)) < 0.4
    slow = {}
    for j, d in enumerate(ditches):
        for k, (r, c) in enumerate(zip(np.floor(d.row + 0.5) - 12, np.floor(d.col + 0.5) - 20, strict=True)):
            if 0 <= r < 30 and 0 <= c < 25 and mask[int(r), int(c)]:
                slow.setdefault(j, []).append(k)
    found = network.stations_in(mask, 12, 20)
    assert {j: at.tolist() for j, at in found.items()} == slow and len(slow) == 3
    assert network.stations_in(mask, 200, 0) == {}
