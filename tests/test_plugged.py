"""Earth in a ditch at the rim: a plug, a road, a pipe that is known, and a crossing farther down. Plain arithmetic."""

from dataclasses import replace

import naive_surfaces
import numpy as np
import pytest
from test_surfaces import straight_ditch

from wetscout.kernels.strips import any_strip, strip_share
from wetscout.records import Crossing, Cut, Embankment, Linework, Surfaces
from wetscout.settings.sites import SiteSettings
from wetscout.sites.plugged import Fills, runs_open, steep_ends

WAY = np.arange(10, 90, dtype=np.int64)
CUT = Cut(50, 40, 0.0, 1.0, 99.0, 100.0, 98.8, 1, False, np.full(80, 50, dtype=np.int64), WAY)


def _surfaces(today, natural):
    return Surfaces(today, today, natural, natural, np.zeros(today.shape, dtype=np.uint8))


def _earth(long, high, cell_m=1.0, face=3.2):
    """Heights of earth over a bed, ends included: both fall by 1 in `face`."""
    i = np.arange(long)
    return np.minimum(high, (np.minimum(i, long - 1 - i) + 0.5) * cell_m / face).astype(np.float32)


def _fills(fill_from, banks=(), crossings=(), top=100.2, low_from=50, long=12, cell_m=1.0, face=3.2):
    natural = np.full((100, 100), 100.1, dtype=np.float32)
    natural[:, low_from:] = 99.5
    today = natural.copy()
    today[50] = 98.9
    ground = today.copy()
    ground[50, fill_from : fill_from + long] = 98.9 + _earth(long, top - 98.9, cell_m, face)
    lines = Linework((straight_ditch([50.0, 50.0], [10.0, 90.0]),), tuple(banks), tuple(crossings))
    return Fills(ground, _surfaces(today, natural), lines, cell_m, SiteSettings())


def _bank(col, kind, first=0.0, last=99.0):
    rows = np.arange(first, last + 1.0)
    return Embankment(1, rows, np.full(rows.size, float(col)), 0.5, 8.0, kind)


def _pipe(given):
    return Crossing(np.array([50.0, 50.0]), np.array([34.0, 48.0]), np.array([98.9, 98.9]), given)


def test_a_plug_at_the_rim_is_seen():
    assert _fills(35).signs((CUT,), 100.0) == {"filled_share": 1.0, "open_ditches": 0.0}


@pytest.mark.parametrize(
    "fills",
    [
        _fills(75),  # 35 m down the ditch: a crossing for carts
        _fills(37, long=8),  # shorter than the crest and the faces of a plug 1.3 m high: 3 m + 2 x 3 x 1.15 m
        _fills(57, low_from=95, long=16),  # a lane's length, 17 m down the ditch, though the rim goes on
        _fills(35, top=99.7),  # does not reach the spill
        _fills(35, banks=[_bank(41, "road")]),  # a road goes on past both banks
        _fills(35, crossings=[_pipe(True)]),  # the user says that a pipe lies there
        _fills(35, top=98.9),  # open
    ],
)
def test_what_is_no_plug(fills):
    assert fills.signs((CUT,), 100.0) == {"filled_share": 0.0, "open_ditches": 1.0}
    assert fills.signs((), 100.0) == {"filled_share": 0.0, "open_ditches": 0.0}


@pytest.mark.parametrize(("cell_m", "long", "filled"), [(1.0, 11, 1.0), (2.0, 6, 0.0), (3.0, 4, 0.0), (3.0, 6, 1.0)])
def test_in_wide_cells_a_lane_is_longer_than_the_least_plug(cell_m, long, filled):
    """Earth 1.18 m high over 11, 12, 12 and 18 m; the least plug that holds 1.1 m is 8.7 m long (faces and crest)."""
    assert _fills(38, top=100.08, long=long, cell_m=cell_m).signs((CUT,), 100.0)["filled_share"] == filled


@pytest.mark.parametrize(
    ("face", "long", "top", "filled"),
    [(2.0, 15, 100.2, 0.0), (3.5, 15, 100.2, 1.0), (2.0, 20, 100.2, 1.0), (0.1, 15, 100.2, 0.0)],
)
def test_short_earth_with_steep_ends_is_a_crossing(face, long, top, filled):
    """15 m of earth 1.3 m high, longer than a plug must be (8.7 m): ends of 2 to 1 are a lane's, of 3.5 to 1 a plug's.

    Of 20 m it is no lane however it ends.
    """
    assert _fills(37, top=top, long=long, face=face).signs((CUT,), 100.0)["filled_share"] == filled


@pytest.mark.parametrize(("face", "steep"), [(1.0, True), (2.0, True), (2.8, True), (3.3, False), (5.0, False)])
def test_ends_are_measured_as_they_were_built(face, steep):
    high = np.concatenate((np.zeros(15), _earth(16, 1.2, face=face), np.zeros(15)))
    assert steep_ends(high, np.arange(46.0), high > 0.15, SiteSettings()) is steep


def test_ends_of_low_earth_or_earth_without_an_end_tell_nothing():
    for high, tells in ((0.5, False), (0.7, True)):
        earth = np.concatenate((np.zeros(15), _earth(16, high, face=1.0), np.zeros(15)))
        assert steep_ends(earth, np.arange(46.0), earth > 0.15, SiteSettings()) is tells
    cut_off = np.concatenate((np.full(15, 1.2), np.zeros(31)))
    assert not steep_ends(cut_off, np.arange(46.0), cut_off > 0.15, SiteSettings())


def test_earth_in_a_slanting_ditch_is_measured_along_the_ditch():
    """A way of zigzag steps is 1.4 times as long as the ditch: 15 m of earth with ends of 2.6 to 1 stay a lane."""
    col = np.arange(10, 90, dtype=np.int64)
    row = 50 + (col % 2)
    cut = replace(CUT, row=50.0, way_row=row, way_col=col)
    fills = _fills(37, long=15, face=2.6)
    for surface in (fills.ground, fills.today, fills.natural):
        surface[51] = surface[50]
    assert fills.signs((cut,), 100.0)["filled_share"] == 0.0


@pytest.mark.parametrize(("top", "filled"), [(100.15, 0.0), (100.25, 1.0)])
def test_in_wide_cells_short_earth_well_above_the_spill_is_a_plug(top, filled):
    """14 m of earth: a lane where its top is level with the banks, a plug where it stands 0.2 m above the water."""
    assert _fills(38, top=top, long=7, cell_m=2.0).signs((CUT,), 100.0)["filled_share"] == filled


@pytest.mark.parametrize(("top", "long", "filled"), [(100.03, 20, 0.0), (100.03, 28, 1.0), (100.1, 20, 1.0)])
def test_earth_level_with_the_spill_is_a_lane_a_plug_stands_above_it(top, long, filled):
    """Levels are told within 0.06 m (spills of strangers' ground, 90 %); longer earth is a ditch filled in again."""
    assert _fills(36, top=top, long=long).signs((CUT,), 100.0)["filled_share"] == filled


@pytest.mark.parametrize(("long", "filled"), [(7, 0.0), (20, 1.0)])
def test_silt_in_the_bed_is_no_part_of_a_lane(long, filled):
    """A lane of 7 m and 20 m of silt 0.2 m deep below it, as long together as a plug; a plug of 20 m in such silt."""
    fills = _fills(37, top=100.1, long=long)
    fills.ground[50, 37 + long : 57 + long] = 99.1
    assert fills.signs((CUT,), 100.0)["filled_share"] == filled


@pytest.mark.parametrize(("exit_m", "still"), [(98.9, 1.0), (99.4, 1.0), (99.6, 0.0)])
def test_a_low_place_beside_a_plug_is_no_open_ditch(exit_m, still):
    """The ditch took the water from 100 m down to 99; the second way leads past its plug at some level."""
    way = np.arange(10, 90)
    beside = replace(CUT, row=20, exit_m=exit_m, way_row=np.full(way.size, 20), way_col=way)
    signs = _fills(35).signs((CUT, beside), 100.0)
    assert signs == {"filled_share": 0.5, "open_ditches": still}


@pytest.mark.parametrize(
    ("banks", "crossings"),
    [([_bank(41, "road", 10.0, 90.0)], []), ([_bank(41, "dike")], []), ([_bank(90, "road")], [_pipe(False)])],
)
def test_other_banks_and_guessed_pipes_leave_a_plug_a_plug(banks, crossings):
    assert _fills(35, banks, crossings).signs((CUT, CUT), 100.0)["filled_share"] == 1.0


@pytest.mark.parametrize(("north_m", "south_m", "filled"), [(60, 60, 0.0), (50, 50, 1.0), (80, 10, 0.0), (60, 40, 1.0)])
def test_a_listed_road_goes_on_to_one_side_or_is_long_in_all(north_m, south_m, filled):
    """A road that ends at crossings on both sides, and berms of 45 m beside a plug."""
    natural = np.full((300, 300), 100.1, dtype=np.float32)
    natural[:, 150:] = 99.5
    today = natural.copy()
    today[150] = 98.9
    ground = today.copy()
    ground[150, 136:148] = 98.9 + _earth(12, 1.3)
    way = np.arange(110, 190, dtype=np.int64)
    cut = Cut(150, 140, 0.0, 1.0, 99.0, 100.0, 98.8, 1, False, np.full(80, 150, dtype=np.int64), way)
    lines = Linework((), (_bank(141, "road", 150.0 - north_m, 150.0 + south_m),), ())
    fills = Fills(ground, _surfaces(today, natural), lines, 1.0, SiteSettings())
    assert fills.signs((cut,), 100.0)["filled_share"] == filled


@pytest.mark.parametrize(
    ("half_m", "turn", "filled"), [(90, 0, 0.0), (90, 25, 0.0), (45, 0, 1.0), (45, 25, 1.0), (25, 0, 1.0), (0, 0, 1.0)]
)
def test_a_strip_past_both_banks_is_a_road_though_none_is_listed(half_m, turn, filled):
    """Fill of 0.9 m on 7 m over the ditch; it goes on to both sides, or ends as a berm of a plug does."""
    row, col = np.mgrid[0:200, 0:200].astype(float)
    today = (100.1 - 0.01 * np.abs(col - 100) + 0.003 * np.abs(row - 100)).astype(np.float32)
    today[99:102] = 98.9
    t = np.radians(turn)
    off, far = (col - 100) * np.cos(t) - (row - 100) * np.sin(t), (col - 100) * np.sin(t) + (row - 100) * np.cos(t)
    top = 1.0 - np.clip(np.abs(off) - 3.5, 0, None) / 4 - np.clip(np.abs(far) - max(half_m, 4), 0, None)
    ground = np.maximum(today, np.where(top > -3, 100.1 + top, -99)).astype(np.float32)
    way = np.arange(60, 160, dtype=np.int64)
    here = Cut(100, 95, 0.0, 1.0, 99.0, 100.0, 98.8, 1, False, np.full(100, 100, dtype=np.int64), way)
    surfaces = _surfaces(today, today)
    assert Fills(ground, surfaces, Linework(), 1.0, SiteSettings()).signs((here,), 100.0)["filled_share"] == filled


def test_earth_farther_down_is_a_plug_while_the_rim_goes_on():
    """The rim is a flat back of 45 m: earth on it that is longer than a lane holds the pool, wherever it stands."""
    assert _fills(66, low_from=90, long=20).signs((CUT,), 100.0)["filled_share"] == 1.0
    assert _fills(66, low_from=60, long=20).signs((CUT,), 100.0)["filled_share"] == 0.0


@pytest.mark.parametrize(("sill", "runs"), [(98.9, True), (99.4, True), (99.6, False), (100.1, False)])
def test_a_ditch_that_lies_open_is_not_plugged(sill, runs):
    # floor 98.9 within a rim at 100.1, a ditch through it whose bed has a sill; spill 100, today 98.9
    ground = np.full((100, 100), 100.1, dtype=np.float32)
    pool = np.zeros((100, 100), dtype=bool)
    pool[40:60, 10:30] = True
    ground[pool] = ground[50, 10:90] = 98.9
    ground[50, 40:50] = sill
    ground[0] = ground[-1] = 101.0
    assert runs_open(ground, pool, (50, 20), (100.0, 98.9), 40) is runs


def test_a_bed_that_goes_on_in_the_next_cell_is_not_filled():
    """In wide cells a bend of the ditch lies beside the way that was opened for it; a plug spans both."""
    fills = _fills(45)
    assert fills.signs((CUT,), 100.0)["filled_share"] == 1.0
    fills.ground[51, 44:58] = 98.9
    assert fills.signs((CUT,), 100.0)["filled_share"] == 0.0
    fills.ground[50:52, 50:53] = 100.2
    assert fills.signs((CUT,), 100.0)["filled_share"] == 1.0


@pytest.mark.parametrize(("beside", "filled"), [(100.05, 1.0), (99.95, 0.0)])
def test_ground_above_the_spill_leads_no_water_past_a_plug(beside, filled):
    """The way was opened to 0.15 m below the spill; beside it the ground stands 5 cm over or under that."""
    fills = _fills(45)
    for surface in (fills.ground, fills.today):
        surface[50, surface[50] < 99.0] = 99.85
    fills.ground[51, 44:58] = beside
    assert fills.signs((CUT,), 100.0)["filled_share"] == filled


def test_strips_along_rays_are_those_of_the_slow_twin():
    rng = np.random.default_rng(5)
    shares = []
    for cell_m in (1.0, 2.0, 5.0):
        ground = rng.normal(0.0, 0.3, (90, 80)).astype(np.float32)
        ground[40:46] += 0.8
        ground[rng.random(ground.shape) < 0.01] = np.nan
        far = np.arange(10.0, 70.0, max(cell_m, 2.0)) / cell_m
        for turn in np.linspace(0.0, 6.2, 60):
            ray, side = (float(np.sin(turn)), float(np.cos(turn))), 9.0 / cell_m
            args = (ground, (42.3, 37.8), ray, far, side, 0.1)
            share = strip_share(*args)
            assert share == naive_surfaces.strip_share(*args)
            assert any_strip(ground, (42.3, 37.8), np.array([ray]), far, side, 0.1, 0.5) == (share >= 0.5)
            shares.append(share)
    assert min(shares) == 0.0
    assert max(shares) > 0.5
