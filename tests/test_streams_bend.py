"""What tells a gently bending stream from a ditch: it bends all the way, in the lowest ground, and cuts no rim.

Ground of plain arithmetic; the bow of a circle is its sagitta (plane geometry), r - sqrt(r**2 - h**2) over a chord 2 h.
"""

from __future__ import annotations

from dataclasses import replace

import linework_scenes as scene
import naive_linework as naive
import numpy as np
import pytest

from wetscout.kernels import along
from wetscout.linework import attributes, find_lines, shape, streams
from wetscout.pipeline import screen_array
from wetscout.settings.linework import LineworkSettings

SETTINGS = LineworkSettings()


def test_bow_of_a_circle_is_its_sagitta_and_that_of_straight_runs_is_nothing():
    turn = np.arange(0.0, 2.0, 1.0 / 150.0)
    circle = 150.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    assert attributes.bow(circle, 1.0, 25.0) == pytest.approx(150.0 - np.sqrt(150.0**2 - 25.0**2), abs=0.05)
    # the same circle in cells of 2 m
    assert attributes.bow(circle[::2] / 2.0, 2.0, 24.0) == pytest.approx(150.0 - np.sqrt(150.0**2 - 24.0**2), abs=0.05)
    t = np.arange(200.0)
    corner = np.concatenate([np.column_stack([t, 0 * t]), np.column_stack([0 * t + 199, t + 1])])
    assert attributes.bow(corner, 1.0, 25.0) == 0.0
    assert attributes.bow(circle[:50], 1.0, 25.0) == 0.0


@pytest.mark.parametrize("seed", range(4))
def test_bow_is_as_numpy_tells_it(seed):
    rng = np.random.default_rng(seed)
    points = np.cumsum(rng.normal(0.5, 1.0, (int(rng.integers(3, 200)), 2)), axis=0)
    for half, reach in ((1, 5), (4, 25)):
        assert along.bow(points, half, reach) == pytest.approx(naive.bow(points, half, reach), rel=1e-12)


def channel(cell_m, course, *, cross=0.003, rim_m=0.0, one_side=False, dip_m=0.0):
    """A channel 1.2 m deep, 600 m long: its plain falls along it and rises behind both banks, or on one side only.

    `rim_m`: height of a rim that lies across it; `dip_m`: how much lower its flats lie around one place. `course`: row
    of the channel [m] at a place along it.
    """
    y, x = scene.frame(600.0, cell_m)
    off = y - course(x)
    rise = cross * (off if one_side else np.abs(off))
    plain = 20.0 - 0.001 * x + rise + rim_m * np.exp(-((x / 60.0) ** 2))
    plain -= dip_m * np.exp(-((x / 45.0) ** 2 + (off / 40.0) ** 2))
    cut = scene.trapezoid(off, 18.8 - 0.001 * x, 1.2, 1.6)
    return np.minimum(plain, cut) + scene.noise(x.shape, 0.03, 11)


def bends(x):
    """Radius 90 m at its sharpest: 0.98 straight over 100 m."""
    return 28.0 * np.sin(x / 50.0)


def kind(z, cell_m):
    lines = find_lines(scene.terrain_of(z, cell_m), SETTINGS).ditches
    line = max(lines, key=lambda d: d.row.size)
    assert line.row.size * cell_m > 500.0 and line.sure
    return line.kind


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
def test_a_line_that_bends_all_the_way_in_the_lowest_ground_is_a_stream(cell_m):
    assert kind(channel(cell_m, bends), cell_m) == "natural stream"


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
def test_the_same_course_along_a_slope_or_through_a_rim_is_a_ditch(cell_m):
    assert kind(channel(cell_m, bends, one_side=True), cell_m) == "ditch"
    assert kind(channel(cell_m, bends, rim_m=1.2), cell_m) == "ditch"


@pytest.mark.parametrize(("wide_m", "told"), [(28.0, "natural stream"), (15.0, "ditch")])
def test_the_less_a_line_bends_the_less_its_banks_may_climb(wide_m, told):
    """Banks climb 0.46 m over a low rim, beside a channel 1.24 m deep that stands 2.0 m or 1.3 m off its chords."""
    settings = replace(SETTINGS, bend_uneven=0.5)
    z = channel(1.0, lambda x: wide_m * np.sin(x / 50.0), rim_m=0.6)
    lines = find_lines(scene.terrain_of(z, 1.0), settings).ditches
    assert max(lines, key=lambda d: d.row.size).kind == told


def test_a_straight_line_in_a_valley_is_a_straightened_stream():
    assert kind(channel(1.0, lambda x: 0.05 * x, cross=0.02), 1.0) == "straightened stream"


def test_loops_that_nobody_digs_may_vary_in_depth_and_gentler_bends_may_not():
    t = np.arange(700.0)
    for swing, stream in ((60.0, True), (16.0, False)):
        way = np.column_stack([200 + swing * np.sin(t / 25), t])
        way = shape.resample(way)
        n = len(way)
        bed, wide = 10.0 - 0.001 * np.arange(n), np.full(n, 4.0)
        bank = bed + 1.2 + 0.3 * np.sin(np.arange(n) / 40)
        p = attributes.Profile(way, bed, bank, bank, wide, wide, 0.0, 0.0, np.full((n, 2), -0.05))
        assert streams.winds(p, np.zeros(n, dtype=bool), 1.0, SETTINGS) is stream


@pytest.mark.parametrize(("swell_m", "long_m", "stream"), [(0.0, 240, True), (0.4, 240, False), (0.0, 110, False)])
def test_an_even_reach_that_bends_all_the_way_is_a_stream_from_150_m_on(swell_m, long_m, stream):
    """Radius 40 m at its sharpest, 4.7 m off its chords of 50 m; no valley is seen around it."""
    t = np.arange(float(long_m))
    way = shape.resample(np.column_stack([200 + 15.5 * np.sin(t / 25), t]))
    n = len(way)
    bed, wide = 10.0 - 0.001 * np.arange(n), np.full(n, 4.0)
    bank = bed + 1.1 + swell_m * np.sin(np.arange(n) / 40)
    p = attributes.Profile(way, bed, bank, bank, wide, wide, 0.0, 0.0, np.full((n, 2), -0.05))
    assert n < SETTINGS.winding_length_m or attributes.bow(way, 1.0, SETTINGS.bend_half_m) > SETTINGS.tight_blunt_m
    assert n < SETTINGS.winding_length_m or attributes.straightness(way, 1.0) > SETTINGS.winding_straight
    assert streams.winds(p, np.zeros(n, dtype=bool), 1.0, SETTINGS) is stream


@pytest.mark.parametrize(("loops", "stream"), [(4, True), (2, False)])
def test_a_chain_of_half_circles_is_a_stream_however_uneven_once_it_is_long(loops, stream):
    """Radius 40 m: 8.8 m off its chords of 50 m (plane geometry); two loops of 126 m could be a ditch round a knoll."""
    turn = np.linspace(0.0, np.pi, 127)[:-1]
    arcs = [
        np.column_stack([200.0 + (-1) ** k * 40.0 * np.sin(turn), 80.0 * k - 40.0 * np.cos(turn)]) for k in range(loops)
    ]
    way = shape.resample(np.concatenate(arcs))
    n = len(way)
    bed, wide = 10.0 - 0.001 * np.arange(n), np.full(n, 4.0)
    bank = bed + 1.2 + 0.9 * np.sin(np.arange(n) / 40)
    p = attributes.Profile(way, bed, bank, bank, wide, wide, 0.0, 0.0, np.full((n, 2), -0.05))
    assert streams.unevenness(p, np.zeros(n, dtype=bool)) > 1.0
    assert streams.winds(p, np.zeros(n, dtype=bool), 1.0, SETTINGS) is stream


@pytest.mark.parametrize(("course", "offered"), [(bends, 0), (lambda x: 0.05 * x, 1)])
def test_a_dip_in_the_flats_along_a_bending_stream_is_not_offered(course, offered):
    """A straight channel through the same dip was dug."""
    z = channel(1.0, course, dip_m=0.35)
    assert len(screen_array(z.astype(np.float32), 1.0).sites) == offered


def corners(x):
    """Runs of 60 m, each turning by 50 degrees: as far off its chords as the bends are."""
    return np.interp(x, np.arange(-330.0, 331.0, 55.0), 26.0 * (np.arange(13) % 2))


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
def test_the_same_valley_with_a_line_that_turns_at_corners_holds_no_natural_stream(cell_m):
    way = np.column_stack([corners(np.arange(-250.0, 250.0)), np.arange(-250.0, 250.0)])
    assert attributes.bow(shape.resample(way), 1.0, 25.0) > SETTINGS.bend_m
    assert kind(channel(cell_m, corners), cell_m) in ("ditch", "straightened stream")


def profile_of(way, climb_m):
    """A channel of even depth, 1.2 m, whose banks climb by `climb_m` over its length, in a valley."""
    n = len(way)
    bed, wide = 10.0 - 0.001 * np.arange(n), np.full(n, 4.0)
    bank = bed + 1.2 + climb_m * np.arange(n) / n
    return attributes.Profile(way, bed, bank, bank, wide, wide, 0.0, 0.0, np.full((n, 2), 0.05))


def test_a_long_straight_reach_is_no_part_of_the_winding_ones_beside_it():
    """Three reaches with junctions between them: bends, 300 m along a line, bends."""
    t = np.arange(900.0)
    ruled = (t >= 300.0) & (t < 600.0)
    way = np.column_stack([np.where(ruled, 0.0, 16.0 * np.sin((t - 300.0) * np.pi / 75.0)), t])
    p = profile_of(shape.resample(way), 0.0)
    at = [int(np.argmin(np.abs(p.points[:, 1] - x))) for x in (300.0, 600.0)]
    branches = [profile_of(p.points[k] + np.column_stack([np.arange(1.0, 60.0), np.zeros(59)]), 0.0) for k in at]
    clear = [np.zeros(len(q.points), dtype=bool) for q in (p, *branches)]
    pieces = streams.cut_apart([p, *branches], clear, 1.0, SETTINGS)[0]
    assert [stream for _, stream in pieces] == [True, False, True]


def test_long_straight_legs_are_ruled_and_bends_are_not():
    """A bend of radius r, simplified, has legs of 2 sqrt(2 r t) (geometry; Douglas and Peucker 1973 halve a line, so
    theirs may be as short as half of that)."""
    rng = np.random.default_rng(4)
    corners = np.array([[0, 0], [110, 40], [130, 150], [260, 170], [300, 300]], dtype=float)
    ditch = shape.resample(corners) + rng.normal(0.0, 0.15, (len(shape.resample(corners)), 2))
    assert streams.is_ruled(ditch, 1.0, SETTINGS)
    # the same line in cells of 2 m
    assert streams.is_ruled(ditch[::2] / 2.0, 2.0, SETTINGS)
    for radius, ruled in ((100.0, False), (300.0, False), (5000.0, True)):
        turn = np.arange(0.0, min(400.0 / radius, 6.0), 1.0 / radius)
        bend = radius * np.column_stack([np.cos(turn), np.sin(turn)])
        assert streams.is_ruled(bend, 1.0, SETTINGS) is ruled
        leg = 2.0 * np.sqrt(2.0 * radius * SETTINGS.leg_off_m)
        assert bool(leg >= SETTINGS.leg_m) is ruled
    t = np.arange(600.0)
    assert not streams.is_ruled(np.column_stack([28.0 * np.sin(t / 50.0), t]), 1.0, SETTINGS)


def test_a_crooked_line_of_straight_legs_in_the_lowest_ground_is_no_natural_stream():
    """A collector led through the lows with corners every 100 m, as deep at one place as at another."""

    def legs(x):
        return np.interp(x, np.arange(0.0, 700.0, 100.0), [0.0, 35.0, -5.0, 30.0, -10.0, 25.0, 0.0])

    assert kind(channel(1.0, legs), 1.0) in ("ditch", "straightened stream")
