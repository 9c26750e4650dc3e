"""A ditch that begins behind a mound at a hollow was plugged; behind a trench it is a pipe's mouth. Own arithmetic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_buried_rules import S, ditch, hollow, surfaces

from wetscout.buried.banks import banks_of, without_banks
from wetscout.buried.open_ways import OpenWays
from wetscout.buried.straight import rectangle_share, straight_shore
from wetscout.records import FILL, Linework

# the hollow reaches to column 60, the ditch along row 60 is open from column 75
HEAD = 75


def ways(mound: float, half_wide: float, bed: float = 99.1, berm: float = 0.0) -> OpenWays:
    ground = np.full((120, 240), 100.0)
    rows = np.abs(np.arange(120) - 60.0)[:, None]
    # along the rim, 3 m of crown and sides of 3 : 1
    ground += np.clip(berm - np.clip(np.abs(np.arange(240) - 66.0) - 1.5, 0.0, None) / 3.0, 0.0, None)
    ground[:, 56:HEAD] += mound * np.clip(1.0 - np.clip(rows - half_wide, 0.0, None) / 1.5, 0.0, None)
    shown = np.zeros((120, 240), np.float32)
    shown[58:63, HEAD:200] = 0.8
    line = ditch(np.full(120, 60), np.arange(HEAD - 5, HEAD + 115), np.full(120, bed))
    low = ground.astype(np.float32)
    bank = banks_of(low, without_banks(low, 1.0, S), S)
    return OpenWays(Linework((line,)), surfaces(ground, ground), (shown, bank), 1.0, S)


def test_a_mound_as_wide_as_the_ditch_is_a_plug():
    assert ways(0.2, 4.0).plugged(hollow())
    # 0.05 m are less than what is told from the ground's own unevenness
    assert not ways(0.05, 4.0).plugged(hollow())


@pytest.mark.parametrize("turn", [0.0, 20.0, 45.0])
def test_a_rim_that_the_way_crosses_aslant_is_no_plug(turn: float) -> None:
    """A crest of 0.3 m that falls by 4 % to both sides: too gentle for a bank, as high as a plug."""
    told = ways(0.0, 4.0)
    y, x = np.mgrid[0:120, 0:240].astype(np.float64)
    away = (x - 66.0) * np.cos(np.radians(turn)) - (y - 60.0) * np.sin(np.radians(turn))
    told.surfaces.smooth[:] = 100.0 + np.clip(0.3 - 0.04 * np.abs(away), 0.0, None)
    assert not told.plugged(hollow())


def test_a_berm_along_the_rim_hides_no_plug():
    """It stands as high beside the ditch as in its line; a natural rim that falls by 5 % to both sides is none."""
    assert ways(0.0, 0.5, berm=0.35).plugged(hollow())
    assert not ways(0.0, 0.5, berm=0.1).plugged(hollow())


@pytest.mark.parametrize("left", [0.15, 0.0, -0.15])
def test_a_backfilled_trench_is_none(left):
    """Issue: backfill leaves a ridge or a trough of up to 0.15 m."""
    assert not ways(left, 0.5).plugged(hollow())


def test_a_ditch_higher_than_the_floor_drains_nothing_there():
    assert not ways(0.2, 4.0, bed=99.8).plugged(hollow())


@pytest.mark.parametrize(
    ("cell_m", "rise", "kind", "says"),
    [
        (3.0, 0.3, "ditch", True),
        (3.0, 0.3, "roadside", True),
        (3.0, 0.4, "ditch", False),
        (2.0, 0.1, "ditch", True),
        (2.0, 0.3, "ditch", False),
        (3.0, 0.3, "unclear", False),
        (1.0, 0.0, "ditch", False),
    ],
)
def test_the_bed_beyond_a_plug_may_be_read_too_high_in_wide_cells(cell_m, rise, kind, says):
    """A faint line of 17 cells in the pool, a listed one beyond 4 cells of earth; 0.33 m at 3 m, 0.14 m at 2 m."""
    ground = np.full((120, 240), 100.0)
    shown = np.zeros((120, 240), np.float32)
    shown[58:63, 42:59] = shown[58:63, 65:200] = 0.4
    inner = ditch(np.full(17, 60), np.arange(42, 59), np.full(17, 99.6), 0.16, kind)
    outer = ditch(np.full(115, 60), np.arange(65, 180), np.full(115, 99.6 + rise))
    lines = Linework((replace(inner, sure=False), replace(outer, ditch_id=2)))
    low = ground.astype(np.float32)
    told = OpenWays(lines, surfaces(ground, ground), (shown, np.zeros(low.shape, dtype=bool)), cell_m, S)
    assert told.plugged(hollow(floor=99.0)) is says


def test_low_banks_between_fields_are_taken_off_in_fine_cells():
    """Banks of 0.25 m and 3 m at their foot, as checks of levelled fields; rims that fall by 5 % stay."""
    x = np.arange(-40.0, 40.0)
    bank = 100.0 + 0.25 * np.clip(1.0 - np.abs(x) / 1.5, 0.0, None)
    ground = np.repeat(bank[None, :], 40, axis=0).astype(np.float32)
    assert without_banks(ground, 1.0, S).max() < 100.0 + S.check_m
    assert np.array_equal(without_banks(ground, 3.0, S), ground)


def test_short_knolls_on_a_sharp_rim_are_no_banks():
    """The same dam, 1 m high with sides of 2.5 : 1, as a knoll of 12 m and as a dam of 60 m."""
    y, x = np.mgrid[0:120, 0:120].astype(np.float64)
    for long_m, stays in ((12.0, True), (60.0, False)):
        off = np.hypot(np.clip(np.abs(y - 60.0) - long_m / 2, 0.0, None), np.clip(np.abs(x - 60.0) - 2.0, 0.0, None))
        ground = (100.0 + np.clip(1.0 - off / 2.5, 0.0, None)).astype(np.float32)
        left = without_banks(ground, 1.0, S)
        assert bool(left.max() == ground.max()) is stays
        assert (left.max() < 100.0 + S.bank_m) is not stays


def test_a_ditch_that_begins_beside_a_hollow_is_what_is_left_of_its_drain():
    assert ways(0.0, 4.0).begins(hollow())
    # higher than the floor it drains nothing there, and one that points elsewhere begins nowhere near
    assert not ways(0.0, 4.0, bed=99.8).begins(hollow())
    assert not ways(0.0, 4.0).begins(hollow(at=(20, 40), radius=15))


@pytest.mark.parametrize(("first", "says"), [(40, False), (HEAD + 20, True)])
def test_a_ditch_along_a_road_begins_where_the_road_needs_it(first: int, says: bool) -> None:
    """The road goes on past its beginning; own spoil taken for a road begins where the ditch begins."""
    told = ways(0.0, 4.0)
    told.surfaces.corridor[64:70, first:] = FILL
    assert told.begins(hollow())
    (line,) = told.lines.ditches
    roadside = OpenWays(Linework((replace(line, kind="roadside"),)), told.surfaces, (told.shown, told.bank), 1.0, S)
    assert roadside.begins(hollow()) is says


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
@pytest.mark.parametrize("turn", [0.0, 17.3, 45.0, 88.5])
def test_fields_lie_on_a_rectangle_and_circles_do_not(cell_m: float, turn: float) -> None:
    """Closed form: the chord of a circle within 3 m of the line that touches it, four times."""
    n = int(300 / cell_m)
    y, x = (np.mgrid[:n, :n] - n / 2) * cell_m
    t = np.radians(turn)
    u, v = x * np.cos(t) + y * np.sin(t), y * np.cos(t) - x * np.sin(t)
    assert rectangle_share((np.abs(u) < 70) & (np.abs(v) < 45), cell_m) > 0.95
    # with a check across half of it, and with a corner cut off, it is still one
    assert rectangle_share((np.abs(u) < 70) & (np.abs(v) < 45) & ((np.abs(u) > 2) | (v > 0)), cell_m) > 0.95
    assert rectangle_share((np.abs(u) < 70) & (np.abs(v) < 45) & (u + v < 95), cell_m) > 0.85
    for radius in (28.3, 50.0, 100.0):
        chord = 2.0 * np.sqrt(2 * radius * 3.0 - 9.0)
        share = rectangle_share(np.hypot(u, v) < radius, cell_m)
        assert 0.75 * 4 * chord / (2 * np.pi * radius) < share < 1.3 * 4 * chord / (2 * np.pi * radius)
    # a bowl twice as long as wide
    assert rectangle_share(np.hypot(u / 2, v) < 30, cell_m) < 0.7


@pytest.mark.parametrize("cell_m", [1.0, 3.0])
def test_straight_shores(cell_m):
    """A strip of 210 m by 12 m and a bowl of the same area: lengths are plain geometry."""
    n = round(240 / cell_m)
    y, x = (np.mgrid[0:n, 0:n] + 0.5) * cell_m - 120.0
    turn = 0.4
    u, v = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
    strip, bowl = (np.abs(u) < 105) & (np.abs(v) < 6), np.hypot(x, y) < 28.3
    assert 0.9 * 210 <= straight_shore(strip, cell_m) <= 1.1 * 210 + 2 * 6
    # a chord below the top of a circle by 3 m and a cell: 2 sqrt(2 r d - d^2) m
    down = 3.0 + cell_m
    assert straight_shore(bowl, cell_m) <= 1.3 * 2.0 * np.sqrt(2 * 28.3 * down - down**2)
    island = bowl & (np.hypot(x, y) > 9)
    assert straight_shore(island, cell_m) == straight_shore(bowl, cell_m)
