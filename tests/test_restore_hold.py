"""Plugs hold: put into the ground, water is raised over it by filling, and must stand at the spill level.

The filling is the project's own, which its tests compare with independent libraries; levels of the bowl are geometry.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import wetscout
from wetscout.pipeline import screen_array
from wetscout.prove import make_landscape
from wetscout.records import Candidate, Cut, Patch
from wetscout.restore.hold import Ground, lay, paint, without_noise
from wetscout.settings.restore import RestoreSettings

S = RestoreSettings()
# the task's own limit, beyond the 0.015 m to which plugs are laid
HELD_M = 0.02


@given(
    ends=st.tuples(*(st.floats(3.0, 26.0) for _ in range(4))),
    bend=st.tuples(st.floats(3.0, 26.0), st.floats(3.0, 26.0)),
)
@settings(max_examples=40, deadline=None)
def test_no_water_gets_through_a_painted_line(ends, bend):
    # from the left border to the right one by way of any three points
    row = np.array([ends[0], ends[0], bend[0], ends[2], ends[2]])
    col = np.array([-2.0, ends[1], bend[1], ends[3], 31.0])
    ground = np.zeros((30, 30), dtype=np.float32)
    paint(ground, row, col, 5.0)
    ground[0], ground[:, 0], ground[:, -1] = 9.0, 9.0, 9.0
    top = ground[1] < 5.0
    filled = wetscout.fill(ground)
    assert (filled[1][top] >= 5.0).all()


# half the angle between the arms
FORK = 0.8


def bowl(seed=1):
    """A round bowl 1 m deep on a plain at 10 m, its rim 0.5 m high and 60 m wide; two ditches fork at the rim."""
    y, x = np.mgrid[-90:91, -90:91].astype(np.float64)
    r = np.hypot(y, x)
    natural = 10.0 - 1.0 * np.clip(1.0 - (r / 40.0) ** 2, 0.0, None) + 0.5 * np.exp(-(((r - 52.0) / 12.0) ** 2))
    natural = np.where(r > 52.0, natural - 0.004 * (r - 52.0), natural)
    # the natural spill, away from the ditches
    natural -= 0.15 * np.exp(-(((x + 52.0) / 15.0) ** 2) - (y / 15.0) ** 2)
    natural += np.random.default_rng(seed).normal(0.0, 0.004, natural.shape)
    today = natural.copy()
    for angle in (-FORK, FORK):
        t = (x - 36.0) * np.cos(angle) + y * np.sin(angle)
        n = -(x - 36.0) * np.sin(angle) + y * np.cos(angle)
        bed = 8.9 - 0.002 * t + np.maximum(np.abs(n) - 1.0, 0.0) / 1.5
        today = np.where((t > -36.0) & (np.abs(n) < 6.0), np.minimum(today, bed), today)
    return natural.astype(np.float32), today.astype(np.float32)


def the_bowl(angles):
    natural, today = bowl()
    spill = float(wetscout.fill(natural)[90, 90])
    pool = (wetscout.fill(natural) > natural + 1e-4) & (np.hypot(*np.mgrid[-90:91, -90:91]) < 60)
    patch = Patch(0, 0, pool)
    cuts = []
    for angle in angles:
        t = np.arange(-36, 40)
        rows = np.rint(90 + t * np.sin(angle)).astype(np.int64)
        cols = np.rint(126 + t * np.cos(angle)).astype(np.int64)
        k = 36 + 17
        cuts.append(
            Cut(int(rows[k]), int(cols[k]), np.sin(angle), np.cos(angle), 8.9, spill, 8.8, 1, False, rows, cols)
        )
    c = Candidate(0, patch, patch, spill, 9.0, 9.0, (90, 90), (90, 38), tuple(cuts), False, 0.0, (1,), True, None)
    return natural, today, spill, pool, c


def stands(today, sizes, level):
    plugged = today.copy()
    for size in sizes:
        paint(plugged, size.row, size.col, level)
    return float(wetscout.fill(plugged)[90, 90])


def test_a_fork_at_the_rim_is_closed_on_both_arms():
    # only one arm is known
    natural, today, spill, pool, c = the_bowl([FORK])
    assert spill > 10.2 and stands(today, (), spill) < spill - 0.3
    cuts, made = lay(Ground(0, 0, today, today, natural, pool, 1.0), c, today, S)
    assert len(cuts) == len(made) == 2
    assert stands(today, made, spill) == pytest.approx(spill, abs=HELD_M)
    assert stands(today, made[:1], spill) < spill - 0.3


def test_a_hole_left_at_the_rim_does_not_hide_the_other_arm():
    """A bed that was not filled makes the lowest cell of the natural pool lie behind the first plug."""
    natural, today, spill, pool, c = the_bowl([FORK])
    natural, pool = natural.copy(), pool.copy()
    row, col = c.cuts[0].way_row[55:59], c.cuts[0].way_col[55:59]
    natural[row, col], pool[row, col] = today[row, col] - 0.2, True
    c = replace(c, floor_at=(int(row[3]), int(col[3])))
    cuts, made = lay(Ground(0, 0, today, today, natural, pool, 1.0), c, today, S)
    assert len(cuts) == 2
    assert stands(today, made, spill) == pytest.approx(spill, abs=HELD_M)


def test_known_arms_get_one_plug_each_from_bank_to_bank():
    natural, today, spill, pool, c = the_bowl([FORK, -FORK])
    cuts, made = lay(Ground(0, 0, today, today, natural, pool, 1.0), c, today, S)
    assert cuts == list(c.cuts)
    assert stands(today, made, spill) == pytest.approx(spill, abs=HELD_M)
    for size in made:
        # beds of 2 m with sides of 1.5:1, cut 1.5 m deep: 6.5 m wide, clipped at 12 m
        assert 6.0 <= size.across_m <= 16.0
        ends = np.rint(size.row[[0, -1]]).astype(int), np.rint(size.col[[0, -1]]).astype(int)
        np.testing.assert_allclose(today[ends], natural[ends], atol=0.05)
        assert (today[ends] >= spill - S.hold_m).all()


def test_a_plug_that_another_makes_needless_is_dropped():
    natural, today, _, pool, c = the_bowl([FORK, -FORK, FORK])
    cuts, made = lay(Ground(0, 0, today, today, natural, pool, 1.0), c, today, S)
    assert len(cuts) == len(made) == 2


def test_a_ditch_across_the_tail_of_a_pool_is_closed_at_the_rim_and_not_by_parting_the_pool():
    """A box 1 m deep with a tail 0.3 m deep; a ditch across the tail. A dam across the tail would take least earth."""
    natural = np.full((140, 200), 10.4, dtype=np.float32)
    natural[50:90, 20:80] = 9.0
    natural[64:76, 80:160] = 9.7
    # a wide rim at the spill level beside the tail
    natural[40:64, 130:150] = natural[76:100, 130:150] = 10.15
    today = natural.copy()
    today[:, 138:142] = 8.5
    pool = natural < 10.0
    spill, patch = 10.0, Patch(0, 0, pool)
    way = (
        np.concatenate([np.full(50, 70), np.arange(70, 10, -1)]),
        np.concatenate([np.arange(90, 140), np.full(60, 140)]),
    )
    cut = Cut(63, 140, -1.0, 0.0, 9.7, spill, 8.5, 1, False, *way)
    c = Candidate(0, patch, patch, spill, 9.7, 9.0, (70, 50), (70, 79), (cut,), False, 0.0, (1,), True, None)
    _, made = lay(Ground(0, 0, today, today, natural, pool, 1.0), c, today, S)
    plugged, walls = today.copy(), np.zeros(today.shape, dtype=np.float32)
    for size in made:
        paint(plugged, size.row, size.col, spill)
        paint(walls, size.row, size.col, 1.0)
    assert len(made) == 2
    dug = np.zeros_like(pool)
    dug[:, 138:142] = True
    # the pool stands on both sides of the ditch, and no plug lies in it
    assert (wetscout.fill(plugged)[pool & ~dug] >= spill - 1e-5).all()
    assert not (walls > 0)[pool & ~dug].any()


def held(screen):
    """How far water stands from the spill level of each site once its plugs are in, on today's ground [m]."""
    out = []
    today, natural = screen.surfaces.today, screen.surfaces.natural
    for site in screen.sites:
        ground = today.copy()
        for plug in site.plugs:
            paint(ground, plug.row, plug.col, site.values["spill_m"])
        h, w = site.pool.mask.shape
        box = (slice(site.pool.row0, site.pool.row0 + h), slice(site.pool.col0, site.pool.col0 + w))
        low = natural[box] <= site.values["floor_m"] + 0.3 * site.values["depth_max_m"]
        level = float(np.median(wetscout.fill(ground)[box][site.pool.mask & low]))
        out.append(level - site.values["spill_m"])
    return np.array(out)


@pytest.mark.parametrize(("kind", "seed", "cell_m"), [("collectors through basins", 11, 1.0), ("old ditches", 8, 2.0)])
def test_filled_after_plugging_the_pool_stands_at_the_spill_level(kind, seed, cell_m):
    land = make_landscape(kind, seed, cell_m, 600.0 * cell_m**0.5)
    off = held(screen_array(land.z, cell_m))
    assert off.size >= 2
    assert (np.abs(off) <= HELD_M).all(), off.round(3)


@pytest.mark.slow
def test_nearly_all_plugs_hold_on_many_landscapes():
    off = []
    for kind in ("chains along one ditch", "chain on a passing ditch", "all drained", "crooked outlets"):
        off.append(held(screen_array(make_landscape(kind, 612, 1.0, 1200.0).z, 1.0)))
    off = np.concatenate(off)
    assert off.size >= 30
    assert np.mean(np.abs(off) <= HELD_M) >= 0.95, np.sort(off).round(3)


def test_a_rim_that_lies_low_by_chance_alone_is_no_way_out():
    natural = np.array([[10.0, 10.0, 10.0, np.nan, 10.0]], dtype=np.float32)
    today = np.array([[9.88, 9.86, 10.2, 9.0, np.nan]], dtype=np.float32)
    # 0.05 m and twice a noise of 0.04 m
    got = without_noise(today, natural, 0.04)
    np.testing.assert_array_equal(got, np.array([[10.0, 9.86, 10.2, 9.0, np.nan]], dtype=np.float32))
    np.testing.assert_array_equal(without_noise(today, natural, 0.0), today)
