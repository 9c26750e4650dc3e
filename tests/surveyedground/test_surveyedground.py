"""Surveyed ground is what it says: truth against scikit-image's flood, gridding against scipy, ditches against their
sections, the survey against the ground it met."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from brim import brim_full
from otherground.dig import Line, Section, dense, sample
from otherground.make import Other, pooled
from otherground.truth import Truth
from scipy.interpolate import griddata

from surveyedground import KINDS, dig, make, survey
from surveyedground.relief import tilted

SOME = ("knob-and-kettle", "outwash-fan")
SMALL_M = 380

NONE = [k for k in KINDS if k.startswith("none")]


@cache
def small(kind: str, seed: int = 3) -> Other:
    return make(seed, kind, size_m=SMALL_M)


def judged(state: str) -> list[tuple[Other, Truth, tuple[int, int]]]:
    out = []
    for other in (small(k) for k in SOME):
        for t in other.truths:
            if t.state == state and not t.edge:
                out.append((other, t, (round(t.floor_at[0]), round(t.floor_at[1]))))
    return out


@cache
def brims(kind: str) -> tuple[np.ndarray, np.ndarray]:
    """The ground filled to its brim, before anything was dug and since."""
    return brim_full(small(kind).natural), brim_full(small(kind).open_ground)


def test_same_seed_gives_the_same_ground():
    one, two = (make(5, "none-kettle-wood", size_m=80) for _ in range(2))
    assert np.array_equal(one.z, two.z)
    assert not np.array_equal(one.z, make(6, "none-kettle-wood", size_m=80).z)
    assert np.isfinite(one.z).all()


def test_water_in_a_drained_hollow_really_stands_lower():
    some = judged("drained")
    assert some
    for other, t, at in some:
        assert other.natural[at] == pytest.approx(t.floor_m)
        before, after = brims(other.kind)
        assert before[at] >= t.spill_m - 1e-9
        assert after[at] <= t.spill_m - 0.7 * t.depth_m + 1e-9


def test_water_in_a_whole_hollow_stands_where_it_stood():
    some = judged("whole")
    assert some
    for other, t, at in some:
        before, after = brims(other.kind)
        assert before[at] >= t.spill_m - 1e-9
        assert after[at] >= t.spill_m - 0.2 * t.depth_m - 1e-9


@pytest.mark.parametrize("kind", [NONE[0], *(pytest.param(k, marks=pytest.mark.slow) for k in NONE[1:])])
def test_nothing_is_drained_where_nothing_should_be(kind: str):
    assert {t.state for t in make(1, kind, size_m=200).truths if not t.edge} <= {"whole"}


def test_ditches_fall_downstream_and_are_no_deeper_than_a_contractor_digs():
    lines = [(o, x) for o in map(small, SOME) for x in o.plan.lines if x.kind != "roadside"]
    assert lines
    for other, line in lines:
        assert np.diff(line.bed_m).max() <= 1e-9
        inside = ((line.at > 0) & (line.at < SMALL_M - 1)).all(1)
        if inside.any():
            assert (sample(other.natural, line.at[inside]) - line.bed_m[inside]).max() <= 2.7


@pytest.mark.parametrize(("bed_m", "side"), [(0.5, 1.5), (1.2, 1.3), (2.4, 2.0)])
def test_a_ditch_has_the_width_and_depth_asked_for(bed_m: float, side: float):
    fine = dig.to_fine(tilted(120, 0.001, 0.0))
    at = dense(np.array([[60.25, 10.0], [60.25, 110.0]]))  # on the middles of half-metre cells
    line = Line("ditch", at, np.linspace(-1.0, -1.1, len(at)), Section(bed_m, side))
    dig.carve(np.random.default_rng(0), fine, line, np.zeros(len(at)))
    part = fine[:, 60:180]
    assert part.min(0) == pytest.approx(np.interp(np.arange(60, 180) / 2, [10, 110], [-1.0, -1.1]), abs=0.02)
    wide = ((part - part.min(0)) < 0.5).sum(0).mean() / dig.FINE  # at half a metre above the bed
    assert wide == pytest.approx(bed_m + 2 * 0.5 * side, rel=0.15, abs=0.3)


def flight_of(grid: str) -> survey.Flight:
    return survey.Flight(3.0, 0.03, 0.03, grid, 400.0, 0.7, 0.2)


@pytest.mark.parametrize("grid", ["tin", "mean", "idw"])
def test_gridding_gives_a_plane_back(grid: str):
    rng = np.random.default_rng(2)
    at = rng.uniform(-3, 63, (12000, 2))
    z = 0.01 * at[:, 0] - 0.02 * at[:, 1]
    rr, cc = np.mgrid[:60, :60]
    off = survey.gridded(flight_of(grid), at, z, 0.0, 60, 1.0) - (0.01 * rr - 0.02 * cc)
    assert np.abs(off).max() < (1e-6 if grid == "tin" else 0.03)


def test_triangles_are_those_of_scipy_across_strips():
    rng = np.random.default_rng(4)
    at = rng.uniform(-5, [605, 25], (9000, 2))
    z = rng.normal(size=len(at))
    ask = rng.uniform(0, [600, 20], (500, 2))
    assert survey._triangles(at, z, ask) == pytest.approx(griddata(at, z, ask), abs=1e-9)


def test_a_survey_over_bare_level_ground_errs_as_asked():
    seen = survey.Seen(np.zeros((800, 800)), np.full((800, 800), -np.inf), np.zeros((400, 400)), np.ones((400, 400)))
    at, z = survey.fly(np.random.default_rng(1), flight_of("tin"), seen, 50.0, 350.0)
    assert 2.0 < len(z) / 300**2 < 6.0  # strips overlap
    assert 0.025 < np.std(z) < 0.06
    assert (at >= 50).all() and (at < 350).all()


def test_water_is_seen_at_its_level_and_rarely():
    level = np.full((400, 400), -np.inf)
    level[:, :200] = 0.5
    seen = survey.Seen(np.zeros((400, 400)), level, np.zeros((200, 200)), np.ones((200, 200)))
    at, z = survey.fly(np.random.default_rng(1), flight_of("tin"), seen, 0.0, 200.0)
    wet = at[:, 1] < 98
    assert 0.2 < wet.sum() / (at[:, 1] > 102).sum() < 0.45
    assert np.median(z[wet]) == pytest.approx(0.5, abs=0.06)


@pytest.mark.parametrize("cell_m", [2.0, 3.0])
def test_a_dem_lies_on_the_ground_to_a_few_centimetres(cell_m: float):
    other = make(3, "none-scrolls", cell_m, 180)
    off = other.z - pooled(other.dug, round(cell_m))
    assert other.z.shape == (180 // cell_m, 180 // cell_m)
    assert abs(np.median(off)) < 0.06
    assert 0.005 < 1.4826 * np.median(np.abs(off - np.median(off))) < 0.08


def counted(other: Other, state: str) -> int:
    """Hollows of 0.1 ha and 0.3 m in a state, one a floor."""
    large = [t for t in other.truths if t.area_m2 >= 1000 and t.depth_m >= 0.3 and not t.edge]
    return len({t.floor_at for t in large if t.state == state})


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_a_square_kilometre_has_a_sensible_number_of_basins(kind: str):
    other = make(1, kind)
    if kind.startswith("none"):
        assert {t.state for t in other.truths if not t.edge} <= {"whole"}
    else:
        assert 2 <= counted(other, "drained") <= 30
