"""Old channels of rivers against ditches: slopes by hand from the sections that are drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from linework_scenes import noise
from test_surfaces import straight_ditch

from wetscout.ingest import from_array
from wetscout.records import Patch, Plug, Site
from wetscout.restore import natural_channel
from wetscout.restore.channel import steepest_sides
from wetscout.settings.restore import RestoreSettings

LINE = straight_ditch(np.full(160, 60.0), np.arange(20.0, 180.0))
AT = (60.0, 100.0)


def trench(left, right, depth_m=1.2, sigma=0.0, cell_m=1.0):
    """A cut along row 60 whose sides rise by two slopes to level ground."""
    away = (np.arange(121.0) - 60.0)[:, None] * cell_m
    z = np.minimum(np.where(away < 0, -left * away, right * away), depth_m) + np.zeros((1, 200))
    return (z + noise(z.shape, sigma, 5)).astype(np.float32)


@pytest.mark.parametrize(("left", "right"), [(0.1, 0.1), (0.3, 0.1), (0.1, 0.5), (0.4, 0.5)])
@pytest.mark.parametrize("sigma", [0.0, 0.04])
def test_the_gentler_side_is_as_steep_as_it_was_drawn(left, right, sigma):
    # a mean of ten sections over 2 m: noise of 4 cm makes 0.04 * sqrt(2 / 10) / 2 = 0.009 of slope, the greatest of
    # eight differences some 1.5 times as much
    assert steepest_sides(trench(left, right, sigma=sigma), LINE, AT, 1.0) == pytest.approx(
        min(left, right), abs=1e-5 if sigma == 0 else 0.03
    )


def test_of_a_place_without_stations_or_ground_nothing_is_said():
    z = trench(0.1, 0.1)
    assert np.isnan(steepest_sides(z, LINE, (10.0, 100.0), 1.0))
    z[55:66] = np.nan
    assert np.isnan(steepest_sides(z, LINE, AT, 1.0))


def told(z, across_m=25.0, dug_share=0.4, cell_m=1.0, plugs=1, ditch_id=1):
    patch = Patch(0, 0, np.ones((2, 2), dtype=bool))
    row, col = np.array([48.0, 72.0]), np.array([100.0, 100.0])
    plug = Plug("a-1", "a", ditch_id, 1, row, col, {"across_m": across_m})
    far = replace(plug, row=row - 50.0)
    values = {"_signs": {"dug_share": dug_share}}
    site = Site("a", patch, None, (), (plug, far)[:plugs], (), values)
    return natural_channel(site, {1: LINE}, from_array(z, cell_m), RestoreSettings())


def test_a_wide_gentle_trough_that_is_most_of_its_pool_is_an_old_channel():
    gentle = trench(0.1, 0.1, sigma=0.02)
    assert told(gentle) and told(gentle, plugs=2)
    assert not told(trench(0.3, 0.3, sigma=0.02))


@pytest.mark.parametrize(
    "changes",
    [{"across_m": 15.0}, {"dug_share": 0.2}, {"cell_m": 2.0}, {"ditch_id": 7}, {"ditch_id": None}, {"plugs": 0}],
)
def test_a_narrow_or_small_cut_or_one_that_no_line_tells_of_is_not(changes):
    assert not told(trench(0.1, 0.1, sigma=0.02), **changes)
