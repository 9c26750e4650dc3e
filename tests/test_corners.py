"""Lines taken apart at their corners, and what is kept of a line that fails as a whole. Plain geometry."""

import itertools
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wetscout.ingest import from_array
from wetscout.linework.corners import corners, legs
from wetscout.linework.embankments import kind_of as bank_kind
from wetscout.linework.embankments import leave_roads, road_beside
from wetscout.linework.find import find_lines
from wetscout.linework.kinds import Signs, kind_of
from wetscout.linework.select import judged, worth_keeping
from wetscout.linework.trace import Line
from wetscout.records import Embankment
from wetscout.settings.linework import LineworkSettings

SETTINGS = LineworkSettings()


def _bent(turn_deg, first=60, second=50):
    """One station a metre: straight on, then turned."""
    turn = np.radians(turn_deg)
    ahead = np.arange(1.0, second + 1)
    row = np.concatenate([np.zeros(first), ahead * np.sin(turn)])
    col = np.concatenate([np.arange(float(first)), first - 1 + ahead * np.cos(turn)])
    return Line(100.0 + row, 20.0 + col, sure=False)


@pytest.mark.parametrize(("turn", "found"), [(0.0, 0), (30.0, 0), (60.0, 1), (90.0, 1), (150.0, 1)])
def test_a_corner_is_a_sharp_turn(turn, found):
    at = corners(_bent(turn).xy, 1.0, SETTINGS)
    assert len(at) == found
    assert all(abs(k - 59) <= 1 for k in at)


@given(st.floats(46.0, 170.0), st.integers(20, 90), st.integers(20, 90))
def test_legs_hold_every_station_and_share_the_corner(turn, first, second):
    line = _bent(turn, first, second)
    parts = legs(line, 1.0, SETTINGS)
    assert parts[0].row[0] == line.row[0] and parts[-1].row[-1] == line.row[-1]
    assert sum(p.row.size for p in parts) == line.row.size + len(parts) - 1
    assert all(p.row[-1] == q.row[0] and p.col[-1] == q.col[0] for p, q in pairwise(parts))


def _ground(tail_m):
    """A ditch 0.5 m deep along row 100 for 60 m; beyond it the ground falls into a hollow with a faint groove."""
    row, col = np.mgrid[0:201, 0:201].astype(float)
    cut = 0.5 * np.exp(-(((row - 100) / 1.5) ** 2)) * ((col >= 20) & (col < 80))
    groove = tail_m * np.exp(-(((col - 79) / 1.5) ** 2)) * (row > 100)
    return (10.0 - cut - groove).astype(np.float32)


def test_a_ditch_whose_line_turns_off_into_a_hollow_is_listed_without_what_it_turned_into():
    turned = _bent(90.0)
    s = _ground(0.05)
    parts = judged(s, turned, 1.0, 0.12, SETTINGS)
    assert [p.sure for p in parts] == [True, False]
    # nothing to see anywhere: one unsure line, not two
    [whole] = judged(np.full_like(s, 10.0), turned, 1.0, 0.12, SETTINGS)
    assert not whole.sure and whole.row.size == turned.row.size


def test_of_a_line_not_worth_keeping_the_leg_that_is_stays():
    """The way on through the hollow is 100 m, and only its last 10 m show a groove again."""
    s, line = _ground(0.0), _bent(90.0, 60, 130)
    assert worth_keeping(np.full_like(s, 10.0), [], [line], 1.0, 0.12, SETTINGS) == []
    s[190:, 78:81] -= 0.3
    kept = worth_keeping(s[:200], [], [replace(line, row=line.row[:-30], col=line.col[:-30])], 1.0, 0.12, SETTINGS)
    assert len(kept) == 1 and 55 <= kept[0].row.size <= 65 and np.ptp(kept[0].row) < 1.5


def test_ends_followed_beyond_a_short_ditch_say_nothing_against_it():
    """30 m of ditch with 45 m of level ground at both ends of its line: the quarter of it that lies lowest shows 0."""
    row, col = np.mgrid[0:201, 0:201].astype(float)
    cut = 0.25 * np.exp(-(((row - 100) / 1.5) ** 2)) * ((col >= 80) & (col < 110))
    s = (10.0 - cut).astype(np.float32)
    line = Line(np.full(120, 100.0), np.arange(35.0, 155.0), sure=False)
    assert len(worth_keeping(s, [], [line], 1.0, 0.12, SETTINGS)) == 1
    assert worth_keeping(np.full_like(s, 10.0), [], [line], 1.0, 0.12, SETTINGS) == []


@pytest.mark.parametrize(("climb", "kind"), [(0.1, "roadside"), (0.5, "ditch")])
def test_one_higher_bank_makes_a_roadside_ditch_only_where_the_banks_do_not_climb(climb, kind):
    """A ditch led along a slope has one higher bank too; climbing banks are the sign of a drain through a rim."""
    signs = Signs(
        saturation=1.0, depth=0.6, climb=climb, width=4.0, length=120.0, straight=0.99, one_sided=0.7,
        road_beside=False, valley_m=0.0, uneven=0.5,
    )  # fmt: skip
    assert kind_of(signs, SETTINGS) == kind


@pytest.mark.parametrize(("behind", "kind"), [(-0.4, "roadside"), (0.0, "roadside"), (0.3, "ditch")])
def test_a_slope_that_goes_on_rising_behind_one_bank_is_no_road(behind, kind):
    """A drain along the side of a hollow has the slope for one bank; a road falls off again behind it."""
    signs = Signs(
        saturation=1.0, depth=0.6, climb=0.1, width=4.0, length=120.0, straight=0.99, one_sided=0.7,
        road_beside=False, valley_m=0.0, uneven=0.5, behind_m=behind,
    )  # fmt: skip
    assert kind_of(signs, SETTINGS) == kind


@pytest.mark.parametrize(
    ("degrees", "cell_m", "beside"), [(0, 1.0, True), (20, 1.0, True), (35, 1.0, False), (35, 2.0, True)]
)
def test_a_road_runs_along_a_ditch_only_where_both_go_the_same_way(degrees, cell_m, beside):
    """Near a crossing at an angle a ditch lies within reach of the road as well: at 35 degrees for 2 x 26 m."""
    along = np.arange(-60.0, 61.0, cell_m) / cell_m
    road = Embankment(1, np.full(along.size, 100.0), 100.0 + along, 0.8, 10.0, "road")
    short = np.arange(-22.0, 23.0, cell_m) / cell_m
    turn = np.radians(degrees)
    line = np.column_stack([100.0 + 8.0 * (degrees == 0) + short * np.sin(turn), 100.0 + short * np.cos(turn)])
    told, near = road_beside([line], [road], cell_m, SETTINGS)
    assert told == [beside]
    assert near[0].all()


@pytest.mark.parametrize(
    ("cell_m", "head_m", "tail_m"), [(1.0, 40, 30), (1.0, 40, 10), (1.0, 10, 10), (2.0, 40, 40), (2.0, 80, 40)]
)
def test_legs_of_a_roadside_ditch_that_lead_away_from_the_road_are_lines_of_their_own(cell_m, head_m, tail_m):
    """From a field square to the road, 160 m beside it, and away again.

    In cells of 2 m a leg must lead 50 m on from where it is out of reach.
    """
    beside = np.arange(0.0, 161.0, cell_m)
    head, tail = np.arange(head_m, 0.0, -cell_m), np.arange(cell_m, tail_m + 1.0, cell_m)
    line = np.column_stack(
        [np.concatenate([8 + head, 0 * beside + 8, 8 + tail]), np.concatenate([0 * head, beside, 0 * tail + 160])]
    )
    along = np.arange(-60.0, 221.0, cell_m)
    road = Embankment(1, np.zeros(along.size), along / cell_m, 0.8, 10.0, "road")
    (pieces,) = leave_roads([line / cell_m], [road], cell_m, SETTINGS)
    # the directions of the corner's stations are means over 6 m to each side
    legs = [m for m in (head_m, tail_m) if m >= (25 if cell_m < 1.5 else 50 + SETTINGS.road_reach_m)]
    assert len(pieces) == 1 + len(legs)
    assert [pieces[0].start, pieces[-1].stop] == [0, len(line)]
    assert all(a.stop == b.start for a, b in itertools.pairwise(pieces))
    if len(legs) == 2:
        assert [pieces[0].stop, pieces[1].stop] == pytest.approx([head_m, head_m + 161], abs=7)
    assert leave_roads([line], [], cell_m, SETTINGS) == [[slice(0, len(line))]]


def _line(**values):
    base = {
        "saturation": 0.45, "depth": 0.5, "climb": 0.1, "width": 5.0, "length": 80.0, "straight": 0.97,
        "one_sided": 0.1, "road_beside": False, "valley_m": 0.3, "uneven": 0.8,
    }  # fmt: skip
    return kind_of(Signs(**{**base, **values}), SETTINGS)


@pytest.mark.parametrize(
    ("length", "saturation", "winding", "uneven"), [(380, 0.88, True, 0.26), (370, 0.79, False, 0.56)]
)
def test_a_crooked_line_whose_banks_climb_by_most_of_its_depth_was_dug_through_a_rim(
    length, saturation, winding, uneven
):
    """Two outlets 0.8-0.9 m deep with banks that climb 0.5-0.65 m; beside a stream that climbs the slope rises."""
    outlet = {
        "saturation": saturation, "depth": 0.85, "climb": 0.6, "width": 10.0, "length": float(length), "straight": 0.9,
        "valley_m": 0.1, "uneven": uneven, "winding": winding, "bow": 2.7, "rise": 0.02,
    }  # fmt: skip
    assert _line(**outlet) == "ditch"
    for change in ({"climb": 0.4}, {"climb": 0.1}, {"rise": 0.5}, {"bow": 4.8}, {"uneven": 0.1}):
        assert _line(**{**outlet, **change}) == "natural stream"


def test_a_short_cut_that_is_sharp_where_it_is_deepest_is_no_stream():
    """Followed into broad lows on both sides of a rim, a line is not sharp as a whole."""
    assert _line() == "natural stream"
    assert _line(notch_m=0.45, notch_saturation=0.9) == "unclear"
    assert _line(notch_m=0.1, notch_saturation=0.9) == "natural stream"
    assert _line(notch_m=0.45, notch_saturation=0.9, length=300.0) == "natural stream"


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ({}, "natural stream"),
        ({"saturation": 0.95}, "ditch"),  # banks right at its edge: a deepened outlet keeps its bends
        ({"bow": 1.0}, "ditch"),
        ({"uneven": 1.2}, "ditch"),  # two ditches of different depth that meet at a corner
        ({"length": 100.0}, "ditch"),
    ],
)
def test_a_blunt_line_that_bends_all_the_way_is_a_stream_though_its_banks_climb(line, kind):
    """Values of lines of 150 m and more on invented ground: streams under 0.85, crooked ditches over 0.93."""
    base = {
        "saturation": 0.75,
        "depth": 0.9,
        "climb": 0.6,
        "length": 200.0,
        "straight": 0.93,
        "bow": 4.0,
        "uneven": 0.5,
    }
    assert _line(**{**base, "valley_m": 0.0, **line}) == kind


def test_banks_of_a_stream_that_bends_in_a_narrow_valley_climb_too():
    """A deepened outlet keeps its bends as well, but the ground behind its banks does not go on rising."""
    gully = {"climb": 0.7, "length": 600.0, "bow": 3.0, "straight": 0.93}
    assert _line(**gully, rise=1.0) == "natural stream"
    assert _line(**gully, rise=0.05) == "ditch"
    assert _line(**{**gully, "bow": 0.4}, rise=1.0) == "ditch"


@pytest.mark.parametrize(
    ("length", "width", "straight", "kind"),
    [
        (50.0, 8.0, 0.99, "road"),
        (50.0, 8.0, 0.9, "unclear"),
        (50.0, 16.0, 0.99, "unclear"),
        (30.0, 8.0, 0.99, "unclear"),
    ],
)
def test_a_short_bank_is_a_track_where_it_is_narrow_and_straight(length, width, straight, kind):
    """A hedge bank across a valley that ends at a ditch had been left as a dam: three false sites."""
    assert bank_kind(0.4, width, length, straight, 0.0) == kind


@pytest.mark.parametrize(("height", "kind"), [(1.9, "road"), (2.6, "road"), (5.5, "spoil")])
def test_a_bank_beside_a_ditch_is_a_railways_where_spoil_is_not_as_high(height, kind):
    assert bank_kind(height, 17.0, 160.0, 0.99, 1.0) == kind


def test_furrows_found_with_the_first_lines_and_with_the_faint_ones_count_together():
    """Beds of 16 m, every second furrow 0.24 m deep and the others 0.16 m: all 17 were listed, now 10 are."""
    row, col = np.mgrid[0:300, 0:300].astype(float)
    depth = np.where(np.rint((col - 14) / 16) % 2 == 0, 0.24, 0.16)
    off = (col - 14 + 8) % 16 - 8
    rng = np.random.default_rng(5)
    z = 10.0 - 0.001 * row - depth * np.exp(-((off / 1.6) ** 2)) + rng.normal(0, 0.03, row.shape)
    z[:, :14] = z[:, 286:] = 10.2
    found = find_lines(from_array(z.astype(np.float32), 1.0), SETTINGS).ditches
    assert sum(d.row.size for d in found) < 0.65 * 17 * 300


def test_a_wide_deep_channel_in_its_valley_is_a_river_though_its_banks_climb():
    """Rivers of two makers of landscapes: 17-28 m wide, 2.6-3.8 m deep; a silted ditch is 14 m and 1.1 m at most."""
    river = {"saturation": 0.42, "depth": 3.5, "climb": 2.5, "width": 25.0, "length": 1500.0, "valley_m": 2.2}
    other = {"straight": 0.98, "one_sided": 0.04, "road_beside": False, "uneven": 0.24}
    assert kind_of(Signs(**other, **river), SETTINGS) == "natural stream"
    for change in ({"width": 12.0}, {"depth": 1.1}, {"saturation": 0.95}, {"length": 60.0}, {"ruled": True}):
        assert kind_of(Signs(**{**other, **river, **change}), SETTINGS) != "natural stream"
