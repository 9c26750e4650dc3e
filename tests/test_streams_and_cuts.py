"""A hollow at the head of a winding natural valley is no drained basin; with a dug cut through its rim it is one.

Ground made by hand; the level at which the hollow stands is that of its rim, plain geometry.
"""

from __future__ import annotations

import numpy as np
import pytest

from wetscout.pipeline import screen_array

SIZE, CENTRE, RADIUS = 420, (210.0, 110.0), 45.0
FLOOR_M = 1.0
# the rim in the line of the valley, and the valley's course behind it
RIM_COL, SWING_M, WAVE_M = 170.0, 22.0, 130.0


def winding(col):
    """Row of the valley's middle."""
    return CENTRE[0] + SWING_M * np.sin(2 * np.pi * (col - RIM_COL) / WAVE_M) * np.clip(
        (col - RIM_COL) / 40.0, 0.0, 1.0
    )


def ground(seed, *, breached, cut=None):
    """A bowl 1 m deep on a plain that falls east, and a winding valley that heads at its rim or in its floor.

    `cut`: `straight` or `winding`, a ditch 2 m wide from the floor down into the valley; `stream`, a brook of even
    depth in the bottom of the valley.
    """
    row, col = np.mgrid[0:SIZE, 0:SIZE].astype(np.float64)
    plain = 20.0 - 0.002 * col
    rim = 20.0 - 0.002 * RIM_COL
    away = np.hypot(row - CENTRE[0], col - CENTRE[1])
    z = np.where(away < 60.0, np.maximum(plain, rim), plain)
    z = z - FLOOR_M * np.clip(1.0 - (away / RADIUS) ** 2, 0.0, None)
    # the valley: 30 m wide, falls 0.8 % from its head
    head = CENTRE[1] if breached else RIM_COL + 12.0
    bottom = (rim - FLOOR_M - 0.1 if breached else rim - 0.1) - 0.008 * (col - head)
    off = np.abs(row - winding(col))
    side = bottom + 1.2 * np.clip(off / 15.0, 0.0, None) ** 2
    z = np.where(col >= head, np.minimum(z, side), z)
    if cut:
        course = np.full_like(col, CENTRE[0]) if cut == "straight" else winding(col)
        bed = bottom - 0.5 if cut == "stream" else rim - FLOOR_M - 0.3 - 0.001 * (col - CENTRE[1])
        gap = np.abs(row - course) / np.hypot(1.0, np.gradient(course, axis=1))
        ditch = bed + np.clip(gap - 1.0, 0.0, None) / 1.5
        z = np.where(col >= CENTRE[1], np.minimum(z, ditch), z)
    rng = np.random.default_rng(seed)
    return (z + rng.normal(0.0, 0.02, z.shape)).astype(np.float32), rim


def offered(z):
    """Sites whose pool holds the middle of the bowl."""
    at = tuple(int(v) for v in CENTRE)

    def holds(pool):
        r, c = at[0] - pool.row0, at[1] - 10 - pool.col0
        return 0 <= r < pool.mask.shape[0] and 0 <= c < pool.mask.shape[1] and bool(pool.mask[r, c])

    return [site for site in screen_array(z, 1.0).sites if holds(site.pool)]


@pytest.mark.parametrize("cut", [None, "stream"])
def test_the_head_of_a_winding_valley_is_not_offered(cut):
    z, _ = ground(1, breached=True, cut=cut)
    assert offered(z) == []


@pytest.mark.parametrize("cut", ["straight", "winding"])
def test_with_a_dug_cut_through_its_rim_it_is_offered(cut):
    z, rim = ground(3, breached=False, cut=cut)
    (site,) = offered(z)
    assert site.values["spill_m"] == pytest.approx(rim, abs=0.15) and site.plugs


def test_without_the_cut_it_stands_and_is_not_offered():
    z, _ = ground(3, breached=False)
    assert offered(z) == []
