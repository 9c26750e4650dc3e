"""Distances in and around pools, against slow twins and scipy's distance transform."""

from __future__ import annotations

import naive_shore as naive
import numpy as np
import pytest
from scipy import ndimage

from wetscout.kernels.shore import reached_across, shore_ring, squared_distance


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
    start = ~mask & (rng.random(shape) < 0.3)
    assert np.array_equal(reached_across(start, mask, steps), naive.reached_across(start, mask, steps))


def test_a_shore_of_a_full_window_is_its_border():
    assert shore_ring(np.ones((5, 6), dtype=bool), 1).sum() == 30 - 12
