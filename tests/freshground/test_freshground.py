"""The third kind of ground is what it says: its truth holds when water levels are worked out by scikit-image."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from brim import brim_full
from otherground.dig import Line, Section, dense
from otherground.make import Other, pooled
from otherground.truth import Truth

from freshground import KINDS, earth, make
from freshground.fields import tilted

SMALL_M = 360
SOME = ("pitted-outwash", "bay-country")

NONE = [k for k in KINDS if k.startswith("none")]


@cache
def small(kind: str, seed: int = 5) -> Other:
    return make(seed, kind, size_m=SMALL_M)


def floor_cell(t: Truth) -> tuple[int, int]:
    return round(t.floor_at[0]), round(t.floor_at[1])


def test_same_seed_gives_the_same_ground():
    one, two = (make(5, "loess-upland", size_m=60) for _ in range(2))
    assert np.array_equal(one.z, two.z)
    assert [t.spill_m for t in one.truths] == [t.spill_m for t in two.truths]
    assert not np.array_equal(one.z, make(6, "loess-upland", size_m=60).z)


def test_water_in_a_drained_hollow_really_stands_lower():
    judged = 0
    for other in (small(k) for k in SOME):
        before, after = brim_full(other.natural), brim_full(other.open_ground)
        for t in (t for t in other.truths if t.state == "drained" and not t.edge):
            at = floor_cell(t)
            assert other.natural[at] == pytest.approx(t.floor_m)
            assert before[at] >= t.spill_m - 1e-9
            assert after[at] <= t.spill_m - 0.7 * t.depth_m + 1e-9
            judged += 1
    assert judged


def test_water_in_a_whole_hollow_stands_where_it_stood():
    judged = 0
    for other in (small(k) for k in SOME):
        before, after = brim_full(other.natural), brim_full(other.open_ground)
        for t in (t for t in other.truths if t.state == "whole" and not t.edge):
            at = floor_cell(t)
            assert before[at] >= t.spill_m - 1e-9
            assert after[at] >= t.spill_m - 0.2 * t.depth_m - 1e-9
            judged += 1
    assert judged


@pytest.mark.parametrize("kind", [NONE[0], *(pytest.param(k, marks=pytest.mark.slow) for k in NONE[1:])])
def test_nothing_is_drained_where_nothing_should_be(kind: str):
    other = make(1, kind, size_m=160)
    assert {t.state for t in other.truths} <= {"whole"}


@pytest.mark.parametrize("kind", SOME)
def test_ditches_fall_downstream_below_the_ground(kind: str):
    lines = [x for x in small(kind).plan.lines if x.kind != "roadside"]
    assert lines
    for line in lines:
        assert np.diff(line.bed_m).max() <= 1e-9
        assert np.hypot(*np.diff(line.at, axis=0).T).max() < 0.8


@pytest.mark.parametrize(("bed_m", "side"), [(0.5, 1.5), (1.2, 1.3), (2.4, 2.0), (1.0, 4.5)])
def test_a_ditch_has_the_width_and_depth_asked_for(bed_m: float, side: float):
    z = tilted(120, 0.001, 0.0)
    fine = earth.to_fine(z)
    at = dense(np.array([[60.0, 10.0], [60.0, 110.0]]))
    line = Line("ditch", at, np.linspace(-1.0, -1.1, len(at)), Section(bed_m, side, (0.0, 0.0), side > 3))
    earth.cut(np.random.default_rng(0), fine, line)
    part = fine[:, 60:180]
    assert part.min(0) == pytest.approx(np.interp(np.arange(60, 180) / 2, [10, 110], [-1.0, -1.1]), abs=0.01)
    wide = ((part - part.min(0)) < 0.5).sum(0).mean() / earth.FINE  # at half a metre above the bed
    assert wide == pytest.approx(bed_m + 2 * 0.5 * side, rel=0.12, abs=0.3)


@pytest.mark.parametrize("cell_m", [2.0, 3.0])
def test_a_survey_is_off_by_three_to_six_centimetres(cell_m: float):
    other = make(3, "none-loess", cell_m, 120)
    off = other.z - pooled(other.dug, round(cell_m))
    assert other.z.shape == (120 // cell_m, 120 // cell_m)
    assert 0.02 < 1.4826 * np.median(np.abs(off - np.median(off))) < 0.075  # furrows of 2-3 cm are in it


def counted(other: Other, state: str) -> int:
    """Hollows of 0.1 ha and 0.3 m in a state, one a floor."""
    large = [t for t in other.truths if t.area_m2 >= 1000 and t.depth_m >= 0.3 and not t.edge]
    return len({t.floor_at for t in large if t.state == state})


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_a_square_kilometre_has_a_sensible_number_of_basins(kind: str):
    other = make(1, kind)
    if kind.startswith("none"):
        assert {t.state for t in other.truths} <= {"whole"}
    else:
        assert 2 <= counted(other, "drained") <= 25
    assert sum(counted(other, s) for s in ("drained", "partly", "whole")) <= 60


def test_there_are_basins_drained_and_whole():
    both = [(counted(small(k), "drained"), counted(small(k), "whole")) for k in SOME]
    assert 1 <= sum(d for d, _ in both) <= 16
    assert 1 <= sum(w for _, w in both) <= 30
