"""Ridge and swale on ground of plain arithmetic: ridges are no roads, the low ground between them is no ditch."""

from __future__ import annotations

import linework_scenes as scene
import numpy as np
import pytest

from wetscout.linework import find_lines
from wetscout.linework.attributes import side_falls
from wetscout.linework.embankments import GENTLE_SIDE, kind_of
from wetscout.linework.sides import sides_of
from wetscout.pipeline import screen_array
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
    ("fall", "begins", "cut_share", "sides"),
    [
        (0.1, 2.0, 0.0, "gentle"),
        (0.1, 2.0, 0.2, "gentle"),
        (0.1, 2.0, 0.3, "near"),
        (0.1, 6.0, 0.0, "gentle"),
        (0.2, 2.0, 0.0, "near"),
        (0.2, 5.0, 0.0, "far"),
        (0.2, 5.0, 1.0, "far"),
        (np.nan, 0.0, 0.0, "gentle"),
    ],
)
def test_what_has_neither_a_steep_side_nor_a_shoulder_is_a_swale(fall, begins, cut_share, sides):
    """An old ditch has shoulders along a part of it; a wide flat bed has them where it is rough."""
    width = np.where(np.arange(100) < 100 * cut_share, 4.0, 1.0)
    falls, feet = np.full((2, 100), fall), np.zeros((2, 100))
    feet[0, :40] = begins
    assert sides_of(falls, feet, width) == sides
    falls[1] = 0.05
    assert sides_of(falls, feet, width) == ("near" if cut_share >= 0.25 else "gentle")
    assert sides_of(falls[:, :0], feet[:, :0], width[:0]) == "near"


def channel(half_bed_m, side):
    """A straight channel, 0.75 m deep, 600 m long, on a plain that falls along it."""
    y, x = scene.frame(600.0, CELL_M)
    plain = 20.0 - 0.001 * x + 0.02 * np.sin(y / 30.0)
    cut = scene.trapezoid(y - 0.05 * x, plain - 0.75, half_bed_m, side)
    return np.minimum(plain, cut) + scene.noise(x.shape, 0.03, 11)


@pytest.mark.parametrize(
    ("half_bed_m", "side", "told"),
    [
        (4.4, 1.6, [("straightened stream", True, True)]),
        (4.0, 3.0, [("straightened stream", True, True)]),
        (6.0, 1.6, [("natural stream", True, False)]),
        (1.0, 1.6, [("ditch", False, True)]),
        (2.0, 12.0, []),
    ],
)
def test_a_main_drain_with_a_wide_bed_is_listed_and_a_straight_swale_is_not(half_bed_m, side, told):
    """0.75 m deep; from the middle of a wide bed as of a swale of 1 in 12 no shoulder is met. What is wider than
    10 m wanders in its bed and is left alone as a stream is."""
    found = lines(channel(half_bed_m, side)).ditches
    assert [(d.kind, d.wide_bed, d.sure) for d in found if d.row.size * CELL_M > 500.0] == told


def test_a_wide_bed_is_filled_up_to_its_banks():
    """The plain is met again within 5 cm where a ditch of 0.75 m was: plane geometry."""
    z = channel(4.4, 1.6)
    natural = screen_array(z.astype(np.float32), CELL_M).surfaces.natural
    y, x = scene.frame(600.0, CELL_M)
    plain = 20.0 - 0.001 * x + 0.02 * np.sin(y / 30.0)
    bed = (np.abs(y - 0.05 * x) < 4.0) & (np.abs(x) < 250.0)
    assert np.quantile(np.abs(natural[bed] - plain[bed]), 0.95) < 0.08


@pytest.mark.parametrize("side", [1.6, 6.0, 12.0])
def test_sides_of_a_line_are_those_of_the_trapezoid(side):
    """On 2 m, beginning at the edge of the bed: plane geometry. Farther out they are a hair gentler."""
    out = np.arange(-10.0, 11.0)
    climb = np.maximum(0.0, np.abs(out) - 3.0) / side
    ground = np.tile(climb - 1e-6 * climb**2, (5, 1))
    ground[0] = np.nan
    falls, begins = side_falls(-ground, 1.0, 2.0, 10.0)
    assert falls[:, 1:] == pytest.approx(1.0 / side, rel=1e-5)
    assert np.all(begins[:, 1:] == 3.0)
    assert np.all(np.isnan(falls[:, 0]))


@pytest.mark.parametrize("scale", [0.5, 1.0])
def test_sides_are_as_a_plain_loop_tells_them(scale):
    rng = np.random.default_rng(int(10 * scale))
    ground = scale * rng.normal(size=(60, 31))
    ground[rng.random(ground.shape) < 0.05] = np.nan
    falls, begins = side_falls(ground, 1.0, 2.0, 10.0)
    for s, way in enumerate((1, -1)):
        for i, section in enumerate(ground):
            best, at = np.nan, 0
            for k in range(9):
                fall = (section[15 + way * k] - section[15 + way * (k + 2)]) / 2.0
                if fall > best or (np.isnan(best) and not np.isnan(fall)):
                    best, at = fall, k
            assert falls[s, i] == best and begins[s, i] == at
