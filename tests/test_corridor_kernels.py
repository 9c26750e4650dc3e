"""Corridors and opened beds: kernels against their plain numpy and scipy twins."""

from __future__ import annotations

import naive_corridor as naive
import numpy as np
import pytest

from wetscout.ingest import from_array
from wetscout.kernels import corridor, open_bed
from wetscout.records import CUT, Ditch, Linework
from wetscout.settings.surfaces import SurfaceSettings
from wetscout.surfaces import build_surfaces
from wetscout.surfaces.corridors import _Sizes
from wetscout.surfaces.today import open_line

SETTINGS = SurfaceSettings()


def ground(rng, cell_m=1.0):
    """Rough ground with a trench that ends, spoil beside part of it, a bank across and unknown patches; a raster."""
    r, c = np.mgrid[:110, :130] * cell_m
    away = (r - 0.8 * c) * 0.78
    z = 5.0 + 0.01 * r + rng.normal(0.0, 0.03, r.shape)
    z -= 1.0 * np.exp(-((away / 2.5) ** 2)) * (c < 95.0 * cell_m)
    z += 0.6 * np.exp(-(((away - 6.0) / 1.5) ** 2)) * (c > 30.0 * cell_m)
    z[np.abs(r + c - 130.0) < 6.0] += 1.2
    z[60:66, 80:90] = np.nan
    return z.astype(np.float32)


def line(rng, n=100):
    """Stations near the trench, the last ones beyond the raster; two on one spot."""
    t = np.linspace(2.0, 133.0, n)
    row, col = 0.8 * t + np.sin(t / 9.0) + rng.normal(0.0, 0.2, n), t + rng.normal(0.0, 0.2, n)
    row[5:20], col[5:20] = row[5], col[5]
    return row, col


def same(got, want):
    for one, other in zip(got, want, strict=True):
        np.testing.assert_array_equal(one, other)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("cell_m", [0.5, 1.0, 2.0])
def test_a_band_is_that_of_the_single_steps(seed, cell_m):
    rng = np.random.default_rng(seed)
    z, (row, col) = ground(rng, cell_m), line(rng)
    same(corridor.across(row, col, 4), naive.across(row, col, 4))
    sizes = _Sizes.of(cell_m, SETTINGS.bed_reach_m, SETTINGS)
    for n in (2, 7, row.size):
        args = z, row[:n].copy(), col[:n].copy(), sizes.stations, sizes.lengths
        for least in (-9.0, 0.1, 0.4, 99.0):
            same(
                corridor.band(*args, (least, *sizes.widths[1:])),
                naive.band(*args, (least, *sizes.widths[1:])),
            )


@pytest.mark.parametrize("seed", range(6))
def test_spoil_and_the_other_ditch_behind_it(seed):
    rng = np.random.default_rng(seed)
    z, (row, col) = ground(rng), line(rng)
    sizes = _Sizes.of(1.0, SETTINGS.bed_reach_m, SETTINGS)
    a_row, a_col, _, left, right, section = corridor.band(z, row, col, sizes.stations, sizes.lengths, sizes.widths)
    heights, along, limits, _ = sizes.banks
    dug = (rng.random(z.shape) < 0.6).astype(np.uint8)
    found = 0
    for side, own, other in ((-1, left, right), (1, right, left)):
        for share in (0.0, along[1], 2.0):
            args = section, 0.5, own, side, heights, (along[0], share)
            same(corridor.spoil(*args), naive.spoil(*args))
            found += int((corridor.spoil(*args)[1] != own).sum())
        args = dug, row, col, (a_row, a_col), own, other, section, (side, 0.5, 1.0), limits
        same([corridor.between_ditches(*args)], [naive.between_ditches(*args)])
    assert found


def hollow(radius_m, depth_m, drop_m=0.0):
    """Closed form: a round bowl in level ground, a trench 3 m wide from its middle to the right; raster and bowl."""
    y, x = np.mgrid[-60:61, -60:141].astype(float)
    away = np.hypot(x, y) / radius_m
    bowl = 10.0 - depth_m * np.clip(1.0 - away**2, 0.0, None)
    trench = 10.0 - depth_m - drop_m + np.clip(np.abs(y) - 0.75, 0.0, None) / 0.6
    dug = np.where((x > 0.0) & (drop_m > 0.0), np.minimum(bowl, trench), bowl)
    return dug.astype(np.float32), bowl


def ditch(number, row, col, **values):
    n = len(row)
    flat = np.zeros(n)
    said = {"kind": "ditch", "depth_m": 1.0, "bank_climb_m": 0.0, "straightness": 1.0, "spoil": "none", **values}
    return Ditch(number, np.asarray(row, float), np.asarray(col, float), flat, flat, flat, flat + 4.0, **said)


def test_hollows_are_told_as_by_the_single_steps():
    sizes = _Sizes.of(1.0, SETTINGS.bed_reach_m, SETTINGS)
    rng, told = np.random.default_rng(5), []
    for _ in range(90):
        radius_m = rng.uniform(8.0, 25.0)
        z, _ = hollow(radius_m, rng.uniform(0.3, 1.5), rng.choice([0.0, 0.3, 0.6]))
        z += rng.normal(0.0, 0.02, z.shape).astype(np.float32)
        z[rng.integers(50, 70, 9), rng.integers(50, 70, 9)] = np.nan
        col = np.arange(60.0 - radius_m, 60.0 + rng.uniform(0.0, 2.6) ** 5)[:: rng.choice([-1, 1])].copy()
        row = 60.0 + rng.uniform(-0.5, 0.5) * (col - 60.0) * rng.integers(0, 2)
        *_, centre, left, right, section = corridor.band(z, row, col, sizes.stations, sizes.lengths, sizes.widths)
        wide = 0.0, 5.0, 8.0, 0.3, 0.3, 3.0, 10.0, 0.9, 1.0, 0.0, 0.5
        for limits in (sizes.banks[3], wide, (9.0, *sizes.banks[3][1:])):
            args = section, 0.5, centre, left, right, 1.0, limits
            start, stop = corridor.dug_part(*args)
            assert (start, stop) == naive.dug_part(*args)
            told.append("all" if stop == 0 else "head" if start else "tail" if stop < col.size else "none")
    assert min(told.count(word) for word in ("all", "head", "tail", "none")) > 4


@pytest.mark.parametrize("led_on", [False, True])
@pytest.mark.parametrize(("radius_m", "depth_m"), [(12.0, 0.9), (13.0, 1.0), (14.0, 1.2)])
def test_the_middle_of_a_hollow_is_no_ditch(radius_m, depth_m, led_on):
    """Closed form: a bowl of 0.04-0.06 ha; a line up its far half had made banks of its flanks and filled a fifth.

    One of its own, or that of the ditch led on.
    """
    z, ground = hollow(radius_m, depth_m, 0.3)
    z += np.random.default_rng(3).normal(0.0, 0.02, z.shape).astype(np.float32)
    axis = np.arange(60.0 - radius_m, 61.0)
    col = np.arange(axis[0] if led_on else 60.0, 180.0)
    drain = ditch(1, np.full(col.size, 60.0), col, sure=True)
    middle = ditch(2, np.full(axis.size, 60.0), axis, kind="unclear", sure=False)
    lines = (drain,) if led_on else (drain, middle)
    out = build_surfaces(from_array(z, 1.0), Linework(lines), SETTINGS)
    pool = ground < 9.99
    assert (np.abs(out.natural - ground)[pool] > 0.2).mean() < 0.02
    # the drain is closed at the rim all the same
    rim = np.abs(out.natural - ground)[55:66, 60 + round(radius_m) - 1 : 60 + round(radius_m) + 6]
    assert rim.max() < 0.15
    assert (out.corridor[60, 62:170] & CUT).all()


@pytest.mark.parametrize(("length_m", "side", "filled"), [(36, 5.0, True), (62, 10.0, False), (20, 5.0, False)])
def test_a_wide_old_ditch_with_an_abrupt_head_is_filled(length_m, side, filled):
    """Closed form: 1 m deep, at most four times as long as wide: it had been left open as the middle of a hollow.

    Its line runs on over its head. One with sides of 10 to 1, or shorter than three widths, may be a hollow.
    """
    y, x = np.mgrid[-60:61, -60:141].astype(float)
    beyond = np.maximum(np.abs(x - 0.5 * length_m) - 0.5 * length_m, 0.0)
    z = 10.0 - np.clip(1.0 - np.clip(np.abs(y) - 0.5, 0.0, None) / side - beyond / 6.0, 0.0, None)
    z += np.random.default_rng(3).normal(0.0, 0.02, z.shape)
    col = np.arange(52.0, 60.0 + length_m)
    lines = Linework((ditch(1, np.full(col.size, 60.0), col, sure=True),))
    out = build_surfaces(from_array(z.astype(np.float32), 1.0), lines, SETTINGS)
    middle = out.natural[50:71, 65 : 55 + length_m]
    assert bool((middle > 9.8).all()) is filled


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("bits", [(1, 16), (3, 0)])
def test_a_painted_ditch(seed, bits):
    rng = np.random.default_rng(seed)
    z, (row, col) = ground(rng), line(rng)
    sizes = _Sizes.of(1.0, SETTINGS.bed_reach_m, SETTINGS)
    dug = np.zeros(z.shape, np.uint8)
    corridor.paint_along(dug, 1, row[::-1].copy(), col[::-1].copy() - 9.0, 6, np.full(row.size, 2.0))
    assert 0 < dug.sum() < dug.size
    got, want = np.zeros(z.shape, np.uint8), np.zeros(z.shape, np.uint8)
    rest = dug, z, row, col, bits, 0.5, sizes.stations, sizes.lengths, sizes.widths, sizes.banks
    corridor.paint_ditch(got, *rest)
    naive.paint_ditch(want, *rest)
    np.testing.assert_array_equal(got, want)
    assert set(np.unique(got)) >= ({0, 1, 16} if bits[1] else {0, 3})


@pytest.mark.parametrize("window", [3, 8, 45])
@pytest.mark.parametrize("ends", [(False, False), (False, True), (True, True)])
def test_humps_taken_off_a_bed(window, ends):
    rng = np.random.default_rng(window)
    for n in (3, 20, 150):
        bed = 5.0 + rng.normal(0.0, 0.2, n)
        bed[rng.random(n) < 0.05] = np.inf
        same([open_bed.open_humps(bed, window, *ends)], [naive.open_humps(bed, window, *ends)])


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("sure", [False, True])
def test_a_carved_line(seed, sure):
    rng = np.random.default_rng(seed)
    z, (row, col) = ground(rng), line(rng)
    on_fill = np.add(*np.mgrid[:110, :130]) > 60
    got, want = z.copy(), z.copy()
    naive.carve(want, z, on_fill, row, col, sure, (6, 4, 45), 1.0, (15, 0.4))
    open_line(got, z, on_fill, (row, col, sure), (6, 4, 45, 1.0), (15, 0.4))
    np.testing.assert_array_equal(got, want)
    assert (got < z).any()


def test_nothing_is_carved_where_no_bed_is_known():
    z = np.full((30, 30), np.nan, np.float32)
    today = np.ones((30, 30), np.float32)
    row = np.arange(5.0, 20.0)
    open_line(today, z, np.ones((30, 30), np.bool_), (row, row, True), (6, 4, 45, 1.0), (15, 0.4))
    assert (today == 1.0).all()
