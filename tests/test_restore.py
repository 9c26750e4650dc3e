"""Earth of a plug, and the pool stage by stage."""

from __future__ import annotations

import numpy as np
import pytest

from wetscout.records import Candidate, Patch, Plug, Site
from wetscout.restore import too_much_earth
from wetscout.restore.plug import prism_volume
from wetscout.restore.pool import stage_table, volume_m3
from wetscout.restore.site import drain_position
from wetscout.settings.restore import RestoreSettings


def test_prism_volume_of_a_trapezoid_ditch():
    # geometry of a prism in a trapezoid ditch, V = H w (b + s H) + (z1 + z2)(b H^2 / 2 + s H^3 / 3):
    # b 1.2, s 1.5, H 1.5, w 3, z1 = z2 = 3 gives 15.525 + 18.225 = 33.75 m3
    y = np.arange(-6, 6, 0.001) + 0.0005
    ground = np.clip(np.abs(y) - 0.6, 0, None) / 1.5
    assert prism_volume(ground, 0.001, 1.5, 3.0, (3.0, 3.0)) == pytest.approx(33.75, abs=0.01)


def test_stage_table_of_a_paraboloid():
    # closed form: V = A h / 2; with R = 50 m, h = 1.5 m: A 7853.98 m2, V 5890.49 m3
    row, col = np.mgrid[-60:60:0.5, -60:60:0.5] + 0.25
    ground = (1.5 * (row**2 + col**2) / 50**2).astype(np.float32)
    table = stage_table(ground, ground < 1.5, (0.0, 1.5), 6, 0.25)
    assert table[-1][1] == pytest.approx(7853.98, rel=2e-3)
    assert table[-1][2] == pytest.approx(5890.49, rel=2e-3)
    levels, areas, volumes = (np.array(v) for v in zip(*table, strict=True))
    np.testing.assert_allclose(volumes, areas * levels / 2, rtol=5e-3)


def test_volume_does_not_depend_on_the_order_of_cells():
    depth = np.random.default_rng(5).uniform(0, 2, 5000)
    assert volume_m3(depth, 1.0) == volume_m3(depth[::-1], 1.0)


@pytest.mark.parametrize(
    ("few", "earth", "heavy"), [(0.0, 499.0, False), (0.0, 501.0, True), (1.0, 99.0, False), (1.0, 101.0, True)]
)
def test_a_pool_seen_in_few_cells_must_hold_more_water_than_its_plugs_take_earth(few, earth, heavy):
    patch = Patch(0, 0, np.ones((2, 2), dtype=bool))
    plug = Plug("p1", "s1", 1, 1, np.zeros(2), np.ones(2), {"fill_m3": earth})
    site = Site(
        "s1", patch, patch, (), (plug,), (), {"volume_m3": 100.0, "pool_m2": 400.0, "_signs": {"few_cells": few}}
    )
    assert too_much_earth(site, RestoreSettings()) is heavy


@pytest.mark.parametrize(("plugs", "pool_m2", "many"), [(5, 400.0, False), (6, 1799.0, True), (6, 1801.0, False)])
def test_a_small_pool_with_an_opening_every_few_steps_is_turned_down(plugs, pool_m2, many):
    patch = Patch(0, 0, np.ones((2, 2), dtype=bool))
    every = tuple(Plug(f"p{k}", "s1", 1, 1, np.zeros(2), np.ones(2), {"fill_m3": 1.0}) for k in range(plugs))
    site = Site("s1", patch, patch, (), every, (), {"volume_m3": 100.0, "pool_m2": pool_m2})
    assert too_much_earth(site, RestoreSettings()) is many


@pytest.mark.parametrize(("plugs", "earth", "heavy"), [(3, 499.0, False), (4, 101.0, True), (4, 99.0, False)])
def test_a_pool_with_several_openings_must_hold_more_water_than_its_plugs_take_earth(plugs, earth, heavy):
    patch = Patch(0, 0, np.ones((2, 2), dtype=bool))
    every = tuple(Plug(f"p{k}", "s1", 1, 1, np.zeros(2), np.ones(2), {"fill_m3": earth / plugs}) for k in range(plugs))
    site = Site("s1", patch, patch, (), every, (), {"volume_m3": 100.0, "pool_m2": 4000.0})
    assert too_much_earth(site, RestoreSettings()) is heavy


@pytest.mark.parametrize(
    ("upstream_m", "beyond", "plugs", "told"),
    [
        (0.0, 0.0, 1, "starts here"),
        (30.0, 0.0, 2, "starts here"),
        (31.0, 0.0, 1, "passes through"),
        # out of sight of the raster
        (12.0, 1.0, 1, "passes through"),
        # a meeting of ditches
        (0.0, 0.0, 3, "passes through"),
    ],
)
def test_a_ditch_starts_in_a_pool_only_where_nothing_speaks_against_it(upstream_m, beyond, plugs, told):
    patch = Patch(0, 0, np.ones((2, 2), dtype=bool))
    signs = {"from_beyond": beyond}
    c = Candidate(0, patch, patch, 10.0, 9.0, 9.0, (0, 0), (1, 1), (), False, upstream_m, (), True, None, signs)
    assert drain_position(c, plugs, 30.0) == told
