"""from_array: holes, water at survey, noise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from ingest_ground import filled, rolling, smooth_plain
from scipy import ndimage

from wetscout.errors import InputError
from wetscout.grid import Grid
from wetscout.ingest import from_array
from wetscout.ingest.noise import noise_from_histogram, noise_halo, noise_histogram
from wetscout.ingest.water import water_surface
from wetscout.settings.ingest import IngestSettings

SETTINGS = IngestSettings()


def test_the_input_is_not_altered_and_no_data_of_every_kind_is_nan():
    z = rolling().astype(np.float64)
    z[3, 4], z[5, 6], z[7, 8] = np.nan, np.inf, -np.inf
    before = z.copy()
    terrain = from_array(z, 1.0)
    np.testing.assert_array_equal(z, before)
    assert terrain.z.dtype == np.float32
    assert np.isnan(terrain.z[[3, 5, 7], [4, 6, 8]]).all()
    assert np.count_nonzero(np.isnan(terrain.z)) == 3
    assert terrain.hole.sum() == 3
    assert math.isnan(terrain.relief_m)


def test_masked_and_whole_number_arrays():
    z = np.ma.masked_equal(np.array([[1, 2, 3], [4, -9999, 6], [7, 8, 9]]), -9999)
    terrain = from_array(z, 2.0)
    assert np.isnan(terrain.z[1, 1]) and terrain.hole[1, 1]
    assert terrain.grid == Grid(3, 3, 0.0, 6.0, 2.0, 2.0, 2.0)


@pytest.mark.parametrize(
    ("z", "cell"),
    [
        (np.zeros(4), 1.0),
        (np.zeros((2, 2), dtype=complex), 1.0),
        (np.zeros((2, 2), dtype=bool), 1.0),
        (np.full((3, 3), np.nan), 1.0),
        (np.zeros((3, 3)), 0.0),
        (np.zeros((3, 3)), math.nan),
    ],
)
def test_what_is_no_ground_is_refused(z, cell):
    with pytest.raises(InputError):
        from_array(z, cell)


def test_a_grid_of_another_shape_is_refused():
    with pytest.raises(InputError, match="cells"):
        from_array(np.zeros((3, 3)), 1.0, grid=Grid(2, 3, 0, 0, 1, 1, 1.0))


def test_no_data_that_meets_the_border_only_by_a_corner_is_outside():
    z = np.ones((8, 8))
    z[0, 0] = z[1, 1] = z[2, 2] = np.nan  # a diagonal chain from the corner
    z[5, 5] = np.nan
    terrain = from_array(z, 1.0)
    assert list(zip(*np.nonzero(terrain.hole), strict=True)) == [(5, 5)]


def test_holes_equal_those_of_a_flood_from_the_border():
    """Slow twin: grow from the border over 8 neighbours, one ring a pass."""
    rng = np.random.default_rng(5)
    z = rolling(60, 70)
    z[rng.random(z.shape) < 0.45] = np.nan
    empty = np.isnan(z)
    outside = np.zeros_like(empty)
    outside[0], outside[-1], outside[:, 0], outside[:, -1] = empty[0], empty[-1], empty[:, 0], empty[:, -1]
    while True:
        grown = outside.copy()
        for row, col in zip(*np.nonzero(outside), strict=True):
            near = (slice(max(0, row - 1), row + 2), slice(max(0, col - 1), col + 2))
            grown[near] |= empty[near]
        if (grown == outside).all():
            break
        outside = grown
    hole = from_array(z, 1.0).hole
    assert hole.any() and outside.any()
    np.testing.assert_array_equal(hole, empty & ~outside)


# --- noise ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cell_m", [1.0, 1.524, 2.0, 3.0])
@pytest.mark.parametrize("noise_m", [0.02, 0.05])
def test_white_noise_on_a_plane_reads_as_theory_says(cell_m, noise_m):
    """Closed form: z - G z of white noise has variance s^2 (1 - 2 g0 + sum g^2), g the kernel of the filter."""
    rows, cols = 300, 320
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:rows, 0:cols]
    z = (200.0 + 0.01 * x + 0.02 * y + rng.normal(0.0, noise_m, (rows, cols))).astype(np.float32)
    impulse = np.zeros((81, 81))
    impulse[40, 40] = 1.0
    kernel = ndimage.gaussian_filter(impulse, 2.5 / cell_m)
    wanted = noise_m * math.sqrt(1.0 - 2.0 * kernel[40, 40] + (kernel**2).sum())
    assert from_array(z, cell_m).noise_m == pytest.approx(wanted, rel=0.02)


def test_a_noiseless_slope_has_none():
    """float32 at 200 m keeps 1.5e-5 m, which is all that may be left."""
    y, x = np.mgrid[0:100, 0:100]
    assert from_array(200.0 + 0.01 * x + 0.02 * y, 1.0).noise_m < 1e-4


def test_noise_is_the_median_of_a_direct_computation():
    z = rolling(noise_m=0.04)
    residual = np.abs(z - ndimage.gaussian_filter(z.astype(np.float64), 2.5))[10:-10, 10:-10]
    assert from_array(z, 1.0).noise_m == pytest.approx(1.4826 * np.median(residual), abs=1e-4)


@pytest.mark.parametrize("tile", [37, 64, 101])
def test_histograms_of_tiles_add_up_to_that_of_the_whole(tile):
    z = rolling(150, 170)
    z[40:50, 60:63] = np.nan
    skip = np.zeros(z.shape, dtype=bool)
    skip[100:120, 20:60] = True
    halo = noise_halo(1.0, 2.5)
    whole = noise_histogram(z, skip, 1.0, 2.5)
    total = np.zeros_like(whole)
    for row in range(0, z.shape[0], tile):
        for col in range(0, z.shape[1], tile):
            top, left = max(0, row - halo), max(0, col - halo)
            window = (slice(top, row + tile + halo), slice(left, col + tile + halo))
            owned = slice(row - top, row - top + tile), slice(col - left, col - left + tile)
            total += noise_histogram(z[window], skip[window], 1.0, 2.5, owned)
    np.testing.assert_array_equal(total, whole)
    assert whole.sum() > 10_000


def test_a_raster_smaller_than_the_filter_has_no_measured_noise():
    assert math.isnan(from_array(np.arange(16.0).reshape(4, 4), 1.0).noise_m)
    assert math.isnan(noise_from_histogram(np.zeros(8, dtype=np.int64)))


# --- water at survey -----------------------------------------------------------------------------------------------


def _pond(z, row, col, radius, level):
    y, x = np.mgrid[0 : z.shape[0], 0 : z.shape[1]]
    inside = (y - row) ** 2 + (x - col) ** 2 < radius**2
    bank = (y - row) ** 2 + (x - col) ** 2 < (radius + 3) ** 2
    z[bank] = np.maximum(z[bank], level + 0.3)
    z[inside] = level
    return inside


def test_a_pond_is_found_with_its_area():
    z = rolling(200, 220)
    inside = _pond(z, 90, 100, 20, np.float32(379.0))
    water = from_array(z, 1.0).water
    # the disc's outermost single cells are no 3x3 core; nothing beyond the disc may be taken
    assert not (water & ~inside).any()
    assert water.sum() >= 0.97 * inside.sum()


def test_a_pond_below_the_size_limit_is_left():
    z = rolling(200, 220)
    _pond(z, 90, 100, 9, np.float32(379.0))  # 254 m2
    assert not from_array(z, 1.0).water.any()


def test_a_pond_cut_by_the_raster_edge_is_found():
    z = rolling(120, 150)
    inside = _pond(z, 60, 0, 25, np.float32(378.5))
    water = from_array(z, 1.0).water
    assert water.sum() >= 0.95 * inside.sum() and not (water & ~inside).any()


@pytest.mark.parametrize("step", [0.01, 0.1])
@pytest.mark.parametrize("fall", [0.0, 0.0005, 0.001])
@pytest.mark.parametrize("cell_m", [1.0, 3.0])
def test_a_rounded_lake_plain_is_not_water(step, fall, cell_m):
    """Smooth ground rounded to 1 cm or 1 dm has exactly flat bands and floors of hectares; none is water."""
    plain = smooth_plain(400, 500, fall, cell_m)
    rounded = (np.round(plain / step) * step).astype(np.float32)
    core = (ndimage.maximum_filter(rounded, 3) == ndimage.minimum_filter(rounded, 3)).sum()
    assert core * cell_m**2 > 10 * SETTINGS.water_min_m2  # the trap is there
    assert not water_surface(rounded, cell_m, SETTINGS).any()


def test_a_staircase_is_not_water():
    z = np.repeat(np.arange(10.0, dtype=np.float32), 30)[:, None] * np.ones((1, 200), dtype=np.float32)
    assert not water_surface(z, 1.0, SETTINGS).any()


def test_a_smooth_made_up_bowl_with_a_flat_floor_is_not_water():
    y, x = np.mgrid[0:200, 0:220]
    z = np.maximum(0.0, np.hypot(y - 100, x - 110) - 40.0) * 0.05
    assert not water_surface(z.astype(np.float32), 1.0, SETTINGS).any()


def test_a_pond_in_a_rounded_plain_is_still_found():
    noise = np.random.default_rng(2).normal(0.0, 0.015, (300, 300))
    z = np.round(smooth_plain(300, 300, 0.0005) + noise, 2).astype(np.float32)
    inside = _pond(z, 150, 150, 30, np.float32(248.0))
    water = water_surface(z, 1.0, SETTINGS)
    assert water.sum() >= 0.97 * inside.sum() and not (water & ~inside).any()


def _lake(slope, rise_m, noise_m=0.04, cell_m=2.0):
    """Ground 1-2 m above a level floor of 40 m radius whose banks rise at `slope`; rough everywhere."""
    z = rolling(120, 130, noise_m=0.0, cell_m=cell_m) - 380.0
    y, x = np.mgrid[0:120, 0:130] * cell_m
    away = np.hypot(y - 120.0, x - 130.0) - 40.0
    dug = np.minimum(z, -rise_m + np.maximum(away, 0.0) * slope)
    noise = np.random.default_rng(4).normal(0.0, noise_m, z.shape)
    return (380.0 + dug + noise).astype(np.float32), away < 0


@pytest.mark.parametrize("cell_m", [1.0, 2.0, 3.0])
def test_rough_water_between_steep_banks_is_found(cell_m):
    z, floor = _lake(0.4, 4.0, cell_m=cell_m)
    water = from_array(z, cell_m).water
    assert (water & floor).sum() > 0.9 * floor.sum()
    # at most the toe of the bank is taken with it
    assert water.sum() < 1.15 * floor.sum()


def test_a_wetland_basin_with_gentle_shores_is_not():
    """Shores of 5 %: steeper than most, and its floor is as level as the lake's."""
    z, _floor = _lake(0.05, 4.0)
    assert not from_array(z, 2.0).water.any()


def test_a_ditch_through_one_bank_does_not_hide_a_lake_and_an_open_side_does():
    z, floor = _lake(0.4, 4.0)
    # it is seen from the shore on: in the water nothing lies lower
    z[59:62, 86:] = np.minimum(z[59:62, 86:], np.float32(375.8))
    assert from_array(z, 2.0).water.sum() > 0.9 * floor.sum()
    valley = 375.9 - 0.05 * np.arange(65)  # half of the lake is a valley that falls away
    z[:, 65:] = np.minimum(z[:, 65:], valley.astype(np.float32))
    assert not from_array(z, 2.0).water.any()


def test_a_level_field_with_a_ditch_at_the_foot_of_its_banks_is_no_water():
    """Water is the lowest ground there is: a ditch half round the floor, 0.5 m deeper, shows that it is a field."""
    z, floor = _lake(0.4, 4.0)
    y, x = np.mgrid[0:120, 0:130] * 2.0
    away = np.hypot(y - 120.0, x - 130.0) - 40.0
    assert from_array(z, 2.0).water.sum() > 0.9 * floor.sum()
    z[(away > -1.5) & (away < 1.5) & (x > 130)] = 375.5
    assert not from_array(z, 2.0).water.any()


@pytest.mark.parametrize("cell_m", [2.0, 3.0])
def test_a_level_floor_with_a_ditch_cut_into_it_is_no_water(cell_m):
    """Two cells wide and 0.3 m deep, from the middle out through the bank: beneath water nobody would see it."""
    z, floor = _lake(0.4, 4.0, cell_m=cell_m)
    row, col = round(120.0 / cell_m), round(130.0 / cell_m)
    cut = np.s_[row : row + 2, col:]
    z[cut] = np.minimum(z[cut], np.float32(375.7))
    assert (from_array(z, cell_m).water & floor).sum() < 0.1 * floor.sum()


def test_filled_hollows_count_as_unknown_ground():
    z = rolling(200, 220)
    y, x = np.mgrid[0:200, 0:220]
    z -= (3.0 * np.exp(-((y - 100) ** 2 + (x - 110) ** 2) / 800.0)).astype(np.float32)
    flat = filled(z)
    water = water_surface(flat, 1.0, SETTINGS)
    labels, _count = ndimage.label(flat > z, structure=np.ones((3, 3)))
    # single cells of noise are filled all over the ground, too
    pools = (np.bincount(labels.ravel()) > 500)[labels] & (labels > 0)
    assert pools[100, 110] and pools.sum() > 5000
    assert (water & pools).sum() > 0.95 * pools.sum()
    assert (water & ~pools).sum() < 0.05 * pools.sum()
