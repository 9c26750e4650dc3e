"""Kernels of covered drains against their slow twins, and against closed forms and a library."""

from __future__ import annotations

import naive_buried as naive
import numpy as np
import pytest
from skimage.graph import MCP_Geometric

from wetscout.kernels.faint import bands, block_means, follow
from wetscout.kernels.trench import least_trench


@pytest.mark.parametrize("seed", range(6))
def test_trench_equals_its_twin(seed: int):
    rng = np.random.default_rng(seed)
    z = rng.uniform(10.0, 12.0, (9, 11)).astype(np.float32)
    z[rng.random(z.shape) < 0.1] = np.nan
    z[4, 5] = 10.5
    bed = np.full(z.shape, np.nan, np.float32)
    bed[:, 0], bed[0, :] = 9.55, 9.9
    rows, cols, deepest = least_trench(z, bed, 4, 5, 9.9, 0.01, 0.6, 3.0)
    way, deep = naive.least_trench(z, bed, 4, 5, 9.9, 0.01, 0.6, 3.0)
    assert list(zip(rows.tolist(), cols.tolist(), strict=True)) == (way or [])
    assert deepest == pytest.approx(deep, abs=1e-12)


def test_no_way_when_every_ditch_lies_too_high():
    z = np.full((5, 8), 11.0, np.float32)
    bed = np.full(z.shape, np.nan, np.float32)
    bed[:, 7] = 10.4
    assert least_trench(z, bed, 2, 1, 10.0, 0.001, 0.6, 1.0)[0].size == 0


def test_on_level_ground_the_way_is_straight_and_its_depth_closed_form():
    """Ground at 11, pipe from 10 with 1 % fall over 12 m: deepest at the end, 1 + 0.12 m."""
    z = np.full((5, 9), 11.0, np.float32)
    bed = np.full(z.shape, np.nan, np.float32)
    bed[2, 7] = 9.0
    rows, cols, deepest = least_trench(z, bed, 2, 1, 10.0, 0.01, 0.6, 2.0)
    assert rows.tolist() == [2] * 7
    assert cols.tolist() == list(range(1, 8))
    assert deepest == pytest.approx(1.12)


def test_without_fall_the_cost_is_that_of_a_library():
    """scikit-image, MCP_Geometric, with the depth of each entered cell as its cost: same end, same way's cost.

    The library charges half of both cells a step; ways are compared by its measure on ground of two depths only, where
    leaving the cheap cells never pays.
    """
    z = np.full((15, 21), 13.0, np.float32)
    way = [(7, 3), (6, 4), (5, 5), (5, 6), (5, 7), (4, 8), (3, 9), (3, 10), (4, 11), (5, 12), (6, 13), (7, 14), (7, 15)]
    for cell in way:
        z[cell] = 11.0
    bed = np.full(z.shape, np.nan, np.float32)
    bed[7, 15] = 9.0
    rows, cols, _ = least_trench(z, bed, 7, 3, 10.0, 0.0, 0.6, 1.0)
    cost = np.square(z.astype(np.float64) - 10.0)
    library = MCP_Geometric(cost)
    library.find_costs([(7, 3)])
    assert list(zip(rows.tolist(), cols.tolist(), strict=True)) == [tuple(p) for p in library.traceback((7, 15))]


@pytest.mark.parametrize("seed", range(4))
def test_bands_and_paths_equal_their_twins(seed: int):
    rng = np.random.default_rng(seed)
    section = rng.normal(0.0, 0.05, (5, 27))
    section[rng.random(section.shape) < 0.15] = np.nan
    answer = bands(section, 3, 1, 3, 6)
    assert np.allclose(answer, naive.bands(section, 3, 1, 3, 6), atol=1e-12)
    path, total = follow(answer, 1, 2)
    best = naive.follow(answer, 1, 2)
    assert total == pytest.approx(best[0], abs=1e-12)
    assert tuple(path.tolist()) == best[1]


def test_block_means_are_those_of_the_slow_twin():
    rng = np.random.default_rng(3)
    section = rng.normal(10.0, 1.0, (47, 31))
    section[rng.random(section.shape) < 0.4] = np.nan
    for blocks in (1, 5, 16, 47):
        edges = np.linspace(0, 47, blocks + 1).round().astype(np.int64)
        got = block_means(section, edges)
        np.testing.assert_array_equal(got, naive.block_means(section, edges))
    assert 0.3 < np.isnan(got).mean() < 0.5  # the last blocks are single cells
