"""Banks that hold a pool straight: arithmetic on ground made by hand, no published values."""

import numpy as np
import pytest

from wetscout.settings.sites import SiteSettings
from wetscout.sites.walls import straight_wall

NO_STRIP = np.zeros((200, 200), dtype=np.uint8)
ROWS, COLS = np.mgrid[:200, :200].astype(np.float32)
SPILL_M = 10.0


def _trough(bank):
    """A trough 100 m wide that falls by 1 in 100 to the right, under water up to a bank; the ground goes on falling."""
    ground = np.maximum(10.4 - 0.01 * COLS, 9.0 + np.abs(ROWS - 100.0) / 50.0)
    ground = np.maximum(ground, bank)
    return ground.astype(np.float32), (ground < SPILL_M) & (COLS < 120)


def _bank(wide, off):
    return np.where(np.abs(off) <= wide / 2.0, SPILL_M + 0.1, 0.0)


def _shore(ground, pool, strip=NO_STRIP, cell_m=1.0, spill_m=SPILL_M):
    return straight_wall(ground, strip, pool, spill_m, cell_m, SiteSettings())


def test_a_lane_across_a_trough_holds_all_of_its_shore():
    """The trough is under water for 50 m to each side of its middle: 99 m of shore at the lane."""
    ground, pool = _trough(_bank(5.0, COLS - 122.0))
    assert _shore(ground, pool) == pytest.approx(pool[:, 119].sum(), abs=4.0)
    assert pool[:, 119].sum() > 60


@pytest.mark.parametrize("wide", [12.0, 20.0])
def test_a_broad_rim_is_no_bank(wide):
    ground, pool = _trough(_bank(wide, COLS - 120.0 - wide / 2.0))
    assert _shore(ground, pool) == 0.0


def test_a_rim_that_bends_round_its_basin_is_no_bank():
    """A ring 5 m wide at 40 m: within 2 m of a line lie 2 sqrt(2 x 40 x 2) = 25 m of it (geometry)."""
    away = np.hypot(ROWS - 100.0, COLS - 100.0)
    ground = np.where(np.abs(away - 40.0) <= 2.5, 10.1, np.where(away < 40.0, 9.5, 9.0)).astype(np.float32)
    assert _shore(ground, away < 37.5) < 32.0


def test_listed_fill_and_levees_are_looked_at_elsewhere():
    ground, pool = _trough(_bank(5.0, COLS - 122.0))
    listed = np.where(np.abs(COLS - 122.0) <= 4.0, 1, 0).astype(np.uint8)
    assert _shore(ground, pool, listed) == 0.0
    # behind the bank a channel of 12 m, then ground above the pool
    levee = np.where(COLS > 137.0, np.float32(10.3), ground)
    assert _shore(levee, pool) == 0.0


def test_ground_that_is_not_known_is_no_bank():
    ground, pool = _trough(_bank(5.0, COLS - 122.0))
    ground[:, 120:125] = np.nan
    assert _shore(ground, pool) == 0.0
