"""Levels along lines, humps, ends and what they are aimed at: kernels against their plain numpy twins."""

from __future__ import annotations

import naive_passing as naive
import naive_profile
import numpy as np
import pytest
from scipy.spatial import cKDTree

from wetscout.kernels import along, passing, profile
from wetscout.linework.join import within

OFFSETS = np.arange(-38, 39) * 0.5
PROFILE = (OFFSETS, (6, 5, 6, 3, 2, 3, 50), (38, 30, 4), (0.5, 0.12, 3.0), (3.0, 5.0, 6.0, 0.12))
BANDS = (1.0, 5.0), (11.0, 18.0)


def ground(rng):
    """Rough ground with a trench along the diagonal, a bank across it and unknown patches."""
    r, c = np.mgrid[:120, :140]
    z = 5.0 + 0.01 * r + rng.normal(0.0, 0.05, r.shape) - 0.9 * np.exp(-(((r - 0.8 * c) / 2.5) ** 2))
    z[np.abs(r + c - 130) < 6] += 1.1
    z[40:48, 50:60] = np.nan
    return z.astype(np.float32)


def line(rng, n=90):
    """A wavering line near the trench, partly beyond the raster."""
    t = np.linspace(-3.0, 128.0, n)
    return np.column_stack((0.8 * t + 1.5 * np.sin(t / 9.0) + rng.normal(0.0, 0.3, n), t + rng.normal(0.0, 0.2, n)))


def many(rng, m=60):
    """Ends with unit vectors, beds and lines, and points of other lines around."""
    at, turn = rng.uniform(0.0, 100.0, (m, 2)), rng.uniform(0.0, 2.0 * np.pi, m)
    out = np.column_stack((np.cos(turn), np.sin(turn)))
    points = np.round(rng.uniform(0.0, 100.0, (900, 2)))
    return at, out, rng.normal(5.0, 0.2, m), rng.integers(0, 20, m), points, rng.integers(0, 20, 900)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("up", [False, True])
def test_profile_is_that_of_the_single_steps(seed, up):
    rng = np.random.default_rng(seed)
    z, way = ground(rng), line(rng)
    way = way[::-1].copy() if up else way
    got = profile.profile(z, way, *PROFILE, BANDS)
    want = naive_profile.profile(z, way, *PROFILE, BANDS)
    for one, other in zip(got, want, strict=True):
        np.testing.assert_array_equal(one, other)


def test_no_profile_where_most_of_the_bed_is_unknown():
    z = np.full((60, 60), np.nan, np.float32)
    z[:, :20] = 1.0
    way = np.column_stack((np.full(60, 30.0), np.arange(60.0)))
    assert naive_profile.profile(z, way, *PROFILE, BANDS) is None
    assert profile.profile(z, way, *PROFILE, BANDS)[0].shape == (0, 2)


@pytest.mark.parametrize("known", [[], [3], [0, 9], [2, 3, 7], list(range(10))])
def test_what_is_unknown_is_read_off_between(known):
    # numpy's interp is the source
    values = np.full(10, np.nan)
    values[known] = np.random.default_rng(len(known)).normal(size=len(known))
    np.testing.assert_array_equal(profile.filled(values), naive_profile.filled(values))
    for every in (1, 2, 3, 7):
        np.testing.assert_array_equal(profile.between(values, every, 27), naive_profile.between(values, every, 27))
    assert profile.falls(values, 3) == naive_profile.falls(values, 3)


def test_directions_of_many_lines_are_those_of_each():
    rng = np.random.default_rng(3)
    lines = [line(rng, n) for n in (2, 3, 40, 90)]
    start = np.cumsum([0, *map(len, lines)])
    got = along.tangents_of(np.concatenate(lines), start, 6)
    np.testing.assert_array_equal(got, np.concatenate([along.tangents(p, 6) for p in lines]))


@pytest.mark.parametrize("seed", range(8))
def test_humps_and_ends_of_a_line(seed):
    rng = np.random.default_rng(seed)
    z, way = ground(rng), along.resample(line(rng)[3:-3], 1.0)
    bed = passing.fine_bed(z, way, OFFSETS[34:43], 6, 2)
    np.testing.assert_array_equal(bed, naive.fine_bed(z, way, OFFSETS[34:43], 6, 2))
    bed = profile.filled(bed)
    for half in (1, 8, 30, bed.size - 1):
        np.testing.assert_array_equal(passing.humps(bed, half), naive.humps(bed, half))
    rise = passing.humps(bed, 30)
    found = 0
    for longest in (1.0, 14.0, 20.0, 60.0):
        got = passing.inside(rise, 0.1, 0.3, 1.0, longest).tolist()
        assert got == [list(pair) for pair in naive.inside(rise, 0.1, 0.3, 1.0, longest)]
        found += len(got)
    assert found
    for n in (4, 9, 40, bed.size):
        part = way[:n].copy(), bed[:n].copy(), rise[:n].copy(), 0.1, 25, np.array([0, 8, 16, 24]), 15, 8, 0.87
        at, out = passing.open_ends(*part)
        want = naive.open_ends(*part)
        assert [(k, *row) for k, row in zip(at.tolist(), out.tolist(), strict=True)] == want
        assert len(want) >= 2
    np.testing.assert_array_equal(passing.turns(way, 15, 8), naive.turns(way, 15, 8))
    assert passing.turns(way[:40], 15, 8).size == 0


def test_ends_drawn_back_off_a_hump():
    rise = np.zeros(40)
    rise[:6] = 0.5
    points = np.column_stack((np.zeros(40), np.arange(40.0)))
    args = points, np.arange(40.0), rise, 0.1, 25, np.array([0, 8]), 15, 8, 0.87
    at, _ = passing.open_ends(*args)
    assert at.tolist() == [6, 39] == [k for k, *_ in naive.open_ends(*args)]
    # a hump that does not end within reach is none
    rise[:30] = 0.5
    assert passing.open_ends(*args)[0].tolist() == [0, 39] == [k for k, *_ in naive.open_ends(*args)]


@pytest.mark.parametrize("seed", range(4))
def test_fill_between_two_places(seed):
    rng = np.random.default_rng(seed)
    z = ground(rng)
    for a, b in rng.uniform(-5.0, 145.0, (200, 2, 2)):
        level = float(rng.normal(5.0, 0.5))
        want = naive.fill_between(z, a, b, level)
        assert passing.fill_between(z, a, b, level) == want or np.isnan(want)
        assert np.isnan(passing.fill_between(z, a, b, level)) == np.isnan(want)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("ahead_first", [False, True])
def test_what_an_end_is_aimed_at(seed, ahead_first):
    at, out, beds, lines, points, owner = many(np.random.default_rng(seed))
    at[:10] = points[:10] + 0.3
    near, start = within(cKDTree(points), at, 18.0)
    far = np.hypot(*(points[:, None] - at).T)
    assert near.tolist() == [k for e in range(len(at)) for k in np.flatnonzero(far[e] <= 18.0)]
    levels = np.random.default_rng(seed + 9).normal(5.0, 0.3, len(points)), beds
    args = at, out, lines, near, start, points, owner, (0.5, 0.7, 0.5), ahead_first, levels
    got = passing.side_ahead(*args).tolist()
    assert got == naive.side_ahead(*args)
    assert -1 in got and max(got) >= 0


def test_nothing_near_is_nothing_found():
    near, start = within(cKDTree(np.zeros((1, 2))), np.full((3, 2), 50.0), 4.0)
    assert near.size == 0 and start.tolist() == [0, 0, 0, 0]


@pytest.mark.parametrize("seed", range(4))
def test_ends_that_face_each_other(seed):
    at, out, beds, lines, _, _ = many(np.random.default_rng(seed), 150)
    pairs = cKDTree(at).query_pairs(25.0, output_type="ndarray")
    args = at, out, beds, lines, pairs, (1.5, 0.5, 0.3, 1.0, 60.0)
    got = passing.facing(*args).tolist()
    assert got == naive.facing(*args)
    assert -1 in got and max(got) >= 0


@pytest.mark.parametrize("seed", range(4))
def test_low_ground_beyond_a_crest(seed):
    rng = np.random.default_rng(seed)
    z = ground(rng)
    at, out, beds, *_ = many(rng, 200)
    places, start = passing.ways_ahead(at, out, 40, *z.shape)
    want = naive.ways_ahead(at, out, 40, *z.shape)
    np.testing.assert_array_equal(places, want[0])
    np.testing.assert_array_equal(start, want[1])
    over = np.abs(places.sum(axis=1) - 130.0) / np.sqrt(2.0)
    over[over > 3.0] = np.inf
    found, level = passing.low_beyond(z, places, start, over, beds, (3.0, 0.3, 0.5))
    want = naive.low_beyond(z, places, start, over, beds, (3.0, 0.3, 0.5))
    assert found.tolist() == [k for k, _ in want]
    assert [v for k, v in zip(found, level, strict=True) if k >= 0] == [v for k, v in want if k >= 0]
    assert found.max() >= 0 and found.min() < 0
