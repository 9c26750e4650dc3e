"""Stations in and beside pools: kernels against their plain numpy twins."""

from __future__ import annotations

import naive_open_ways as naive
import numpy as np
import pytest
from scipy import ndimage

from wetscout.kernels import open_ways, route, walls


@pytest.mark.parametrize("seed", range(6))
def test_stations_in_and_beside_a_pool(seed):
    rng = np.random.default_rng(seed)
    mask = ndimage.binary_opening(rng.random((40, 50)) < 0.8)
    row, col, bed = rng.uniform(0.0, 70.0, (3, 300))
    # halves of cells, and places on the border of the window
    row[:60], col[:60] = np.round(row[:60] * 2.0) / 2.0, np.round(col[:60] * 2.0) / 2.0
    stations = np.stack([row, col, bed])
    np.testing.assert_array_equal(open_ways.inside(mask, 10, 12, row, col), naive.inside(mask, 10, 12, row, col))
    assert open_ways.last_inside(mask, 10, 12, row, col) == naive.last_inside(mask, 10, 12, row, col) >= 0
    assert open_ways.last_inside(mask, 200, 12, row, col) == naive.last_inside(mask, 200, 12, row, col) == -1
    for got, want in zip(open_ways.parted(mask, 10, 12, stations), naive.parted(mask, 10, 12, stations), strict=True):
        np.testing.assert_array_equal(got, want)
        assert want.size


@pytest.mark.parametrize("seed", range(6))
def test_where_a_line_shows(seed):
    rng = np.random.default_rng(seed)
    shown = rng.normal(0.3, 0.2, (40, 40)).astype(np.float32)
    row, col = rng.uniform(-5.0, 45.0, (2, 60))
    np.testing.assert_array_equal(open_ways.shown_at(shown, row, col), naive.shown_at(shown, row, col))
    for n in (1, 2, 60):
        assert open_ways.full_depth(shown, row[:n], col[:n], 0.6) == naive.full_depth(shown, row[:n], col[:n], 0.6)
    unknown = np.full((40, 40), np.nan, np.float32)
    assert open_ways.full_depth(unknown, row, col, 0.6) == naive.full_depth(unknown, row, col, 0.6) == (0, -1)


@pytest.mark.parametrize("seed", range(4))
def test_boxes_that_meet_a_window(seed):
    rng = np.random.default_rng(seed)
    low = np.round(rng.uniform(0.0, 100.0, (200, 2)))
    high = low + np.round(rng.uniform(0.0, 20.0, (200, 2)))
    boxes = np.column_stack([low[:, 0], high[:, 0], low[:, 1], high[:, 1]])
    got = open_ways.meeting(boxes, 30.0, 50.0, 20.0, 45.0)
    np.testing.assert_array_equal(got, naive.meeting(boxes, 30.0, 50.0, 20.0, 45.0))
    assert 0 < got.size < 200
    assert open_ways.meeting(boxes[:0], 30.0, 50.0, 20.0, 45.0).size == 0


@pytest.mark.parametrize("n", [7, 8, 9, 40])
def test_slope_of_the_sides_is_the_median(n):
    # numpy's median is the source
    ground = np.random.default_rng(n).normal(5.0, 0.3, (n, n)).astype(np.float32)
    free = np.ones((n, n), np.bool_)
    levels = np.sort(ground[free])
    low = float(levels[int(0.05 * levels.size)])
    depth = 5.4 - low
    slopes = walls.band_slopes(ground, free, low + 0.25 * depth, low + 0.75 * depth, 1.0)
    slope, share, deep = walls.sides(ground, free, 5.4, 1.0)
    assert (slope, share, deep) == (np.median(slopes), slopes.size / levels.size, depth)


@pytest.mark.parametrize("seed", range(40))
def test_a_way_under_a_road_or_past_a_crossing(seed):
    rng = np.random.default_rng(seed)
    rows, cols = rng.integers(0, 50, (2, 30))
    corridor = np.where(rng.random((50, 50)) < 0.03, 4, 1).astype(np.uint8)
    discs = np.column_stack((rng.uniform(-10.0, 60.0, (3, 2)), np.round(rng.uniform(2.0, 5.0, 3))))
    told = [
        [module.passes(rows, cols, a, b, corridor, 4, discs) for a, b in ((0, 8), (5, 12), (20, 90), (3, 3))]
        for module in (route, naive)
    ]
    assert told[0] == told[1]
    assert not told[0][3]


@pytest.mark.parametrize("closed", [False, True])
def test_places_in_and_beside_a_window(closed):
    # whole cells: some lie just as far as counts
    places = np.random.default_rng(5).integers(0, 80, (900, 2)).astype(np.float64)
    args = places, 30, 20, 10, 15, 12.0, closed
    got = open_ways.near_window(*args)
    np.testing.assert_array_equal(got, naive.near_window(*args))
    assert 0 < got.size < 900
    assert open_ways.near_window(*args[:-1], True).size > open_ways.near_window(*args[:-1], False).size
    assert open_ways.near_window(places[:0], *args[1:]).size == 0
