"""Natural ground over cuts and fills, and today's ground."""

from __future__ import annotations

import naive_surfaces as naive
import numpy as np
import pytest

from wetscout.ingest import from_array
from wetscout.kernels import bridge, moments, rays
from wetscout.kernels.open_bed import open_humps
from wetscout.kernels.sections import (
    bilinear,
    lower_line,
    median_along,
    paint_band,
    sections,
    share_set,
    shoulders,
    spoil_beside,
)
from wetscout.records import CUT, Ditch, Embankment, Linework
from wetscout.settings import Settings
from wetscout.surfaces import build_surfaces
from wetscout.surfaces.build import smooth_twice
from wetscout.surfaces.today import carve


def straight_ditch(row, col, **values):
    n = len(row)
    flat = np.zeros(n)
    base = {
        "bed_m": flat,
        "bank_low_m": flat,
        "bank_high_m": flat,
        "top_width_m": flat + 5,
        "kind": "ditch",
        "depth_m": 1.0,
        "bank_climb_m": 0.5,
        "straightness": 1.0,
        "spoil": "none",
    }
    return Ditch(1, np.asarray(row, float), np.asarray(col, float), **{**base, **values})


def carry_across(z, mask, reach, run, ratio, damping, hollow):
    """High and low levels alone."""
    return bridge.carry(z, mask, reach, run, (ratio, damping, *hollow), (4, 1, 0))[:2]


def carry_cautious(z, mask, reach, run, radius, stride, best):
    """Cautious levels alone."""
    return bridge.carry(z, mask, reach, run, (1.5, 0.7, 3, 0.03), (radius, stride, best))[2]


@pytest.fixture
def rough():
    rng = np.random.default_rng(7)
    z = (rng.normal(0, 0.3, (40, 44)).cumsum(0) / 5).astype(np.float32)
    mask = np.zeros(z.shape, dtype=bool)
    for k in range(30):
        mask[5 + k, 6 + k // 2 : 11 + k // 2] = True
    z[20, 3] = np.nan
    return z, mask


@pytest.mark.parametrize("hollow", [(1, 0.03), (3, 0.03), (9, 0.3)])
def test_carry_across_equals_the_obvious_version(rough, hollow):
    z, mask = rough
    high, low = carry_across(z, mask, 20, 5, 1.5, 0.7, hollow)
    want_high, want_low = naive.carry_across(z, mask, 20, 5, 1.5, 0.7, hollow)
    np.testing.assert_allclose(high, want_high, atol=2e-5)
    np.testing.assert_allclose(low, want_low, atol=2e-5)


@pytest.mark.parametrize(("radius", "stride"), [(8, 1), (12, 2)])
def test_carry_cautious_equals_the_obvious_version(rough, radius, stride):
    z, mask = rough
    got = carry_cautious(z, mask, 20, 5, radius, stride, 3)
    np.testing.assert_allclose(got, naive.carry_cautious(z, mask, 20, 5, radius, stride, 3), atol=2e-5)


@pytest.mark.parametrize(("radius", "stride"), [(16, 2), (8, 1), (4, 1), (32, 4)])
def test_sums_over_a_disc_are_those_of_its_samples_to_the_bit(radius, stride):
    rng = np.random.default_rng(radius)
    cells = 2 * radius + 7
    z = (300.0 + rng.normal(size=(cells, cells))).astype(np.float32)
    state = (rng.random(z.shape) < 0.3).astype(np.uint8)
    rows = moments.disc_rows(radius, stride)
    scale = moments.whole_scale(z.ravel(), rows)
    assert scale >= 2.0**15
    ring, sums = np.zeros((2 * radius + 1, cells + stride, 8), np.int64), np.zeros((5, 8), np.int64)
    flat = z.ravel(), state.ravel()
    for r, c in ((radius, radius), (radius + 3, radius + 6), (radius + 6, radius + 1)):
        for row in range(r - radius, r + radius + 1):
            moments.add_along(*flat, row * cells, stride, scale, ring[row % ring.shape[0]])
        moments.add_up(ring, r - radius, c + stride, rows, stride, sums)
        at_row, at_col, *_ = rays.fit_terms(radius, stride)
        open_ = state[r + at_row, c + at_col] == 0
        v, u = (at[open_] // stride for at in (at_row, at_col))
        height = (z[r + at_row, c + at_col][open_].astype(float) * scale).astype(np.int64)
        for i in range(5):
            for j in range(5 - i):
                assert sums[j, i] == (u**i * v**j).sum()
                if i + j < 3:
                    assert sums[j, 5 + i] == (height * u**i * v**j).sum()


def test_sums_that_float64_rounds_are_not_told_from_whole_numbers():
    rows = moments.disc_rows(16, 2)
    assert rows.tolist() == [0, 3, 5, 6, 6, 7, 7, 7, 8, 7, 7, 7, 6, 6, 5, 3, 0]
    assert moments.whole_scale(np.array([300.5, np.nan, -2.25], np.float32), rows) > 0.0
    # steps of 300 m and of a nanometre
    assert moments.whole_scale(np.array([300.0, 1.1e-9], np.float32), rows) == 0.0
    # thirds are rounded, and samples that do not stand in the middle
    for radius, stride in ((12, 2), (16, 3)):
        assert moments.whole_scale(np.ones(3, np.float32), moments.disc_rows(radius, stride)) == 0.0


@pytest.mark.parametrize(("radius", "stride"), [(16, 2), (8, 1)])
def test_levels_by_whole_numbers_equal_those_added_up_one_by_one_to_the_bit(rough, radius, stride, monkeypatch):
    z, mask = np.tile(rough[0], (1, 3)) + np.float32(260.0), np.tile(rough[1], (1, 3))
    given = z, mask, 20, 5, (1.5, 0.7, 3, 0.03), (radius, stride, 3)
    quick = bridge.carry(*given)
    monkeypatch.setattr(bridge, "whole_scale", lambda flat, rows: 0.0)
    for one, other in zip(quick, bridge.carry(*given), strict=True):
        np.testing.assert_array_equal(one, other)
    assert np.isfinite(quick[2][mask]).sum() > 100


@pytest.mark.parametrize("carry", ["crest", "cautious"])
def test_a_plane_is_carried_across_exactly(carry):
    # closed form: on a plane every line joins the plane
    row, col = np.mgrid[0:60, 0:60]
    z = (10 + 0.03 * row - 0.02 * col).astype(np.float32)
    mask = np.abs(row - col) <= 3
    broken = np.where(mask, z - 2, z).astype(np.float32)
    out = (
        carry_across(broken, mask, 30, 5, 1.5, 1.0, (3, 0.03))[0]
        if carry == "crest"
        else carry_cautious(broken, mask, 30, 5, 16, 2, 3)
    )
    inner = mask.copy()
    inner[:12], inner[-12:], inner[:, :12], inner[:, -12:] = False, False, False, False
    # the cautious lines may graze the mask, where single cells serve as ends: a quarter of a cell of slope
    np.testing.assert_allclose(out[inner], z[inner], atol=2e-4 if carry == "crest" else 0.01)


def test_a_ridge_crossed_obliquely_keeps_its_crest():
    row, col = np.mgrid[0:81, 0:81]
    ridge = 10 - 0.02 * np.abs(row - 40)
    mask = np.abs((col - 40) - 0.6 * (row - 40)) <= 3
    broken = np.where(mask, 8.0, ridge).astype(np.float32)
    high, _ = carry_across(broken, mask, 30, 5, 1.5, 0.7, (3, 0.03))
    crest = high[40, 36:45]
    assert np.all(crest > 9.97)


def test_a_cut_along_the_axis_of_a_hollow_is_not_filled_to_its_sides():
    # closed form: an elliptic bowl 30 m wide, 60 m long and 0.6 m deep, cut along its long axis
    row, col = np.mgrid[0:121, 0:121]
    bowl = 10 + 0.6 * np.clip(((row - 60) / 30.0) ** 2 + ((col - 60) / 15.0) ** 2, 0, 1)
    mask = np.abs(col - 60) <= 3
    broken = np.where(mask, 9.0, bowl).astype(np.float32)
    high, _ = carry_across(broken, mask, 30, 5, 1.5, 0.7, (3, 0.03))
    top, _ = carry_across(broken, mask, 30, 5, 1.5, 0.7, (1, 0.03))
    inside = mask & (np.abs(row - 60) <= 24)
    error, highest = (high - bowl)[inside], (top - bowl)[inside]
    assert np.percentile(error, 90) < 0.01 and np.median(error) > -0.02
    assert np.percentile(highest, 90) > 0.015


def test_cautious_surface_does_not_dam_a_valley():
    row, col = np.mgrid[0:81, 0:81]
    valley = 10 + 0.05 * np.abs(row - 40) - 0.002 * col
    mask = np.abs(col - 40) <= 3
    broken = np.where(mask, 8.0, valley).astype(np.float32)
    cautious = carry_cautious(broken, mask, 30, 5, 16, 2, 3)
    assert abs(cautious[40, 40] - valley[40, 40]) < 0.15


def test_sections_are_bilinear():
    row, col = np.mgrid[0:20, 0:20]
    z = (0.5 * row + 0.25 * col).astype(np.float32)
    got = sections(z, np.array([10.0]), np.array([10.0]), np.array([0.6]), np.array([0.8]), 4, 0.5)
    offsets = np.arange(-4, 5) * 0.5
    np.testing.assert_allclose(got[0], 0.5 * (10 + 0.6 * offsets) + 0.25 * (10 + 0.8 * offsets), rtol=1e-6)
    assert np.isnan(bilinear(z, -3.0, 2.0))


def test_lines_are_lowered_as_by_the_slow_twin():
    rng = np.random.default_rng(9)
    for _ in range(60):
        n = int(rng.integers(1, 12))
        row, col = np.cumsum(rng.normal(0.0, 2.0, (2, n)), axis=1) + rng.uniform(-2.0, 32.0, (2, 1))
        level = rng.uniform(0.0, 1.0, n)
        level[rng.random(n) < 0.2] = rng.choice([np.nan, np.inf])
        ground = rng.uniform(0.2, 0.9, (30, 28)).astype(np.float32)
        ground[rng.random(ground.shape) < 0.05] = np.nan
        wanted = ground.copy()
        naive.lower_line(wanted, row, col, level)
        lower_line(ground, row, col, level)
        np.testing.assert_array_equal(ground, wanted)


def test_median_along_equals_numpy():
    rng = np.random.default_rng(3)
    section = rng.normal(size=(30, 5))
    section[4, 2] = np.nan
    got = median_along(section, 3)
    want = np.array([[np.nanmedian(section[max(0, i - 3) : i + 4, k]) for k in range(5)] for i in range(30)])
    np.testing.assert_allclose(got, want)


def test_shoulders_of_a_trapezoid():
    # bed 2 m wide, sides 2:1, 1 m deep: shoulders 3 m from the middle
    offsets = np.arange(-40, 41) * 0.5
    section = np.minimum(1.0, np.clip(np.abs(offsets) - 1.0, 0, None) / 2)[None, :].repeat(9, axis=0)
    centre, left, right = shoulders(section, 0.5, 4.0, 0.13, 1.5, 14.0, 3.0, 0.35)
    assert np.all(np.abs(centre) <= 1.0)
    np.testing.assert_allclose(left, -3.0, atol=1.0)
    np.testing.assert_allclose(right, 3.0, atol=1.0)


@pytest.mark.parametrize(("side", "more"), [(-1, 0.0), (1, 0.0), (1, 4.0)])
def test_spoil_beside_equals_the_slow_twin(side, more):
    rng = np.random.default_rng(5)
    x = np.arange(-60, 61) * 0.5
    section = np.stack(
        [
            np.minimum(0.0, (np.abs(x) - 4.0) / 1.5).clip(-1.2)
            + rng.uniform(0.0, 0.4) * np.exp(-(((np.abs(x) - rng.uniform(4.0, 8.0)) / rng.uniform(1.0, 3.5)) ** 2))
            + rng.uniform(-0.02, 0.02) * x
            + rng.normal(0, 0.01, x.size)
            for _ in range(40)
        ]
    )
    section[3, 80:] = section[3, :41] = np.nan
    shoulder = side * rng.uniform(3.5, 5.0, 40)
    got = spoil_beside(section, 0.5, shoulder, side, 0.07, 7.0, more)
    want = naive.spoil_beside(section, 0.5, shoulder, side, 0.07, 7.0, more)
    np.testing.assert_allclose(got, want, atol=1e-9)
    moved = np.abs(got[1] - shoulder)
    assert (moved > 1.0).sum() > 10
    assert (moved == 0.0).any()


@pytest.mark.parametrize(("top_m", "width_m"), [(1.2, 0.7), (2.5, 1.2), (3.5, 1.8), (4.5, 2.0)])
def test_spoil_is_taken_off_near_and_wide(top_m, width_m):
    """Closed form: a plane, a ditch, a bell-shaped bank of 0.25 m on both sides so far off; nothing of it is left."""
    y, x = np.mgrid[-100:101, -100:101].astype(float)
    plane = 10.0 - 0.003 * y
    bank = 0.25 * np.exp(-(((np.abs(x) - 2.5 - top_m) / width_m) ** 2))
    z = np.minimum(plane + bank, plane - 1.2 + np.clip(np.abs(x) - 0.75, 0, None) / 1.5)
    z = (z + np.random.default_rng(4).normal(0, 0.03, z.shape)).astype(np.float32)
    row = np.arange(10, z.shape[0] - 10, dtype=float)
    col = np.full(row.size, (z.shape[1] - 1) / 2)
    natural = build_surfaces(
        from_array(z, 1.0), Linework((straight_ditch(row, col),), (), ()), Settings().surfaces
    ).natural
    off = (natural - plane)[30:-30]
    assert np.abs(np.median(off, axis=0)).max() < 0.05


@pytest.mark.parametrize("bed_m", [2.5, 4.0, 5.0])
def test_a_wide_bed_is_filled_all_along(bed_m):
    """Closed form: a plane, a flat bed whose lowest point changes from side to side while the line wanders."""
    y, x = np.mgrid[-100:101, -40:41].astype(float)
    plane = 10.0 - 0.002 * y
    tilt = 0.04 * np.tanh(np.sin(y / 9.0)) * np.clip(x / 4.0, -1, 1)
    side = np.clip(np.abs(x) - bed_m / 2, 0, None) / 1.5
    z = np.minimum(plane, plane - 1.0 + tilt + side).astype(np.float32)
    row = np.arange(5, z.shape[0] - 5, dtype=float)
    line = Linework((straight_ditch(row, 40.0 + np.sin(row / 9.0)),), (), ())
    off = (build_surfaces(from_array(z, 1.0), line, Settings().surfaces).natural - plane)[30:-30]
    assert np.abs(off).max() < 0.01


def test_paint_band_leaves_no_holes_on_a_bend():
    mask = np.zeros((60, 60), dtype=np.uint8)
    angle = np.linspace(0, np.pi / 2, 32)
    row, col = 10 + 30 * np.sin(angle), 10 + 30 * (1 - np.cos(angle))
    length = np.hypot(np.gradient(row), np.gradient(col))
    a_row, a_col = np.gradient(col) / length, -np.gradient(row) / length
    paint_band(mask, CUT, row, col, a_row, a_col, np.full(32, -4.0), np.full(32, 4.0))
    rr, cc = np.mgrid[0:60, 0:60]
    radius = np.hypot(rr - 10, cc - 40)
    inside = (np.abs(radius - 30) < 3) & (rr > 12) & (cc < 38)
    assert (mask[inside] == CUT).all()


@pytest.mark.parametrize("ends", [(False, False), (True, True)])
def test_a_road_hump_is_taken_off_a_bed(ends):
    bed = 10 - 0.001 * np.arange(200.0)
    humped = bed.copy()
    humped[90:104] += 0.9
    opened = open_humps(humped, 44, *ends)
    np.testing.assert_allclose(opened[40:160], bed[40:160], atol=0.05)
    assert np.all(opened <= humped)


def test_a_hump_at_the_end_goes_only_where_told():
    bed = np.full(120, 5.0)
    bed[-10:] += 0.8
    assert open_humps(bed, 44, False, False)[-1] > 5.5
    assert open_humps(bed, 44, False, True)[-1] == pytest.approx(5.0)


def test_twice_smoothing_keeps_a_parabola_better_than_once():
    from scipy import ndimage

    x = np.arange(200.0)
    z = np.tile(10 - 0.0005 * (x - 100) ** 2, (40, 1)).astype(np.float32)
    twice = smooth_twice(z, 3.0)[20, 100]
    once = ndimage.gaussian_filter(z.astype(float), 3.0)[20, 100]
    assert abs(twice - z[20, 100]) < 0.2 * abs(once - z[20, 100])


def test_unknown_ground_stays_unknown_and_does_not_spread():
    z = np.full((30, 30), 5, dtype=np.float32)
    z[10, 10] = np.nan
    out = smooth_twice(z, 1.5)
    assert np.isnan(out[10, 10]) and np.isfinite(out).sum() == 899
    np.testing.assert_allclose(out[np.isfinite(out)], 5, atol=1e-5)


def bowl_with_ditch(noise, seed=1):
    rng = np.random.default_rng(seed)
    row, col = np.mgrid[0:300, 0:300].astype(float)
    radius = np.hypot(row - 150, col - 150)
    ground = 100 + 0.8 * np.clip(radius / 70, 0, 1) ** 2 - 0.01 * np.clip(radius - 80, 0, None)
    off = np.abs(row - 150 - 0.3 * (col - 150)) / np.hypot(1, 0.3)
    bed = 99.9 - 0.002 * (col - 150)
    cut = bed + np.clip(off - 0.6, 0, None) / 1.5
    z = np.where(col >= 150, np.minimum(ground, cut), ground) + rng.normal(0, noise, ground.shape)
    cols = np.arange(150.0, 290.0)
    return z.astype(np.float32), ground, straight_ditch(150 + 0.3 * (cols - 150), cols)


def test_a_line_followed_beyond_a_short_ditch_keeps_the_width_of_the_ditch():
    """Closed form: a ridge cut by 30 m of ditch 8 m wide; its line goes on for 90 m over level ground."""
    y, x = np.mgrid[0:161, 0:81].astype(float)
    ground = 10.0 + 0.6 * np.exp(-(((y - 30) / 12.0) ** 2))
    cut = 9.4 + np.clip(np.abs(x - 40) - 1.0, 0, None) / 3.0 + 0.05 * np.clip(np.abs(y - 30) - 15.0, 0, None)
    z = np.minimum(ground, cut).astype(np.float32)
    line = Linework((straight_ditch(np.arange(10.0, 140.0), np.full(130, 40.0)),), (), ())
    off = (build_surfaces(from_array(z, 1.0), line, Settings().surfaces).natural - ground)[25:36, 30:51]
    assert np.abs(off).max() < 0.08


def test_natural_ground_over_a_ditch_through_a_rim():
    # closed form: the bowl before it was cut
    z, ground, ditch = bowl_with_ditch(0.02)
    out = build_surfaces(from_array(z, 1.0), Linework((ditch,)), Settings().surfaces)
    cut = (out.corridor & CUT) > 0
    error = (out.natural - ground)[cut]
    assert abs(np.median(error)) < 0.05
    assert np.percentile(np.abs(error), 90) < 0.12


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
def test_a_road_with_ditches_on_both_sides_leaves_no_wall(cell_m):
    """Closed form: a plane; on it a road 7 m wide on 0.9 m of fill, sides 2:1, ditches 0.8 m deep at its feet."""
    n = round(240 / cell_m)
    row, col = np.mgrid[0:n, 0:n] * cell_m
    ground = 50 + 0.002 * row + 0.004 * col
    off = np.abs(col - 120)
    fill = np.clip(0.9 - np.clip(off - 3.5, 0, None) / 2, 0, None)
    ditch = np.clip(0.8 - np.clip(np.abs(off - 8.0) - 0.5, 0, None) / 1.5, 0, None)
    z = ground + np.where(off < 6.0, np.maximum(fill - ditch, -ditch), -ditch)
    z = (z + np.random.default_rng(2).normal(0, 0.02, z.shape)).astype(np.float32)
    along = np.arange(n, dtype=float)
    sides = tuple(straight_ditch(along, np.full(n, (120 + d) / cell_m), kind="roadside") for d in (-8, 8))
    road = Embankment(1, along, np.full(n, 120 / cell_m), 0.9, 10.0, "road")
    out = build_surfaces(from_array(z, cell_m), Linework(sides, (road,)), Settings().surfaces)
    strip = (off < 16) & (row > 40) & (row < 200)
    assert (z - ground)[strip].max() > 0.8
    error = (out.natural - ground)[strip]
    assert np.percentile(error, 99) < 0.1 and np.percentile(error, 1) > -0.1


@pytest.mark.parametrize("tile", [70, 111])
def test_tiled_equals_whole_to_the_bit(tile):
    from wetscout.steps.plan import Plan

    z, _, ditch = bowl_with_ditch(0.03)
    terrain = from_array(z, 1.0)
    whole = build_surfaces(terrain, Linework((ditch,)), Settings().surfaces)
    tiled = build_surfaces(terrain, Linework((ditch,)), Settings().surfaces, Plan(tile, 2).run)
    for name in ("smooth", "today", "natural", "cautious", "corridor"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(tiled, name), err_msg=name)


def test_levels_do_not_depend_on_the_place_in_the_array(rough):
    # rays straight down once ran 1e-16 of a cell askew, which told in the first columns of a tile only
    z, mask = rough
    wide = np.pad(z, ((3, 5), (40, 9)), constant_values=np.nan)
    whole = bridge.carry(z, mask, 12, 4, (1.5, 0.7, 3, 0.03), (8, 1, 3))
    moved = bridge.carry(wide, np.pad(mask, ((3, 5), (40, 9))), 12, 4, (1.5, 0.7, 3, 0.03), (8, 1, 3))
    for one, other in zip(whole, moved, strict=True):
        np.testing.assert_array_equal(one, other[3:-5, 40:-9])


def test_the_wedge_between_two_ditches_that_meet_at_a_sharp_angle_is_no_spoil():
    """Closed form: a plane, and two ditches 1.2 m deep that meet at 15 degrees; the natural ground is the plane."""
    y, x = np.mgrid[-120:121, -60:61].astype(float)
    plane = 10.0 - 0.001 * y
    turn = np.radians(15.0)
    other = np.where(y < 0, x * np.cos(turn) + y * np.sin(turn), 99.0)
    cut = np.minimum(*(np.clip(np.abs(off) - 0.75, 0, None) / side for off, side in ((x, 1.5), (other, 4.0))))
    z = np.minimum(plane, plane - 1.2 + cut) + np.random.default_rng(8).normal(0, 0.03, x.shape)
    down = np.arange(10.0, 231.0)
    way = np.arange(-110.0, 1.0)
    lines = (
        straight_ditch(down, np.full(down.size, 60.0), top_width_m=np.full(down.size, 5.1), sure=True),
        straight_ditch(120 + way, 60 - way * np.tan(turn), top_width_m=np.full(way.size, 11.1), sure=True),
    )
    natural = build_surfaces(
        from_array(z.astype(np.float32), 1.0), Linework(lines, (), ()), Settings().surfaces
    ).natural
    low = (natural - plane)[30:-30, 30:-30].min()
    assert low > -0.15


def test_share_set_equals_the_slow_twin():
    rng = np.random.default_rng(6)
    mask = (rng.random((40, 40)) < 0.3).astype(np.uint8)
    row, col = rng.uniform(-3, 43, 60), rng.uniform(-3, 43, 60)
    turn = rng.uniform(0, 2 * np.pi, 60)
    near = rng.uniform(-9, 6, 60)
    args = (mask, row, col, np.sin(turn), np.cos(turn), near, near + rng.uniform(0, 12, 60))
    np.testing.assert_array_equal(share_set(*args), naive.share_set(*args))


@pytest.mark.parametrize(
    ("sure", "on_fill", "high_m", "opened"),
    [(True, False, 0.8, True), (False, False, 0.8, False), (False, True, 0.8, True), (False, False, 0.35, True)],
)
def test_a_faint_line_opens_road_fill_and_low_bumps_only(sure, on_fill, high_m, opened):
    """A trench 0.8 m deep that a hump of 12 m closes; on a line nobody is sure of the hump may be natural ground.

    A low one fell into the ditch, or is noise.
    """
    z = np.full((21, 120), 10.0, dtype=np.float32)
    z[9:12] = 9.2
    z[9:12, 55:67] = 9.2 + high_m
    col = np.arange(2.0, 118.0)
    row, level = np.full(col.size, 10.0), np.full(col.size, 9.2)
    ditch = Ditch(
        ditch_id=1, row=row, col=col, bed_m=level, bank_low_m=level + 0.8, bank_high_m=level + 0.8,
        top_width_m=np.full(col.size, 3.0), kind="ditch", depth_m=0.8, bank_climb_m=0.0, straightness=1.0, spoil="none",
        sure=sure,
    )  # fmt: skip
    today = z.copy()
    carve(today, z, ((ditch,), ()), np.full(z.shape, on_fill), 1.0, Settings().surfaces)
    assert bool(today[10, 55:67].max() < 9.3) is opened
