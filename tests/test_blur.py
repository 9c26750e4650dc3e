"""Filters in kernels against scipy and plain numpy: equal to the bit."""

from __future__ import annotations

import naive_blur as naive
import numpy as np
import pytest
from scipy import ndimage

from wetscout.kernels import blur


def ground(seed: int, shape: tuple[int, int], dtype: type = np.float32) -> np.ndarray:
    """Heights with some unknown cells."""
    rng = np.random.default_rng(seed)
    z = rng.normal(250.0, 3.0, shape).astype(dtype)
    z[rng.random(shape) < 0.01] = np.nan
    return z


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize(("sigma", "truncate"), [(0.5, 4.0), (1.3, 4.0), (2.0, 3.0), (2.5, 4.0), (0.1, 3.0)])
@pytest.mark.parametrize("shape", [(40, 70), (3, 50), (60, 4), (1, 1)])
def test_gauss_is_that_of_scipy(dtype: type, sigma: float, truncate: float, shape: tuple[int, int]) -> None:
    z = ground(1, shape, dtype)
    weights = blur.weights_of(sigma, truncate)
    for mode, beyond in (("nearest", 0.0), ("constant", 0.0), ("constant", np.nan)):
        for values in (z, np.nan_to_num(z)):
            got = blur.gauss(values, weights, mode == "nearest", beyond)
            wanted = ndimage.gaussian_filter(values, sigma, mode=mode, cval=beyond, truncate=truncate)
            np.testing.assert_array_equal(got, wanted)


@pytest.mark.parametrize("half", [1, 2, 5, 12])
@pytest.mark.parametrize("shape", [(30, 41), (4, 30), (25, 3)])
def test_box_counts_are_those_of_every_square(half: int, shape: tuple[int, int]) -> None:
    mask = np.random.default_rng(half).random(shape) < 0.4
    np.testing.assert_array_equal(blur.box_count(mask, half), naive.box_count(mask, half))


@pytest.mark.parametrize("shape", [(30, 41), (3, 30), (2, 9), (1, 1)])
def test_bends_and_their_histogram(shape: tuple[int, int]) -> None:
    z = ground(3, shape)
    got = blur.bends(z)
    np.testing.assert_array_equal(got, naive.bends(z))
    skip = np.random.default_rng(4).random(shape) < 0.2
    for values in (got, got.astype(np.float64)):
        counts = np.ones(4096, np.int64)
        blur.count_steps(values, skip, 2.0**-9, counts)
        np.testing.assert_array_equal(counts - 1, naive.count_steps(values, skip, 2.0**-9, 4096))


@pytest.mark.parametrize("half", [1, 2, 6, 40])
@pytest.mark.parametrize("shape", [(30, 41), (4, 30), (25, 3), (1, 1)])
def test_the_lowest_and_highest_around_are_those_of_scipy(half: int, shape: tuple[int, int]) -> None:
    z = np.nan_to_num(ground(half, shape), nan=np.inf)
    np.testing.assert_array_equal(blur.lowest_around(z, half), ndimage.minimum_filter(z, 2 * half + 1))
    np.testing.assert_array_equal(-blur.lowest_around(-z, half), ndimage.maximum_filter(z, 2 * half + 1))


@pytest.mark.parametrize("half", [1, 2, 6, 40])
@pytest.mark.parametrize("shape", [(30, 41), (4, 30), (25, 3), (1, 1)])
def test_what_an_opening_takes_away_is_what_scipy_says(half: int, shape: tuple[int, int]) -> None:
    z = ground(half, shape)
    z[: shape[0] // 3, : shape[1] // 2] = np.nan
    for got, wanted in zip(
        blur.above_opening(z, half, np.float32(0.3)), naive.above_opening(z, half, np.float32(0.3)), strict=True
    ):
        np.testing.assert_array_equal(got, wanted)
