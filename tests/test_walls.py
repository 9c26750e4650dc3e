"""Sides of pools halfway down, against plain loops and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from naive_terrain import band_slopes as naive_slopes

from wetscout.kernels.walls import band_slopes, sides


@given(seed=st.integers(0, 10_000))
@settings(deadline=None)
def test_slopes_are_those_of_plain_loops(seed):
    rng = np.random.default_rng(seed)
    z = rng.uniform(0, 3, (9, 11)).astype(np.float32)
    z[rng.random(z.shape) < 0.1] = np.nan
    free = rng.random(z.shape) < 0.8
    assert band_slopes(z, free, 0.5, 2.2, 2.0) == pytest.approx(naive_slopes(z, free, 0.5, 2.2, 2.0), abs=1e-12)


def round_hollow(power, radius=30.0, deep=1.0):
    y, x = np.mgrid[0:90, 0:90] - 45.0
    r = np.hypot(x, y)
    return (deep * (r / radius) ** power).astype(np.float32), r < radius


@pytest.mark.parametrize(
    ("power", "share", "slope"),
    [
        (1, 0.75**2 - 0.25**2, 1.0),  # cone: r = h
        (2, 0.5, 2 * np.sqrt(0.5)),  # paraboloid: r = sqrt(h), half of the cells lie above h = 1/2
    ],
)
def test_bowls_have_half_of_their_cells_halfway_down(power, share, slope):
    """Closed forms of h = (r / R)^n, in units of depth over radius; the floor is where a twentieth lies lower."""
    z, pool = round_hollow(power)
    floor = 0.05 ** (power / 2)
    got_slope, got_share, depth = sides(z, pool, 1.0, 1.0)
    assert depth == pytest.approx(1.0 - floor, abs=0.01)
    assert got_share == pytest.approx(share, abs=0.06)
    assert got_slope * 30.0 == pytest.approx(slope, abs=0.08)


def test_a_pit_has_few_and_steep_ones():
    """Frustum with sides of 1 : 3 and a flat floor, 30 m across at the top, 1 m deep: rings of r = 12.75 and 14.25."""
    y, x = np.mgrid[0:90, 0:90] - 45.0
    r = np.hypot(x, y)
    z = np.maximum(0.0, (r - 12.0) / 3.0).astype(np.float32)
    slope, share, depth = sides(z, r < 15.0, 1.0, 1.0)
    assert depth == pytest.approx(1.0)
    assert slope == pytest.approx(1 / 3, abs=0.01)
    assert share == pytest.approx((14.25**2 - 12.75**2) / 15.0**2, abs=0.05)
    assert sides(z, r < 5.0, 1.0, 1.0) == (0.0, 0.0, 1.0)
    assert sides(z, r < 0.0, 1.0, 1.0) == (0.0, 0.0, 0.0)
    # a few low cells, left of a ditch, change nothing
    z[44:47, 40:50] -= 0.6
    assert sides(z, r < 15.0, 1.0, 1.0)[1] == pytest.approx(share, abs=0.03)
