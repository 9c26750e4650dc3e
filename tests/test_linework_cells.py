"""The test of single cells: kernels against slow twins, closed forms, tiles against the whole."""

from __future__ import annotations

import dataclasses

import naive_linework as naive
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from linework_scenes import along_across, ditch_through_ridge, frame, noise, trapezoid

from wetscout.kernels import along, beside, columns, directional, lines, skeleton, thin
from wetscout.linework import cells, stencils, trace
from wetscout.settings.linework import LineworkSettings

SETTINGS = LineworkSettings()


def small_ground(seed=1, shape=(40, 44), holes=True):
    """A rough patch with a slanted cut, and cells without ground."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[: shape[0], : shape[1]].astype(float)
    _, n = along_across(y - 20, x - 22, 35)
    z = np.minimum(10 + 0.01 * y, trapezoid(n, 9.4, 0.6, 1.5)) + rng.normal(0, 0.03, shape)
    if holes:
        z[5:9, 30:36] = np.nan
        z[0, :7] = np.nan
    return z.astype(np.float32)


@pytest.mark.parametrize("k", [1, 3, 5])
def test_box_mean_equals_its_twin(k):
    z = small_ground()
    np.testing.assert_array_equal(directional.box_mean(z, k), naive.box_mean(z, k))


@pytest.mark.parametrize("cell_m", [1.0, 2.0, 3.0])
def test_directional_depth_equals_its_twin(cell_m):
    s = small_ground(3)
    scale = stencils.scale_for(cell_m, (4.0, 8.0), 20.0)
    st, ring = stencils.build(scale, cell_m), stencils.ring_offsets(scale, cell_m)
    padded = np.pad(s, st.margin, constant_values=np.float32(np.nan))
    wide = padded.shape[1]
    limits = (0.06, 0.1)
    flat_ring = ring[:, 0] * wide + ring[:, 1]
    got = directional.directional_depth(
        padded, st.margin, flat_ring, st.parts(wide), stencils.N_DIRECTIONS, 0.6, limits
    )
    want = naive.directional_depth(s, ring, (st.dr, st.dc, st.w, st.start), stencils.N_DIRECTIONS, 0.6, limits)
    assert (want[0] > 0.1).sum() > 10
    np.testing.assert_allclose(got[0], want[0], atol=1e-6)
    np.testing.assert_array_equal(got[1], want[1])
    np.testing.assert_allclose(got[2], want[2], atol=1e-5)


def test_thinning_and_support_equal_their_twins():
    rng = np.random.default_rng(4)
    depth = np.round(rng.uniform(0, 1, (30, 31)), 1).astype(np.float32)
    direction = rng.integers(0, 16, depth.shape).astype(np.int8)
    direction[depth < 0.3] = -1
    st = stencils.build(stencils.scale_for(1.0, (4.0, 8.0), 20.0), 1.0)
    across = stencils.across_offsets(st.unit, 2.0, 1.0)
    a_r, a_c = (np.ascontiguousarray(across[..., i]) for i in (0, 1))
    keep = thin.thin_across(depth, direction, a_r, a_c, np.float32(0.3))
    np.testing.assert_array_equal(keep, naive.thin_across(depth, direction, across, np.float32(0.3)))
    assert 0 < keep.sum() < depth.size // 2
    loose = direction >= 0
    u_r, u_c = (np.ascontiguousarray(st.unit[:, i]) for i in (0, 1))
    got = thin.supported(loose, direction, u_r, u_c, 4.0, 0.92, 2, 3)
    np.testing.assert_array_equal(got, naive.supported(loose, direction, st.unit, 4.0, (0.92, 2, 3)))


def test_line_kernels_equal_their_twins():
    rng = np.random.default_rng(5)
    values = rng.normal(0, 1, 40)
    values[[3, 4, 20]] = np.nan
    np.testing.assert_array_equal(lines.running_median(values, 3), naive.running_median(values, 3))
    table = np.column_stack((values, values[::-1]))
    for every in (1, 3):
        want = np.column_stack([naive.running_median(table[:, j], 3) for j in (0, 1)])[::every]
        np.testing.assert_array_equal(columns.columns_running_median(table, 3, every), want)
        low, high = np.full(40, 0), np.arange(40) % 3
        got = lines.row_median(table, low, high)
        np.testing.assert_array_equal(
            got,
            [
                np.nan if h == 0 or np.isnan(r[:h]).all() else np.nanmedian(r[:h])
                for r, h in zip(table, high, strict=True)
            ],
        )
    bank, bed = rng.normal(0, 1, 30), np.linspace(1, 0, 30) + rng.normal(0, 0.1, 30)
    assert lines.climb(bank, bed, 0.1) == naive.climb(bank, bed, 0.1)
    for _ in range(20):
        profile = rng.uniform(0, 0.2, (6, 5))
        cost, way = naive.lowest_way(profile, 0.03, 0.001)
        got = lines.lowest_way(profile, 0.03, 0.001)
        mine = (profile - profile.min(axis=1, keepdims=True))[np.arange(6), got].sum()
        mine += 0.03 * np.abs(np.diff(got)).sum() + 0.001 * np.abs(got - 2).sum()
        assert np.abs(np.diff(got)).max() <= 1
        assert mine == pytest.approx(cost, abs=1e-12), (got, way)


def test_skeleton_agrees_with_scikit_image():
    """Against scikit-image's thinning (general-purpose library, its own table): same parts and holes, same place."""
    from scipy import ndimage
    from skimage.measure import euler_number
    from skimage.morphology import skeletonize

    rng = np.random.default_rng(6)
    mask = ndimage.binary_opening(ndimage.gaussian_filter(rng.normal(size=(80, 90)), 3) > 0, iterations=2)
    keys = np.flatnonzero(mask)
    alive = skeleton.skeleton(trace.neighbours(keys, mask.shape[1]))
    got = np.zeros(mask.size, dtype=bool)
    got[keys[alive]] = True
    got = got.reshape(mask.shape)
    want = skeletonize(mask, method="zhang")
    assert not (got & ~mask).any()
    assert euler_number(got, 2) == euler_number(mask, 2)
    assert got.sum() < 1.1 * want.sum()
    assert ndimage.distance_transform_edt(~want)[got].max() <= 1.0
    # theirs keeps a few side branches into corners that the published rule removes
    assert np.mean(ndimage.distance_transform_edt(~got)[want] <= 1.0) > 0.9


def test_components_match_scipy():
    from scipy import ndimage

    mask = np.random.default_rng(7).random((50, 60)) < 0.35
    keys = np.flatnonzero(mask)
    label = skeleton.components(trace.neighbours(keys, 60))
    want, n = ndimage.label(mask, structure=np.ones((3, 3)))
    assert np.unique(label).size == n
    pairs = np.unique(np.column_stack((label, want.ravel()[keys])), axis=0)
    assert pairs.shape[0] == n


def test_neighbours_do_not_wrap_round_the_sides():
    table = trace.neighbours(np.array([4, 5], dtype=np.int64), 5)
    assert (table == -1).all()
    assert set(trace.thicken(np.array([5], dtype=np.int64), 5).tolist()) == {0, 1, 5, 6, 10, 11}


@pytest.mark.parametrize("cell_m", [0.5, 1.0, 1.524, 2.0, 3.0, 5.0, 10.0])
def test_stencils_stand_where_they_should(cell_m):
    """Weights add up to one; banks lie within the band on both sides of the direction, bed on the line."""
    scale = stencils.scale_for(cell_m, (4.0, 8.0), 20.0)
    st = stencils.build(scale, cell_m)
    assert scale.near[0] >= 1.3 * cell_m - 1e-9
    for d, (ur, uc) in enumerate(st.unit):
        for part, band in enumerate(((0.0, 0.0), scale.near, scale.near, scale.far, scale.far)):
            i, j = st.start[5 * d + part], st.start[5 * d + part + 1]
            w = st.w[i:j]
            assert w.sum() == pytest.approx(1.0)
            across = (-st.dr[i:j] * uc + st.dc[i:j] * ur) * cell_m
            sign = -1.0 if part in (2, 4) else 1.0
            centre = sign * float((w * across).sum())
            assert centre == pytest.approx(0.5 * (band[0] + band[1]), abs=0.36 * cell_m)
            along = (st.dr[i:j] * ur + st.dc[i:j] * uc) * cell_m
            assert float((w * along).sum()) == pytest.approx(0.0, abs=0.36 * cell_m)


def test_depth_and_saturation_of_a_cut_in_closed_form():
    """Trapezoid, bed 1.2 m, sides 1.5:1, 0.9 m deep: the 3 m bed mean stands (2 x 0.2667) / 3 above the bed."""
    _y, x = frame(60.0, 1.0)
    z = np.minimum(5.0, trapezoid(x - 0.5, 4.1, 0.6, 1.5)).astype(np.float32)
    th = cells.thresholds_for(1.0, 0.08, (4.0, 8.0), SETTINGS)
    r = cells.respond(z, 1.0, th)
    mid = r.depth[30, 30]
    assert mid == pytest.approx(0.9 - 2 * (0.4 / 1.5) / 3, abs=1e-4)
    assert r.saturation[30, 30] == pytest.approx(1.0, abs=1e-4)
    assert r.direction[30, 30] == stencils.N_DIRECTIONS // 2
    kept = np.nonzero(r.keep)[1]
    assert kept.size > 20 and set(kept.tolist()) == {30}


def test_a_valley_goes_on_rising():
    """z = k n^2: near band at 6 m, far band at 10 and 14 m, so saturation = 36 / ((100 + 196) / 2) = 0.243."""
    _y, x = frame(80.0, 1.0)
    z = (0.01 * (x - 0.5) ** 2).astype(np.float32)
    r = cells.respond(z, 1.0, cells.thresholds_for(1.0, 0.08, (4.0, 8.0), SETTINGS))
    assert r.depth[40, 40] == pytest.approx(0.36, abs=0.01)
    assert r.saturation[40, 40] == pytest.approx(36 / 148, abs=0.01)
    assert not r.keep.any()


@pytest.mark.parametrize("cell_m", [1.0, 2.0, 3.0])
def test_tiles_give_the_same_cells_as_the_whole(cell_m):
    z, _, _ = ditch_through_ridge(cell_m, size_m=180.0)
    z = z.astype(np.float32)
    z[3:9, 20:27] = np.nan
    th = cells.thresholds_for(cell_m, 0.05, (4.0, 8.0), SETTINGS)
    whole = cells.respond(z, cell_m, th)
    assert whole.keep.any()
    halo = cells.halo_cells(cell_m, th)
    rows, cols = z.shape
    for size in (23, 40, 61):
        for r in range(0, rows, size):
            for c in range(0, cols, size):
                r0, c0 = max(0, r - halo), max(0, c - halo)
                part = cells.respond(z[r0 : r + size + halo, c0 : c + size + halo], cell_m, th)
                own = (slice(r - r0, r - r0 + size), slice(c - c0, c - c0 + size))
                for name in ("keep", "depth", "direction", "saturation"):
                    a = getattr(whole, name)[r : r + size, c : c + size]
                    b = getattr(part, name)[own][: a.shape[0], : a.shape[1]]
                    mine = whole.keep[r : r + size, c : c + size] if name == "saturation" else np.ones(a.shape, bool)
                    np.testing.assert_array_equal(a[mine], b[mine])


def test_small_relief_follows_the_ground_and_adds_up_over_tiles():
    rng = np.random.default_rng(8)
    z = noise((260, 260), 0.05, 9).astype(np.float32)
    one = cells.small_relief(z, 1.0)
    assert cells.small_relief(2 * z, 1.0) == pytest.approx(2 * one, abs=0.0015)
    z[: rng.integers(20, 40)] = np.nan
    whole = cells.relief_histogram(z, 1.0, SETTINGS, (0, 260, 0, 260), (0, 0))
    halo = 60 + cells.relief_halo_cells(1.0, SETTINGS)
    parts = np.zeros_like(whole)
    for r in (0, 100, 200):
        for c in (0, 130):
            r0, c0 = max(0, r - halo), max(0, c - halo)
            r1, c1 = min(260, r + 100), min(260, c + 130)
            part = z[r0 : r1 + halo, c0 : c1 + halo]
            parts += cells.relief_histogram(part, 1.0, SETTINGS, (r, r1, c, c1), (r0, c0))
    np.testing.assert_array_equal(parts, whole)
    assert whole.sum() >= 4


def test_small_relief_of_nothing_is_nothing():
    assert cells.small_relief(np.full((100, 100), np.nan, dtype=np.float32), 1.0) == 0.0


def test_every_setting_lies_within_its_limits():
    for f in dataclasses.fields(LineworkSettings):
        low, high = f.metadata["limits"]
        assert low <= f.default <= high, f.name
        assert f.metadata["unit"] and f.metadata["about"] and f.metadata["source"]


@pytest.mark.parametrize("seed", range(8))
def test_points_along_lines_are_those_of_numpy_to_the_bit(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 90))
    points = np.cumsum(rng.normal(0, 1.5, (n, 2)), axis=0) + 20
    if seed % 3 == 1:
        points = np.repeat(np.rint(points), rng.integers(1, 3, n), axis=0)
    if seed == 5:
        points[:] = points[0]
    for step in (0.7, 1.0, 3.0):
        np.testing.assert_array_equal(along.resample(points, step), naive.resample(points, step))
    for half in (1, 4, 200):
        np.testing.assert_array_equal(along.smooth(points, half), naive.smooth(points, half))
        np.testing.assert_array_equal(along.tangents(points, half), naive.tangents(points, half))
    s, offsets = small_ground(seed), 0.5 * np.arange(-8, 9)
    found = along.recentre(s, points, 3, offsets, 3, 0.01, 0.001)
    np.testing.assert_array_equal(found, naive.recentre(s, points, 3, offsets, 3, 0.01, 0.001))


@pytest.mark.parametrize("seed", range(6))
def test_what_whole_lines_show_is_as_numpy_tells_it(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(3, 300))
    points = np.cumsum(rng.normal(0.5, 1.0, (n, 2)), axis=0)
    for half, length in ((1, 100), (4, 33)):
        assert along.straightness(points, half, length) == naive.straightness(points, half, length)
    near, far = rng.normal(0.2, 0.2, n), rng.normal(0.3, 0.3, n)
    near[rng.random(n) < 0.2], far[rng.random(n) < 0.2] = np.nan, np.nan
    good = np.isfinite(near)
    assert along.median(along.known(near)) == np.median(near[good])
    quartile, middle = np.percentile(near[good], (25.0, 50.0))
    assert (along.quantile(along.known(near), 0.25), along.quantile(along.known(near), 0.5)) == (quartile, middle)
    assert along.ratio(near, far) == np.median(np.where(far > 0.02, near / np.maximum(far, 0.02), 1.0)[good])
    assert np.isnan(along.median(along.known(np.full(3, np.nan))))


def test_ends_and_ways_off_the_ground_are_those_of_the_slow_twin():
    rng = np.random.default_rng(21)
    z = rng.normal(size=(40, 50)).astype(np.float32)
    z[rng.random(z.shape) < 0.03] = np.nan
    for n in (2, 3, 8, 40):
        points = np.cumsum(rng.normal(0.3, 0.8, (n, 2)), axis=0) + 15.0
        for reach in (0.0, 3.0, 500.0):
            for got, wanted in zip(along.headings(points, reach), naive.headings(points, reach), strict=True):
                np.testing.assert_array_equal(got, wanted)
        at, out = along.headings(points, 4.0)
        for side in (0, 1):
            args = (z, at[side], out[side], 60)
            assert along.steps_on_ground(*args) == naive.steps_on_ground(*args)
    assert along.steps_on_ground(np.zeros((9, 9), np.float32), np.array([1.0, 1.0]), np.array([0.0, 1.0]), 5) == -1
    still = np.full((2, 2), 4.0)
    np.testing.assert_array_equal(along.headings(still, 1.0)[1], naive.headings(still, 1.0)[1])


def test_parallel_lines_are_counted_as_by_the_slow_twin():
    rng = np.random.default_rng(22)
    owner = np.repeat(np.arange(30), 12)
    turn = np.repeat(rng.normal(0.3, 0.25, 30), 12)
    heading = np.column_stack((np.sin(turn), np.cos(turn)))
    start = np.repeat(rng.uniform(0.0, 90.0, (30, 2)), 12, axis=0)
    points = start + 3.0 * np.tile(np.arange(12), 30)[:, None] * heading
    places = np.arange(5, owner.size, 7)
    args = (points, heading, owner, places, 40.0, np.cos(np.radians(12.0)), 6.0)
    wanted = naive.parallel_lines(*args)
    np.testing.assert_array_equal(beside.parallel_lines(*args), wanted)
    assert wanted.max() > 2
    assert wanted.min() == 0


def test_shoulders_and_banks_are_those_of_the_slow_twin():
    rng = np.random.default_rng(23)
    for step in (0.5, 1.0, 2.5):
        m = int(28.0 / step)
        out = np.arange(m) * step
        ground = np.clip(rng.uniform(0.1, 0.5, (80, 1)) * (out - rng.uniform(0.0, 5.0, (80, 1))), 0.0, 1.0)
        ground += np.exp(-((out - 9.0) ** 2) / 4.0) * rng.uniform(0.0, 0.4, (80, 1))
        ground += rng.normal(0.0, 0.03, ground.shape)
        ground[rng.random(ground.shape) < 0.05] = np.nan
        ground[7] = np.nan
        half = lines.half_width(ground, step, 0.13, 3.0)
        np.testing.assert_array_equal(half, naive.half_width(ground, step, 0.13, 3.0))
        assert half.max() > 3.0 * step
        sizes = (5.0, 7.0, 12.0, 0.12)
        for got, wanted in zip(
            lines.banks(ground, half, step, sizes), naive.banks(ground, half, step, sizes), strict=True
        ):
            np.testing.assert_array_equal(got, wanted)


@pytest.mark.parametrize("values", [[], [3.0], [2.0, 1.0], [5.0, 1.0, 2.0, 9.0, 4.0], [1.0, np.nan, 0.0]])
def test_the_middle_is_the_median(values):
    array = np.array(values)
    wanted = np.median(array) if array.size else np.nan
    np.testing.assert_array_equal(along.middle(array), wanted)
    np.testing.assert_array_equal(along.middle(array[::-1]), wanted)


@settings(deadline=None, max_examples=50)
@given(arrays(np.float64, st.integers(0, 70), elements=st.floats(allow_nan=True, width=32)))
def test_some_values_are_sorted_as_numpy_sorts_them(values):
    np.testing.assert_array_equal(along.ascending(values), np.sort(values))
