"""Ridge and swale on ground of plain arithmetic: ridges are no roads, the low ground between them is no ditch."""

from __future__ import annotations

import linework_scenes as scene
import numpy as np
import pytest

from wetscout.linework import find_lines
from wetscout.linework.embankments import GENTLE_SIDE, kind_of
from wetscout.linework.kinds import Signs, side_slope, without_shoulders
from wetscout.settings.linework import LineworkSettings

SIZE_M, CELL_M = 500.0, 1.0


def arcs(apart_m, high_m):
    """Scroll bars: waves of a height round a point 350 m off, radii 150-550 m."""
    y, x = scene.frame(SIZE_M, CELL_M)
    far = np.hypot(y - 350.0, x)
    return y, x, far, 20.0 + 0.5 * high_m * np.cos(2.0 * np.pi * far / apart_m) + scene.noise(y.shape, 0.02, 7)


def lines(z):
    return find_lines(scene.terrain_of(z, CELL_M), LineworkSettings())


@pytest.mark.parametrize(("apart_m", "high_m"), [(36.0, 0.9), (44.0, 1.1)])
def test_scroll_bars_are_no_roads_and_swales_no_ditches(apart_m, high_m):
    """Sides of 0.08, half a metre and more above the swales beside them; before, most crests were roads."""
    found = lines(arcs(apart_m, high_m)[-1])
    assert not [b for b in found.embankments if b.kind == "road"]
    assert not [d for d in found.ditches if d.sure]


def test_a_ditch_through_scroll_bars_is_listed():
    y, x, _, z = arcs(40.0, 0.8)
    bed = 19.0 - 0.0005 * (y + 250.0)
    found = lines(np.minimum(z, scene.trapezoid(x + 0.1 * y, bed, 0.5, 1.5)))
    dug = [d for d in found.ditches if d.sure and d.kind != "natural stream"]
    assert sum(d.row.size for d in dug) > 400
    mid = 0.5 * (SIZE_M - 1.0)
    assert all(np.abs((d.col - mid) + 0.1 * (d.row - mid)).max() < 6.0 for d in dug)


def test_a_road_that_bends_as_much_is_a_road():
    """Fill of 0.6 m with sides of 2 to 1, on an arc of 350 m."""
    far = arcs(40.0, 0.8)[2]
    z = 20.0 + np.clip(0.6 - np.maximum(np.abs(far - 350.0) - 3.0, 0.0) / 2.0, 0.0, None)
    found = lines(z + scene.noise(z.shape, 0.02, 8))
    assert [b.kind for b in found.embankments] == ["road"]


@pytest.mark.parametrize(("gentle", "kind"), [(False, "road"), (True, "unclear")])
def test_gentle_sides_make_no_road_and_no_track(gentle, kind):
    assert kind_of(0.5, 12.0, 200.0, 0.95, 0.0, gentle) == kind
    assert kind_of(0.5, 12.0, 50.0, 0.98, 0.0, gentle) == kind


def test_a_straight_beach_ridge_is_no_road_and_a_worn_lane_is_one():
    """Both stand 0.3 m over the ground 10 m off with sides of 0.1; beyond the lane's foot the ground is level."""
    y, x = scene.frame(SIZE_M, CELL_M)
    across = np.abs(x + 0.2 * y)
    for z, kinds in ((0.6 * np.exp(-((across / 13.0) ** 2)), []), (np.clip(0.4 - across / 9.0, 0.0, 0.3), ["road"])):
        found = lines(20.0 + z + scene.noise(z.shape, 0.02, 9)).embankments
        assert [b.kind for b in found if b.kind == "road"] == kinds
    assert GENTLE_SIDE > 1.0 / 9.0


@pytest.mark.parametrize(
    ("depth", "length", "cut_share", "swale"),
    [
        (0.5, 150.0, 0.0, True),
        (0.5, 150.0, 0.2, True),
        (0.5, 150.0, 0.3, False),
        (0.5, 60.0, 0.0, False),
        (0.2, 150.0, 0.0, False),
    ],
)
def test_what_is_deep_without_a_shoulder_is_a_swale(depth, length, cut_share, swale):
    """A faint ditch has no shoulder either, but it is shallow; an old one has them along a part of it."""
    signs = Signs(
        saturation=0.7, depth=depth, climb=0.4, width=1.0, length=length, straight=0.99, one_sided=0.1,
        road_beside=False, valley_m=0.0, uneven=0.5,
    )  # fmt: skip
    width = np.where(np.arange(100) < 100 * cut_share, 4.0, 1.0)
    assert without_shoulders(signs, width) is swale
    assert not without_shoulders(signs, np.zeros(0))


def channel(half_bed_m, side):
    """A straight channel, 0.75 m deep, 600 m long, on a plain that falls along it."""
    y, x = scene.frame(600.0, CELL_M)
    plain = 20.0 - 0.001 * x + 0.02 * np.sin(y / 30.0)
    cut = scene.trapezoid(y - 0.05 * x, plain - 0.75, half_bed_m, side)
    return np.minimum(plain, cut) + scene.noise(x.shape, 0.03, 11)


def test_a_main_drain_with_a_bed_of_12_m_is_listed_and_a_swale_is_not():
    """Sides of 1 in 1.6 and of 1 in 12: from the middle of both no shoulder is met."""
    for half_bed_m, side, listed in ((6.0, 1.6, 1), (2.0, 12.0, 0)):
        found = lines(channel(half_bed_m, side)).ditches
        assert sum(d.row.size * CELL_M > 500.0 for d in found) == listed


@pytest.mark.parametrize("side", [1.6, 6.0, 12.0])
def test_slope_of_the_sides_of_a_line_is_that_of_the_trapezoid(side):
    """On 2 m: plane geometry."""
    y, x = scene.frame(300.0, 0.5)
    z = np.minimum(3.0, scene.trapezoid(y - 0.3 * x, 0.0, 2.0, side * np.hypot(1.0, 0.3))).astype(np.float32)
    t = np.arange(100.0, 500.0)
    points = np.column_stack([299.5 + 0.3 * (t - 299.5), t])
    assert side_slope(z, points, 0.5) == pytest.approx(1.0 / side, rel=0.03)
    assert np.isnan(side_slope(np.full_like(z, np.nan), points, 0.5))


@pytest.mark.parametrize("scale", [0.5, 1.0])
def test_side_slope_is_as_a_plain_loop_tells_it(scale):
    rng = np.random.default_rng(int(10 * scale))
    z = scale * rng.normal(size=(80, 120)).astype(np.float32)
    points = np.column_stack([np.full(60, 40.0), 30.0 + np.arange(60.0)])
    sides = []
    for way in (-1, 1):
        steepest = []
        for col in range(30, 90):
            levels = [float(z[40 + way * k, col]) for k in range(11)]
            steepest.append(max(b - a for a, b in zip(levels[:-2], levels[2:], strict=True)) / 2.0)
        sides.append(np.median(steepest))
    assert side_slope(z, points, 1.0) == pytest.approx(min(sides), rel=1e-5)
