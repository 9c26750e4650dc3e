"""Rules of covered drains, one by one: heads, ways out, levels of mouths, dips of the rim, words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wetscout.buried.banks import without_banks
from wetscout.buried.faint import trace
from wetscout.buried.find import Signs, _confidence
from wetscout.buried.heads import abrupt_heads, cut_depth
from wetscout.buried.hollows import Hollow, speaks_against, speaks_for
from wetscout.buried.open_ways import OpenWays
from wetscout.buried.rim import dip_beside
from wetscout.buried.routes import Router
from wetscout.records import FILL, Crossing, Ditch, Linework, Patch, Surfaces
from wetscout.records_covered import Zone
from wetscout.settings.buried import BuriedSettings

S = BuriedSettings()
FLAT = np.zeros((120, 240), np.float32)
NO_BANK = np.zeros((120, 240), bool)


def surfaces(natural: np.ndarray, smooth: np.ndarray | None = None) -> Surfaces:
    natural = natural.astype(np.float32)
    smooth = natural if smooth is None else smooth.astype(np.float32)
    return Surfaces(smooth, smooth, natural, natural, np.zeros(natural.shape, np.uint8))


def ditch(row: np.ndarray, col: np.ndarray, bed: np.ndarray, depth: float = 1.0, kind: str = "ditch") -> Ditch:
    row, col, bed = (np.asarray(v, dtype=np.float64) for v in (row, col, bed))
    return Ditch(1, row, col, bed, bed + depth, bed + depth, np.full(row.size, 3.0), kind, depth, 0.3, 0.99, "none")


def hollow(floor: float = 99.5, spill: float = 100.0, at: tuple[int, int] = (60, 40), radius: int = 20) -> Hollow:
    side = np.arange(-radius, radius + 1)
    pool = Patch(at[0] - radius, at[1] - radius, side[:, None] ** 2 + side[None, :] ** 2 <= radius**2)
    return Hollow(1, pool, spill, floor, at, (at[0], at[1] + radius), float(pool.mask.sum()), False, Zone())


def cut_ground(full_from: int, ramp: int) -> tuple[np.ndarray, np.ndarray]:
    """Level ground at 100 with a ditch along row 60 to the east: nothing before, full depth of 1 m after a ramp."""
    natural = np.full((120, 240), 100.0)
    smooth = natural.copy()
    depth = np.clip((np.arange(240) - full_from) / max(ramp, 1) + 1.0, 0.0, 1.0)
    for off, share in ((0, 1.0), (1, 0.6), (2, 0.1)):
        smooth[60 - off] = np.minimum(smooth[60 - off], 100.0 - share * depth)
        smooth[60 + off] = np.minimum(smooth[60 + off], 100.0 - share * depth)
    return natural, smooth


def heads_of(lines, both):
    """Abrupt heads at 1 m cells."""
    return abrupt_heads(lines, both, cut_depth(both, 1.0), 1.0, S)


def test_a_head_is_abrupt_when_full_depth_begins_within_metres():
    natural, smooth = cut_ground(100, 3)
    col = np.arange(98, 230)
    line = ditch(np.full(col.size, 60), col, np.full(col.size, 99.0))
    heads = heads_of([line], surfaces(natural, smooth))
    assert len(heads) == 1
    assert heads[0].col == pytest.approx(100, abs=5)
    # it points up its own line, west
    assert heads[0].up_col < -0.95
    assert heads[0].depth_m == pytest.approx(1.0, abs=0.05)


def test_a_head_that_fades_and_one_at_a_road_are_none():
    natural, smooth = cut_ground(100, 90)
    col = np.arange(12, 230)
    faded = ditch(np.full(col.size, 60), col, np.full(col.size, 99.0))
    assert heads_of([faded], surfaces(natural, smooth)) == ()
    natural, smooth = cut_ground(100, 3)
    col = np.arange(98, 230)
    line = ditch(np.full(col.size, 60), col, np.full(col.size, 99.0), kind="natural stream")
    assert heads_of([line], surfaces(natural, smooth)) == ()
    # a road goes on past the head; spoil begins where its ditch begins, and lies beside it all the same
    line = replace(line, kind="roadside")
    for first, n in ((40, 0), (101, 0), (120, 1)):
        both = surfaces(natural, smooth)
        both.corridor[64:70, first:] = FILL
        assert len(heads_of([line], both)) == n


@pytest.mark.parametrize(("gap", "n"), [(24, 0), (34, 0), (70, 1)])
def test_a_ditch_that_goes_on_behind_a_crossing_has_no_head_there(gap, n):
    """It is as deep again 24 and 34 m farther on, for 14 m; 70 m on it may be another ditch."""
    natural, smooth = cut_ground(100, 3)
    first = 100 - gap
    natural[:, first - 14 : first], smooth[:, first - 14 : first] = natural[:, 130:144], smooth[:, 130:144]
    col = np.arange(first - 14, 230)
    line = ditch(np.full(col.size, 60), col, np.full(col.size, 99.0))
    heads = heads_of([line], surfaces(natural, smooth))
    assert len([h for h in heads if abs(h.col - 100) < 6]) == n


def test_a_blind_end_towards_which_the_bed_falls_is_an_inlet():
    natural, smooth = cut_ground(100, 3)
    smooth[58:63] -= np.where(smooth[58:63] < 99.99, 0.02 * np.clip(200 - np.arange(240), 0, 100), 0.0)
    col = np.arange(98, 230)
    line = ditch(np.full(col.size, 60), col, smooth[60, col])
    assert heads_of([line], surfaces(natural, smooth)) == ()


def test_the_way_ends_where_a_pipe_can_come_out_and_its_level_is_cover_and_fall_below_the_floor():
    """Floor 99.5, cover 0.6: the pipe starts at 98.9 at the highest and falls 0.07 %."""
    ground = np.full((120, 240), 100.3, np.float32)
    ground[40:81, 20:61] = 99.5
    rows = np.arange(5, 115)
    high = ditch(rows, np.full(rows.size, 100), np.full(rows.size, 99.3))
    low = replace(ditch(rows, np.full(rows.size, 160), np.full(rows.size, 98.2), 2.0), ditch_id=2)
    way = Router(ground, (high, low), 1.0, S).way(hollow())
    assert way is not None
    mouth = way.mouth
    assert mouth.col == pytest.approx(160, abs=3)
    assert mouth.feasible
    assert mouth.distance_m == pytest.approx(120, abs=6)
    assert mouth.level_m == pytest.approx(min(98.2 + S.over_bed_m, 98.9 - S.grade * mouth.distance_m), abs=0.01)
    assert mouth.depth_to_dig_m == pytest.approx(100.2 - mouth.level_m, abs=0.01)
    # ground at 100.3 all the way: deepest at the far end
    assert mouth.deepest_cut_m == pytest.approx(100.3 - 98.9 + S.grade * 120, abs=0.02)
    assert Router(ground, (high,), 1.0, S).way(hollow()) is None


def test_a_ditch_that_leaves_the_pool_or_a_culvert_under_a_road_drains_it_openly():
    plain = surfaces(np.full((120, 240), 100.0))
    out = np.arange(40, 140)
    through = ditch(np.full(out.size, 60), out, np.full(out.size, 99.3))
    assert OpenWays(Linework((through,)), plain, (FLAT, NO_BANK), 1.0, S).drain(hollow())
    shallow = ditch(np.full(out.size, 60), out, np.full(out.size, 99.9))
    assert not OpenWays(Linework((shallow,)), plain, (FLAT, NO_BANK), 1.0, S).drain(hollow())
    inside = ditch(np.full(15, 60), np.arange(35, 50), np.full(15, 99.3))
    assert not OpenWays(Linework((inside,)), plain, (FLAT, NO_BANK), 1.0, S).drain(hollow())
    # what joins two ends without a road between may be the covered pipe itself
    culvert = Crossing(np.array([60.0, 60.0]), np.array([58.0, 80.0]), np.array([99.4, 99.2]), False)
    assert not OpenWays(Linework(crossings=(culvert,)), plain, (FLAT, NO_BANK), 1.0, S).drain(hollow())
    road = plain.corridor.copy()
    road[:, 66:72] = FILL
    assert OpenWays(Linework(crossings=(culvert,)), replace(plain, corridor=road), (FLAT, NO_BANK), 1.0, S).drain(
        hollow()
    )


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
@pytest.mark.parametrize(("height", "form"), [(0.07, "ridge"), (-0.07, "trough")])
def test_a_faint_line_stands_out_from_the_ground_beside_it(cell_m: float, height: float, form: str):
    n = round(300 / cell_m)
    y, x = (np.mgrid[0:n, 0:n] + 0.5) * cell_m
    rng = np.random.default_rng(4)
    bare = 0.002 * x + rng.normal(0.0, 0.03 / cell_m, (n, n))
    # bends by 6 m half way, so the straight corridor does not hold it on its middle
    off = y - (150.0 + 6.0 * np.sin(np.pi * np.clip((x - 60.0) / 160.0, 0.0, 1.0)))
    line = bare + np.where((x > 60) & (x < 220), height * np.clip(1.0 - (off / 1.8) ** 2, 0.0, 1.0), 0.0)
    way = np.array([150.0, 150.0]) / cell_m, np.array([60.0, 220.0]) / cell_m
    seen = trace(line.astype(np.float32), way, cell_m, S)
    none = trace(bare.astype(np.float32), way, cell_m, S)
    assert seen is not None
    assert none is not None
    assert (seen.height_m > 0) == (form == "ridge")
    assert abs(seen.height_m) == pytest.approx(abs(height), abs=0.045)
    assert seen.beyond > 8.0
    assert seen.beyond > 2.0 * none.beyond
    middle = np.argmin(np.abs(seen.col * cell_m - 140.0))
    assert seen.row[middle] * cell_m == pytest.approx(156.0, abs=2.0)


def test_a_rim_graded_down_shows_by_the_rim_beside_it():
    """A straight rim 0.5 m high across columns 80-100, lowered by 0.25 m over some 20 m around row 60."""
    y, x = np.mgrid[0:120, 0:240].astype(float)
    rim = 0.5 * np.clip(1.0 - np.abs(x - 90.0) / 12.0, 0.0, 1.0)
    graded = rim * (1.0 - 0.5 * np.exp(-(((y - 60.0) / 7.0) ** 2)))
    line = np.array([60.0, 60.0]), np.array([70.0, 140.0])
    basin = hollow(at=(60, 60), radius=22)
    found = dip_beside((100.0 + graded).astype(np.float32), basin, line, 1.0, S)
    whole = dip_beside((100.0 + rim).astype(np.float32), basin, line, 1.0, S)
    assert found is not None
    assert whole is not None
    assert found[0] == pytest.approx(0.25, abs=0.03)
    assert found[1] == pytest.approx(100.5, abs=0.03)
    assert whole[0] == pytest.approx(0.0, abs=0.01)


def test_soil_and_crop_must_both_speak_for_it():
    assert speaks_for(Zone(90.0, 0.9, 1.0, 0.0, 0.0), S)
    assert not speaks_for(Zone(None, None, 1.0, 0.0, 0.0), S)
    assert not speaks_for(Zone(90.0, 0.9, None, None, None), S)
    assert not speaks_for(Zone(5.0, 0.05, 1.0, 0.0, 0.0), S)
    assert not speaks_for(Zone(90.0, 0.9, 0.6, 0.4, 0.0), S)
    assert speaks_against(Zone(90.0, 0.9, 0.2, 0.8, 0.0), S)
    assert not speaks_against(Zone(), S)


def _shown(col_from: int, col_to: int) -> np.ndarray:
    """A cut of half a metre along row 60."""
    shown = FLAT.copy()
    shown[58:63, col_from:col_to] = 0.5
    return shown


def test_a_plugged_ditch_shows_on_both_sides_of_the_plug():
    """The hollow reaches to column 60; the ditch is filled from 55 to 75 and open before and beyond."""
    plain = surfaces(np.full((120, 240), 100.0))
    inner = ditch(np.full(16, 60), np.arange(40, 56), np.full(16, 99.2))
    outer = ditch(np.full(60, 60), np.arange(75, 135), np.full(60, 99.1))
    both = np.maximum(_shown(40, 56), _shown(75, 135))
    assert OpenWays(Linework((inner, outer)), plain, (both, NO_BANK), 1.0, S).plugged(hollow())
    # a covered pipe leaves nothing to see in the hollow, whatever line was drawn there
    assert not OpenWays(Linework((inner, outer)), plain, (_shown(75, 135), NO_BANK), 1.0, S).plugged(hollow())
    # nor does a line that is neither listed nor deep: the trough that settled over a pipe, the flank of a kettle
    trough = replace(inner, sure=False, depth_m=0.2)
    assert not OpenWays(Linework((trough, outer)), plain, (both, NO_BANK), 1.0, S).plugged(hollow())
    # a mouth far off is no other side of a plug
    far = ditch(np.full(60, 60), np.arange(140, 200), np.full(60, 99.1))
    apart = np.maximum(_shown(40, 56), _shown(140, 200))
    assert not OpenWays(Linework((inner, far)), plain, (apart, NO_BANK), 1.0, S).plugged(hollow())


@pytest.mark.parametrize(("cell_m", "stations", "plugged"), [(3.0, 16, True), (3.0, 4, False), (1.0, 16, False)])
def test_in_wide_cells_a_faint_line_that_shows_long_enough_was_dug(cell_m, stations, plugged):
    """Ditches of 2 m are blurred to faint lines there: ten of 60 plugged ones had been taken for covered drains."""
    plain = surfaces(np.full((120, 240), 100.0))
    inner = replace(ditch(np.full(16, 60), np.arange(40, 56), np.full(16, 99.2), 0.2), sure=False)
    outer = ditch(np.full(60, 60), np.arange(62, 122), np.full(60, 99.1))
    shown = np.maximum(_shown(40, 40 + stations), _shown(62, 122))
    assert OpenWays(Linework((inner, outer)), plain, (shown, NO_BANK), cell_m, S).plugged(hollow()) is plugged


def test_a_ditch_that_brings_water_is_not_a_plugged_one():
    """From upstream: it stands higher outside than where it ends in the hollow."""
    plain = surfaces(np.full((120, 240), 100.0))
    row, col = np.full(80, 60.0), np.arange(124, 44, -1).astype(float)
    brings = ditch(row, col, np.linspace(99.9, 99.4, 80))
    assert not OpenWays(Linework((brings,)), plain, (_shown(45, 125), NO_BANK), 1.0, S).plugged(hollow())
    # the same line read the other way drains it
    drains = ditch(row[::-1], col[::-1], np.linspace(99.4, 98.9, 80))
    assert OpenWays(Linework((drains,)), plain, (_shown(45, 125), NO_BANK), 1.0, S).plugged(hollow())


@pytest.mark.parametrize("cell", [1.0, 2.0])
def test_banks_are_taken_off_and_rims_are_left(cell: float):
    """A dam of 1.5 m, crown 4 m, sides 2.5 : 1, and a rim that falls by 5 % to both sides, 0.5 m high."""
    x = np.arange(-60.0, 60.0, cell)
    dam = 100.0 + np.clip(1.5 - np.clip(np.abs(x) - 2.0, 0.0, None) / 2.5, 0.0, None)
    rim = 100.0 + np.clip(0.5 - 0.05 * np.abs(x), 0.0, None)
    ground = np.repeat(dam[None, :], 60, axis=0).astype(np.float32)
    ground[0, 0] = np.nan
    left = without_banks(ground, cell, S)
    # its foot, lower than any bank, stays
    assert np.nanmax(left) < 100.0 + S.bank_m
    assert np.isnan(left[0, 0]) and np.isnan(left).sum() == 1
    natural = np.repeat(rim[None, :], 60, axis=0).astype(np.float32)
    assert np.array_equal(without_banks(natural, cell, S), natural)


def test_a_dimple_on_dry_soil_needs_more_depth():
    """A head close by that points at it, and a faint line: under crops on soil not mapped as wet."""
    signs = Signs(way=True, head=True, near=True, close=True, clear=True, tight=True, strength=0.3, graded=False)
    dry, wet, grass = Zone(wet_soil=0.0, farmed=1.0), Zone(wet_soil=0.5, farmed=0.2), Zone(wet_soil=0.0, farmed=0.2)
    clear = replace(signs, strength=0.9)
    for zone, seen, depth, words in (
        (dry, signs, 0.2, ""),
        (dry, signs, 0.3, "low"),
        (wet, signs, 0.2, "low"),
        # a clear line stands for the depth under crops, not in grass
        (dry, clear, 0.2, "low"),
        (dry, replace(clear, tight=False), 0.2, ""),
        (grass, clear, 0.2, ""),
        (grass, clear, 0.3, "low"),
        # a head farther off needs crops, depth and a clear line
        (dry, replace(clear, close=False), 0.3, "low"),
        (dry, replace(clear, close=False), 0.2, ""),
        (dry, replace(signs, close=False), 0.3, ""),
        (grass, replace(clear, close=False), 0.3, ""),
        (dry, replace(clear, close=False, near=False), 0.3, ""),
    ):
        assert _confidence(replace(hollow(100.0 - depth), zone=zone), seen, S) == words


def test_of_a_pocket_in_an_openly_drained_basin_a_trench_must_show():
    """Soil and crop speak for every pocket of a drained basin, and its ditch begins somewhere near."""
    signs = Signs(way=True, head=True, near=True, close=True, clear=True, tight=True, strength=0.9, graded=False)
    told = Zone(wet_soil=0.9, farmed=1.0, wetland=0.0, built=0.0)
    for within, seen, words in (
        (False, replace(signs, strength=0.0), "medium"),
        (True, replace(signs, strength=0.0), ""),
        (True, replace(signs, strength=0.4, graded=True), ""),
        (True, signs, "high"),
        (True, replace(signs, tight=False), ""),
        (True, replace(signs, close=False), ""),
    ):
        assert _confidence(replace(hollow(99.5), zone=told, within=within), seen, S) == words
    # terrain alone never says more than low
    assert _confidence(replace(hollow(99.5), within=True), signs, S) == "low"


def test_a_clear_line_to_a_head_close_by_outranks_a_map_of_wetlands():
    """Cover maps keep calling a drained wetland one; built-up land, dry soil and a doubtful line are believed."""
    signs = Signs(way=True, head=True, near=True, close=True, clear=True, tight=True, strength=0.9, graded=False)
    mapped = Zone(wet_soil=0.9, farmed=0.0, wetland=0.9, built=0.0)
    for zone, seen, words in (
        (mapped, signs, "low"),
        (replace(mapped, built=0.8), signs, ""),
        (replace(mapped, wet_soil=0.0), signs, ""),
        (mapped, replace(signs, strength=0.2), ""),
        (mapped, replace(signs, close=False), ""),
        # a line that short may be the plug of a restored wetland
        (mapped, replace(signs, clear=False), ""),
    ):
        assert _confidence(replace(hollow(99.5), zone=zone), seen, S) == words
