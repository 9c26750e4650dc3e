"""A ditch that begins behind a mound at a hollow was plugged; behind a trench it is a pipe's mouth. Own arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from test_buried_rules import S, ditch, hollow, surfaces

from wetscout.buried.banks import without_banks
from wetscout.buried.open_ways import OpenWays
from wetscout.records import Linework

# the hollow reaches to column 60, the ditch along row 60 is open from column 75
HEAD = 75


def ways(mound: float, half_wide: float, bed: float = 99.1) -> OpenWays:
    ground = np.full((120, 240), 100.0)
    rows = np.abs(np.arange(120) - 60.0)[:, None]
    ground[:, 56:HEAD] += mound * np.clip(1.0 - np.clip(rows - half_wide, 0.0, None) / 1.5, 0.0, None)
    shown = np.zeros((120, 240), np.float32)
    shown[58:63, HEAD:200] = 0.8
    line = ditch(np.full(120, 60), np.arange(HEAD - 5, HEAD + 115), np.full(120, bed))
    return OpenWays(Linework((line,)), surfaces(ground, ground), shown, 1.0, S)


def test_a_mound_as_wide_as_the_ditch_is_a_plug():
    assert ways(0.2, 4.0).plugged(hollow())
    # 0.05 m are less than what is told from the ground's own unevenness
    assert not ways(0.05, 4.0).plugged(hollow())


@pytest.mark.parametrize("left", [0.15, 0.0, -0.15])
def test_a_backfilled_trench_is_none(left):
    """Issue: backfill leaves a ridge or a trough of up to 0.15 m."""
    assert not ways(left, 0.5).plugged(hollow())


def test_a_ditch_higher_than_the_floor_drains_nothing_there():
    assert not ways(0.2, 4.0, bed=99.8).plugged(hollow())


def test_low_banks_between_fields_are_taken_off_in_fine_cells():
    """Banks of 0.25 m and 3 m at their foot, as checks of levelled fields; rims that fall by 5 % stay."""
    x = np.arange(-40.0, 40.0)
    bank = 100.0 + 0.25 * np.clip(1.0 - np.abs(x) / 1.5, 0.0, None)
    ground = np.repeat(bank[None, :], 40, axis=0).astype(np.float32)
    assert without_banks(ground, 1.0, S).max() < 100.0 + S.check_m
    assert np.array_equal(without_banks(ground, 3.0, S), ground)
