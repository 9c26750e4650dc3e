"""Steps in the bed: beds of plain arithmetic, then a ditch in rough ground. No outside standard; geometry decides."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from linework_scenes import along_across, frame, noise, terrain_of, trapezoid

from wetscout.linework import find_lines
from wetscout.linework.steps_in_bed import steps_along
from wetscout.settings.linework import LineworkSettings

S = LineworkSettings()


def bed_of(length_m=200.0, cell_m=1.0, grade=0.002):
    at = np.arange(0.0, length_m, cell_m)
    return at, 20.0 - grade * at


@pytest.mark.parametrize("cell_m", [0.5, 1.0, 1.524, 2.0, 3.0])
@pytest.mark.parametrize("run_m", [0.0, 6.0])
def test_a_step_of_known_height_is_found_where_it_is(cell_m, run_m):
    at, bed = bed_of(cell_m=cell_m)
    bed = bed - np.interp(at, [100.0, 100.0 + max(run_m, 0.01)], [0.0, 0.45])
    found = steps_along(bed, np.full(bed.size, 0.8), cell_m, S)
    assert len(found) == 1
    station, height, up, down = found[0]
    assert height == pytest.approx(0.45, abs=0.01)
    assert -2.0 - cell_m <= station * cell_m - 100.0 <= run_m + cell_m
    assert up - down == pytest.approx(0.45 + 0.002 * 40.0, abs=0.02)


def test_no_step_on_a_steep_even_grade_nor_below_the_limit_nor_at_the_beginning():
    at, bed = bed_of(grade=0.05)
    deep = np.full(bed.size, 0.8)
    assert steps_along(bed, deep, 1.0, S) == []
    at, bed = bed_of()
    assert steps_along(bed - 0.25 * (at > 100), deep, 1.0, S) == []
    # a ditch that begins with its full depth in a field
    shallow = np.where(at < 40, 0.05, 0.8)
    assert steps_along(bed - 0.7 * (at > 40), shallow, 1.0, S) == []
    assert steps_along(bed[:12], deep[:12], 1.0, S) == []


@given(
    fill_m=st.floats(0.0, 1.5),
    hole_m=st.floats(0.0, 0.9),
    drop_m=st.sampled_from([0.0, 0.0, 0.5]),
    wide_m=st.floats(4.0, 14.0),
)
@settings(max_examples=60, deadline=None)
def test_fill_over_a_pipe_and_the_hole_below_it_are_none_unless_the_bed_drops(fill_m, hole_m, drop_m, wide_m):
    at, bed = bed_of(240.0)
    end = 110.0 + wide_m
    bed = bed + fill_m * ((at > 110) & (at < end)) - hole_m * ((at >= end) & (at < end + 5)) - drop_m * (at >= end)
    found = steps_along(bed, np.full(bed.size, 0.8), 1.0, S)
    assert len(found) == (1 if drop_m else 0)
    for _, _, up, down in found:
        assert up - down == pytest.approx(drop_m + 0.002 * 40.0, abs=0.03)


def test_noise_alone_makes_no_step():
    _, bed = bed_of(5000.0)
    rng = np.random.default_rng(5)
    # the bed of a real line is a median over 10 m: noise of 6 cm in the ground leaves about 2 cm in it
    rough = bed + np.convolve(rng.normal(0, 0.05, bed.size + 8), np.ones(9) / 9.0, "valid")
    assert steps_along(rough, np.full(bed.size, 0.8), 1.0, S) == []


@pytest.mark.parametrize(("cell_m", "drop_m"), [(1.0, 0.5), (2.0, 0.6), (1.0, 0.0)])
def test_a_ditch_in_rough_ground(cell_m, drop_m):
    y, x = frame(340.0, cell_m)
    t, n = along_across(y, x, 25.0)
    ground = 20.0 - 0.002 * t
    bed = 19.0 - 0.002 * t - drop_m * (t > 20.0)
    z = np.minimum(ground, trapezoid(n, bed, 0.8, 1.5)) + noise(t.shape, 0.04, 3)
    lines = find_lines(terrain_of(z, cell_m), S)
    assert len([d for d in lines.ditches if d.sure]) >= 1
    assert len(lines.bed_steps) == (1 if drop_m else 0)
    for step in lines.bed_steps:
        mid = 0.5 * (t.shape[0] - 1)
        along = ((step.col - mid) * np.cos(np.radians(25.0)) + (step.row - mid) * np.sin(np.radians(25.0))) * cell_m
        assert along == pytest.approx(20.0, abs=6.0)
        assert step.height_m == pytest.approx(drop_m, abs=0.08)
