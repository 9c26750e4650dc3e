"""What surrounds a site: rough ground full of faint lines is told from fields.

The third difference of a quadratic is zero, that of a sine A sin(kx) has the amplitude 8 A sin^3(kh/2) (finite
differences of an exponential, any textbook; worked here from (1 - e^{ikh})^3). That woods look like this: own look at
Dutch lidar, common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_surfaces import straight_ditch

from wetscout.records import CUT, Cut, Patch, Surfaces
from wetscout.settings.surroundings import SurroundingSettings
from wetscout.sites.network import Network
from wetscout.sites.setting import Surroundings, third_difference

POOL = np.ones((30, 40), dtype=bool)
WAY = np.array([0, 1], dtype=np.int64)


def at(row0, col0):
    return Patch(row0, col0, POOL)


def cut(ditch_id):
    return Cut(5, 5, 0.0, 1.0, 99.5, 100.1, 98.9, ditch_id, False, WAY, WAY)


def naive_roughness(z, row, col, step):
    """Slow and obvious: one cell, four directions, the mean of the middle two."""
    found = []
    for d_row, d_col in ((0, 1), (1, 0), (1, 1), (1, -1)):
        k = max(1, round(step / np.hypot(d_row, d_col)))
        places = [(row + m * k * d_row, col + m * k * d_col) for m in (-1, 0, 1, 2)]
        if any(not (0 <= r < z.shape[0] and 0 <= c < z.shape[1]) for r, c in places):
            return np.nan
        a, b, c, d = (float(z[p]) for p in places)
        found.append(abs(a - 3 * b + 3 * c - d))
    found.sort()
    return np.nan if np.isnan(found).any() else (found[1] + found[2]) / 2


@pytest.mark.parametrize("step", [1.0, 1.5, 3.0])
def test_roughness_equals_the_slow_way(step):
    rng = np.random.default_rng(4)
    z = rng.normal(50, 1, (23, 19)).astype(np.float32)
    z[5, 6] = np.nan
    rows, cols = (a.ravel() for a in np.indices(z.shape))
    slow = np.array([naive_roughness(z, r, c, step) for r, c in zip(rows, cols, strict=True)])
    np.testing.assert_allclose(third_difference(z, rows, cols, step), slow, rtol=1e-12)


def test_even_slopes_and_curves_are_smooth():
    row, col = np.mgrid[0:40, 0:40].astype(float)
    z = (0.02 * row - 0.05 * col + 0.004 * (row - 20) ** 2 + 0.003 * row * col).astype(np.float32)
    assert third_difference(z, np.arange(10, 30), np.arange(10, 30), 3.0).max() < 1e-4


def test_bumps_show_with_the_height_of_the_closed_form():
    """Waves across: along a crest nothing, across it most; the middle two are the diagonals, two cells a step.

    |cos| of the two, half a step to either side, adds up most on the node: 8 A sin^3(k) cos(k).
    """
    height, k, h = 0.1, 2 * np.pi / 12, 3
    z = np.broadcast_to(height * np.sin(k * np.arange(200.0)), (200, 200)).astype(np.float32)
    rough = third_difference(z, np.full(150, 100), np.arange(20, 170), float(h))
    assert rough.max() == pytest.approx(8 * height * np.sin(k) ** 3 * np.cos(k), rel=1e-3)


def scene(lines=True, bumps=0.15):
    """Smooth field in the west, bumpy ground with faint lines in the east; 2 m cells, noise 1 cm."""
    rng = np.random.default_rng(7)
    row, col = np.mgrid[0:260, 0:300].astype(float)
    z = 20 - 0.001 * row + rng.normal(0, 0.01, row.shape)
    z += np.where(col > 180, bumps * np.sin(row * 1.1) * np.sin(col * 0.9), 0.0)
    faint = [straight_ditch(np.full(90, r), np.arange(200.0, 290.0)) for r in range(20, 250, 20)]
    ditches = tuple(replace(d, ditch_id=i + 1, sure=False) for i, d in enumerate(faint)) if lines else ()
    z = z.astype(np.float32)
    surfaces = Surfaces(z, z, z, z, np.zeros(z.shape, dtype=np.uint8))
    return Surroundings(surfaces, Network(ditches, 2.0, 6.0), 2.0, SurroundingSettings())


def test_woods_and_fields():
    around = scene()
    field = around.signs(at(100, 40), ())
    woods = around.signs(at(100, 220), ())
    assert field["rough"] < 1.8 and field["faint_m_ha"] == 0 and field["rough_ground"] == 0
    assert woods["rough"] > 4 and woods["rough_ground"] == 1
    # a line every 40 m is 250 m a hectare
    assert woods["faint_m_ha"] == pytest.approx(250, rel=0.2)


def test_knobs_and_kettles_are_no_bumps():
    """Waves 60 m long and 6 m high are as rough at 3 m as woods, and far rougher at 6 m: landform."""
    around = scene()
    row, col = np.mgrid[0:260, 0:300] * 2.0
    waves = 6.0 * np.sin(2 * np.pi * row / 60.0) * np.sin(2 * np.pi * col / 60.0)
    np.copyto(around.ground, 20.0 + waves.astype(np.float32), where=col > 360)
    rough = third_difference(around.ground, np.full(60, 100), np.arange(210, 270), 1.5)
    assert np.median(rough) > around.s.rough * around.smooth_m
    assert around.signs(at(100, 220), ())["rough_ground"] == 0


def test_rough_ground_without_lines_and_lines_without_rough_ground_are_let_be():
    assert scene(lines=False).signs(at(100, 220), ())["rough_ground"] == 0
    assert scene(bumps=0.0).signs(at(100, 220), ())["rough_ground"] == 0


def test_share_of_cuts_on_listed_lines():
    kinds = ((True, "ditch"), (False, "ditch"), (True, "roadside"), (True, "straightened stream"))
    line = straight_ditch(np.full(50, 20.0), np.arange(50.0))
    ditches = tuple(replace(line, ditch_id=i + 1, sure=sure, kind=kind) for i, (sure, kind) in enumerate(kinds))
    around = scene(lines=False)
    around.network = Network(ditches, 2.0, 6.0)
    share = [
        around.signs(at(100, 40), tuple(cut(k) for k in ids))["listed_cuts"] for ids in ((1, 2, 3, 4), (1,), (None,))
    ]
    assert share == [0.5, 1.0, 0.0]
    assert around.signs(at(100, 40), ())["listed_cuts"] == 0.0


def test_what_was_dug_does_not_count_as_rough():
    around = scene()
    around.ground[100:130, 40:80] += np.random.default_rng(1).normal(0, 1, (30, 40)).astype(np.float32)
    assert around.signs(at(100, 40), ())["rough"] < 1.8  # the lesser of pool and ring
    around.corridor[...] = CUT
    assert np.isnan(around.signs(at(100, 40), ())["rough"])
    assert around.signs(at(100, 40), ())["rough_ground"] == 0


def test_a_raster_without_ground_gives_no_answer():
    z = np.full((40, 40), np.nan, dtype=np.float32)
    surfaces = Surfaces(z, z, z, z, np.zeros(z.shape, dtype=np.uint8))
    signs = Surroundings(surfaces, Network((), 1.0, 6.0), 1.0, SurroundingSettings()).signs(at(5, 0), ())
    assert np.isnan(signs["rough"]) and signs["rough_ground"] == 0
