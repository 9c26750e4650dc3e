"""Low straight banks on ground of plain arithmetic: field lanes are roads, swells and spoil are none."""

from __future__ import annotations

import linework_scenes as scene
import numpy as np
import pytest

from wetscout.linework import find_lines
from wetscout.settings.linework import LineworkSettings


def banks(z, cell_m):
    return find_lines(scene.terrain_of(z, cell_m), LineworkSettings()).embankments


def lane(height_m, cell_m, angle=20.0, size_m=500.0):
    """A lane of 3.2 m with sides of 2.5 to 1 over gently rolling ground, the DEM's noise on it."""
    y, x = scene.frame(size_m, cell_m)
    across = scene.along_across(y, x, angle)[1]
    z = 20.0 + scene.rolling(y, x, 0.15, 220.0)
    z = z + np.maximum(0.0, height_m - np.maximum(0.0, np.abs(across) - 1.6) / 2.5)
    return z + scene.noise(z.shape, 0.03, 7)


def on_line(bank, cell_m, angle=20.0, size_m=500.0):
    mid = 0.5 * (round(size_m / cell_m) - 1)
    return np.abs(scene.along_across((bank.row - mid) * cell_m, (bank.col - mid) * cell_m, angle)[1]) < 4.0


@pytest.mark.parametrize("cell_m", [1.0, 2.0, 3.0])
def test_a_low_lane_is_a_road_of_its_height(cell_m):
    """Before, what stood under 0.25 m was no road, and basins were taken to spill over it."""
    roads = [b for b in banks(lane(0.35, cell_m), cell_m) if b.kind == "road"]
    length = sum(float(np.hypot(np.diff(b.row), np.diff(b.col)).sum()) * cell_m for b in roads)
    assert length > 380.0
    assert all(on_line(b, cell_m).all() for b in roads)
    assert all(0.15 < b.height_m < 0.4 for b in roads)


def test_a_swell_of_that_height_is_no_road():
    """0.35 m and 15 m wide at half its height: a beach ridge still falls where a lane's side has ended."""
    y, x = scene.frame(500.0, 1.0)
    across = scene.along_across(y, x, 20.0)[1]
    z = 20.0 + scene.rolling(y, x, 0.1, 220.0) + 0.6 * np.exp(-((across / 14.0) ** 2)) + scene.noise(y.shape, 0.02, 7)
    assert not [b for b in banks(z, 1.0) if b.kind == "road"]


def test_spoil_beside_a_ditch_is_no_lane():
    y, x = scene.frame(500.0, 1.0)
    across = scene.along_across(y, x, 20.0)[1]
    z = 20.0 + scene.rolling(y, x, 0.1, 220.0) + scene.noise(y.shape, 0.02, 7)
    z = np.minimum(z, scene.trapezoid(across, 19.0, 0.6, 1.5))
    z = z + np.maximum(0.0, 0.3 - np.abs(across - 6.0) / 5.0)
    assert not [b for b in banks(z, 1.0) if b.kind == "road"]


@pytest.mark.parametrize(("dug_m", "kind"), [(460.0, "spoil"), (290.0, "road")])
def test_a_straight_bank_that_goes_on_where_nothing_was_dug_is_no_spoil(dug_m, kind):
    """0.55 m high on 7 m, a ditch at its foot over its whole length, or over the first 290 m of 480."""
    y, x = scene.frame(500.0, 1.0)
    along, across = scene.along_across(y, x, 20.0)
    z = 20.0 + scene.rolling(y, x, 0.1, 220.0) + scene.noise(y.shape, 0.02, 7)
    ditch = scene.trapezoid(across, 19.0, 0.6, 1.5)
    z = np.where(along < dug_m - 240.0, np.minimum(z, ditch), z)
    z = z + np.where(
        np.abs(along) < 240.0, np.maximum(0.0, 0.55 - np.maximum(0.0, np.abs(across - 8.0) - 1.2) / 4.0), 0.0
    )
    kinds = {b.kind for b in banks(z, 1.0) if on_line(b, 1.0).any() or b.row.size > 200}
    assert kinds == {kind}
