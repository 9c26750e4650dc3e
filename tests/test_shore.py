"""Distances in and around pools, against slow twins and scipy's distance transform."""

from __future__ import annotations

import naive_shore as naive
import numpy as np
import pytest
from scipy import ndimage

from wetscout.kernels.pool_window import count_beside, count_labels, pool_heights, rises, spread_pool, third_differences
from wetscout.kernels.shore import closed, reached_across, shore_ring, shore_steps, squared_distance, within_steps


@pytest.mark.parametrize("seed", range(12))
def test_shore_kernels_as_their_twins(seed):
    rng = np.random.default_rng(seed)
    shape = tuple(rng.integers(3, 40, 2))
    field = ndimage.gaussian_filter(rng.normal(size=shape), rng.uniform(0, 3))
    mask = field > np.quantile(field, rng.uniform(0.05, 0.9))
    assert np.array_equal(squared_distance(mask), naive.squared_distance(mask))
    padded = np.pad(mask, 1)
    assert np.array_equal(np.sqrt(squared_distance(padded)), ndimage.distance_transform_edt(padded))
    steps = int(rng.integers(1, 9))
    assert np.array_equal(shore_ring(mask, steps), naive.shore_ring(mask, steps))
    assert np.array_equal(within_steps(mask, steps), ndimage.binary_dilation(mask, iterations=steps))
    start = ~mask & (rng.random(shape) < 0.3)
    assert np.array_equal(reached_across(start, mask, steps), naive.reached_across(start, mask, steps))


@pytest.mark.parametrize("seed", range(12))
def test_gaps_are_closed_as_scipy_closes_them(seed):
    rng = np.random.default_rng(seed)
    mask = rng.random(rng.integers(1, 40, 2)) < rng.uniform(0.05, 0.9)
    steps = int(rng.integers(1, 6))
    assert np.array_equal(closed(mask, steps), ndimage.binary_closing(np.pad(mask, steps + 1), iterations=steps))


def test_a_shore_of_a_full_window_is_its_border():
    assert shore_ring(np.ones((5, 6), dtype=bool), 1).sum() == 30 - 12


@pytest.mark.parametrize("seed", range(6))
def test_pool_windows_as_numpy_tells_them(seed):
    rng = np.random.default_rng(seed)
    shape = tuple(rng.integers(4, 30, 2))
    labels = rng.integers(-1, 5, shape).astype(np.int32)
    ground = rng.integers(0, 40, shape).astype(np.float32) / 8
    water, corridor = rng.random(shape) < 0.3, rng.integers(0, 8, shape).astype(np.uint8)
    mask = (labels >= 1) & (labels <= 3)
    free = mask & ((corridor & 3) == 0)
    counts = (mask.sum(), (mask & water).sum(), (mask & ((corridor & 4) > 0)).sum(), free.sum())
    told = np.zeros((5, 4), np.int64)
    count_labels(labels, water, corridor, 4, 3, told)
    assert tuple(told[1:4].sum(axis=0)) == counts
    for cells, dug in ((mask, 0), (free, 3)):
        heights, at = pool_heights(labels, 1, 3, ground, corridor, dug, int(cells.sum()))
        assert np.array_equal(heights, ground[cells])
        assert at == np.argmin(np.where(cells, ground, np.inf))
    away = shore_steps(mask)
    assert np.array_equal(away, naive.shore_steps(mask))
    ring = free & (away <= 2)
    for mine, its in zip(rises(ground, away, 2, corridor, 3), naive.rises(ground, ring), strict=True):
        assert np.array_equal(mine, its)
    ground[rng.random(shape) < 0.02] = np.nan
    rows, cols = np.nonzero(mask)
    steps = np.array([(0, 2), (2, 0), (1, 1), (1, -1)])
    found = third_differences(ground, rows, cols, steps)
    assert np.array_equal(found, naive.third_differences(ground, rows, cols, steps), equal_nan=True)


@pytest.mark.parametrize("seed", range(12))
def test_pools_spread_and_cells_beside_are_counted_as_by_the_twins(seed):
    rng = np.random.default_rng(100 + seed)
    shape = tuple(rng.integers(3, 45, 2))
    natural = ndimage.gaussian_filter(rng.normal(size=shape), 2.0).astype(np.float32)
    natural[rng.random(shape) < 0.02] = np.nan
    level = np.float32(np.nanquantile(natural, 0.6))
    pool = (natural < np.nanquantile(natural, 0.4)) & (rng.random(shape) < 0.9)
    catchment = rng.random(shape) < 0.9
    args = (pool, catchment, natural, level, 3)
    got = spread_pool(*args)
    assert np.array_equal(got, naive.spread_pool(*args))
    assert got.sum() > pool.sum()
    assert count_beside(pool, ~got) == naive.count_beside(pool, ~got)
