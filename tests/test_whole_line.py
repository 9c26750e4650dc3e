"""What a whole line shows: kernels against their plain numpy twins, sums against numpy itself."""

from __future__ import annotations

import naive_whole_line as naive
import numpy as np
import pytest
import shapely

from wetscout.kernels import skeleton, sums, whole_line
from wetscout.linework import attributes, streams
from wetscout.settings.linework import LineworkSettings

BANDS = attributes.bands_of(1.0, 3.0, 8.0)
SETTINGS = LineworkSettings()


def ground(rng, holes=True):
    """Rough float32 ground with a trench along the diagonal and unknown patches."""
    r, c = np.mgrid[:120, :140]
    z = 5.0 + 0.01 * r + rng.normal(0.0, 0.05, r.shape) - 0.8 * np.exp(-(((r - 0.8 * c) / 2.5) ** 2))
    if holes:
        z[40:48, 50:60] = np.nan
    return z.astype(np.float32)


def line(rng, n=90):
    """A wavering line near the trench, partly beyond the raster."""
    t = np.linspace(-3.0, 128.0, n)
    return np.column_stack((0.8 * t + 1.5 * np.sin(t / 9.0) + rng.normal(0.0, 0.3, n), t + rng.normal(0.0, 0.2, n)))


def levels(rng, n):
    """Bed, banks, shoulders and rise behind with unknown stations."""
    bed = rng.normal(4.0, 0.1, n)
    left, right = bed + rng.uniform(0.0, 1.5, n), bed + rng.uniform(0.0, 1.5, n)
    left[rng.random(n) < 0.1] = right[rng.random(n) < 0.1] = np.nan
    rise = rng.normal(0.0, 0.3, (n, 2))
    rise[rng.random((n, 2)) < 0.1] = np.nan
    return (bed, left, right), (rng.uniform(1.0, 5.0, n), rng.uniform(1.0, 5.0, n), rise)


@pytest.mark.parametrize("n", [*range(20), 127, 128, 129, 136, 255, 256, 257, 1000, 1025, 40_001])
def test_sums_are_those_of_numpy(n):
    # numpy is the source: `sum` of a contiguous array
    values = np.random.default_rng(n).normal(size=n) * 10.0 ** np.random.default_rng(n + 1).uniform(-6, 6, n)
    assert sums.total(values) == values.sum()
    points = np.random.default_rng(n).normal(size=(n, 2)).cumsum(axis=0)
    assert sums.length(points) == naive.length(points)


@pytest.mark.parametrize("seed", range(6))
def test_quality_is_that_of_the_numpy_expressions(seed):
    rng = np.random.default_rng(seed)
    s = ground(rng)
    for n in (2, 3, 17, 90):
        points = line(rng, n)
        assert whole_line.saturation(s, points, 6, BANDS) == pytest.approx(
            naive.saturation(s, points, 6, BANDS), abs=0.0, nan_ok=True
        )
        for shown in (-np.inf, 0.2, 0.5, 9.0):
            got = whole_line.quality(s, points, 6, BANDS, (4, 30), (shown, 1.0, 20.0))
            want = naive.quality(s, points, 6, BANDS, (4, 30), (shown, 1.0, 20.0))
            assert got == pytest.approx(want, rel=1e-13, nan_ok=True)


def test_a_line_on_unknown_ground_has_no_depth():
    s = np.full((40, 40), np.nan, dtype=np.float32)
    points = np.column_stack((np.full(20, 20.0), np.arange(20.0)))
    assert whole_line.quality(s, points, 6, BANDS, (4, 30), (-np.inf, 1.0, 5.0)) == (19.0, 0.0, 0.0, 0.0, 0.0)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("busy", [0.0, 0.3, 0.6, 1.0])
def test_signs_are_those_of_the_numpy_expressions(seed, busy):
    rng = np.random.default_rng(seed)
    s = ground(rng)
    points = line(rng)
    here, sides = levels(rng, points.shape[0])
    disturbed = rng.random(points.shape[0]) < busy
    rest = (6, BANDS, attributes.bands_of(1.0, 15.0, 30.0)[:2], (4, 30, 12), (0.25, seed % 2 == 0))
    got = whole_line.signs(s, points, here, sides, disturbed, *rest)
    want = naive.signs(s, points, here, sides, disturbed, *rest)
    assert got == pytest.approx(want, rel=1e-13, nan_ok=True)


def test_of_equal_depths_the_first_count_among_the_deepest():
    near = np.array([1.0, 2.0, np.nan, 2.0, 2.0, 0.5, np.nan])
    far = np.array([4.0, 2.5, 1.0, 4.0, 8.0, 1.0, 1.0])
    assert whole_line._deepest(near, far, 2) == (2.0, 0.5 * (2.0 / 2.5 + 2.0 / 4.0))
    assert whole_line._deepest(near, far, 3) == (2.0, 0.5)
    depth, sharp = whole_line._deepest(np.full(4, np.nan), np.ones(4), 1)
    assert np.isnan(depth) and np.isnan(sharp)


def test_lines_simplified_together_are_those_simplified_alone():
    # shapely simplifies one geometry at a time: the source
    rng = np.random.default_rng(7)
    lines = [line(rng, n) for n in (2, 3, 40, 90, 300)]
    lines.append(np.column_stack((np.arange(200.0), np.zeros(200))))
    got = streams.are_ruled(lines, 1.0, SETTINGS)
    for p, ruled in zip(lines, got, strict=True):
        corners = shapely.get_coordinates(shapely.simplify(shapely.LineString(p), SETTINGS.leg_off_m))
        assert ruled == naive.long_legs(corners, [0, len(corners)], 1.0, SETTINGS.leg_m)[0]
        assert ruled == streams.is_ruled(p, 1.0, SETTINGS)
    assert got.tolist()[-1] and not got.all()
    assert streams.are_ruled([], 1.0, SETTINGS).size == 0


@pytest.mark.parametrize("seed", range(6))
def test_corners_of_a_line(seed):
    rng = np.random.default_rng(seed)
    turns = np.repeat(np.round(rng.uniform(0.0, 7.0, 12)), rng.integers(3, 30, 12)) * np.pi / 4.0
    points = np.column_stack((np.cos(turns), np.sin(turns))).cumsum(axis=0)
    # in whole cells many turns are equal
    for p in (points, np.round(points), points[:9], points[:1]):
        for apart in (5, 9):
            got = whole_line.corners(p, 5, apart, 0.8).tolist()
            assert got == naive.corners(p, 5, apart, 0.8)
    assert whole_line.corners(points, 5, 5, 0.8).size


@pytest.mark.parametrize("reach", [0.5, 4.0, 1000.0])
def test_directions_of_edges_at_their_ends(reach):
    rng = np.random.default_rng(1)
    points = np.round(rng.normal(size=(400, 2)).cumsum(axis=0))
    start = np.array([0, 2, 3, 40, 41, 200, 300])
    path = rng.permutation(400)[:300]
    np.testing.assert_array_equal(skeleton.arms(path, start, points, reach), naive.arms(path, start, points, reach))
