"""Each reason against a cut basin, alone."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from test_surfaces import straight_ditch

from wetscout.records import Candidate, Cut, Patch
from wetscout.settings.sites import SiteSettings
from wetscout.sites.build import Finder
from wetscout.sites.few_cells import few_cells
from wetscout.sites.network import Network
from wetscout.sites.turned_down import reason_against

SIGNS = {
    "pool_m2": 5000.0,
    "water_share": 0.0,
    "shore_slope": 0.05,
    "half_width_m": 30.0,
    "deep_half_m": 20.0,
    "cut_depth_m": 1.0,
    "dug_share": 0.1,
    "ditch_in_pool_m": 60.0,
    "drain_in_pool_m": 60.0,
    "stream_in_pool_m": 0.0,
    "stream_share": 0.0,
    "sure_in_pool_m": 60.0,
    "bed_in_pool_m": 99.0,
    "rough_ground": 0.0,
    "unheld_m": 0.0,
    "filled_share": 0.0,
    "open_ditches": 1.0,
    "side_slope": 0.05,
    "side_share": 0.5,
    "side_depth_m": 0.6,
    "bed_at_cut_m": np.nan,
    "road_at_cut": 1.0,
    "named_at_cut": 0.0,
    "listed_cuts": 1.0,
}
WAY = np.array([0, 1], dtype=np.int64)
CUT = Cut(5, 5, 0.0, 1.0, 99.5, 100.1, 98.9, 1, False, WAY, WAY)
POOL = Patch(0, 0, np.ones((2, 2), dtype=bool))


def basin(**changes):
    signs = {**SIGNS, **{k: v for k, v in changes.items() if k in SIGNS}}
    other = {k: v for k, v in changes.items() if k not in SIGNS}
    base = Candidate(
        node=0, pool=POOL, catchment=POOL, spill_m=100.0, today_m=99.5, floor_m=99.4, floor_at=(0, 0), spill_at=(5, 5),
        cuts=(CUT,), edge=False, upstream_m=0.0, ditch_ids=(1,), closes=True, next_at=None, signs=signs,
    )  # fmt: skip
    return replace(base, **other)


def ditch(**values):
    return straight_ditch([0.0, 1.0], [0.0, 1.0], **values)


def test_nothing_speaks_against_a_plain_drained_basin():
    assert reason_against(basin(), ditch(), 1.0, SiteSettings()) is None


@pytest.mark.parametrize(
    "changes",
    [
        # a long swale that a drain leaves across its end, not along it
        {"half_width_m": 12.0},
        # steep sides, but a large basin; few of its cells halfway down, but gentle
        {"side_slope": 0.16, "side_share": 0.1, "half_width_m": 40.0, "pool_m2": 9000.0},
        {"side_slope": 0.07, "side_share": 0.1, "half_width_m": 24.0, "pool_m2": 1900.0},
        # steep, but a bowl
        {"side_slope": 0.1, "side_share": 0.45, "half_width_m": 24.0, "pool_m2": 1900.0},
        # one of two cuts is filled, the other is a ditch
        {"filled_share": 0.5, "open_ditches": 1.0},
        # a small old ditch takes most of a small round basin
        {"dug_share": 0.65, "half_width_m": 9.0, "pool_m2": 500.0},
        # steep, but a bowl, and drained well below its floor
        {"shore_slope": 0.24, "half_width_m": 6.5, "pool_m2": 600.0},
        # the steep bank of a stream is its shore on one side, halfway down it is a bowl
        {"shore_slope": 0.17, "side_slope": 0.05, "side_share": 0.4, "half_width_m": 15.0, "pool_m2": 900.0},
        # a wide flat floor between knolls
        {"shore_slope": 0.16},
        # silt has lifted the bed 0.05 m above a floor 0.6 m deep
        {"bed_in_pool_m": 99.45},
        # led under a road at the rim: no ditch is seen in the pool but the one beside the road
        {"bed_in_pool_m": 99.7, "sure_in_pool_m": 0.0, "bed_at_cut_m": 99.38, "cuts": (replace(CUT, under_road=True),)},
        {"ditch_in_pool_m": 0.0, "bed_at_cut_m": 99.38, "cuts": (replace(CUT, under_road=True),)},
        # a ditch that begins here and stops above the floor, an outlet that was only deepened
        {"bed_in_pool_m": 99.6, "today_m": 99.6},
        # one that begins at the rim
        {"ditch_in_pool_m": 0.0, "drain_in_pool_m": 0.0, "sure_in_pool_m": 0.0, "bed_at_cut_m": 99.3},
        # shallow beside a passing ditch
        {"floor_m": 99.84, "today_m": 99.86, "upstream_m": 300.0},
    ],
)
def test_drained_basins_of_odd_shape_are_offered(changes):
    assert reason_against(basin(**changes), ditch(), 1.0, SiteSettings()) is None


def test_a_pool_that_is_nearly_all_dug_and_lines_that_only_touch_one():
    s = SiteSettings()
    wide = {"half_width_m": 9.0, "pool_m2": 500.0}
    assert reason_against(basin(dug_share=0.75, **wide), ditch(), 1.0, s) is None
    why = reason_against(basin(dug_share=0.9, **wide), ditch(), 1.0, s)
    assert why is not None and "channel" in why
    touched = {"ditch_in_pool_m": 2.0, "drain_in_pool_m": 2.0, "sure_in_pool_m": 2.0}
    assert reason_against(basin(**touched), ditch(), 1.0, s) is None
    two_cells = {"ditch_in_pool_m": 6.0, "drain_in_pool_m": 6.0, "listed_cuts": 0.0}
    assert reason_against(basin(**two_cells), ditch(), 1.0, s) is None
    assert "no ditch enters" in str(reason_against(basin(**two_cells), ditch(), 3.0, s))
    why = reason_against(basin(**touched, listed_cuts=0.0), ditch(), 1.0, s)
    assert why is not None and why.startswith("no ditch enters the pool")


def test_a_pipe_out_of_a_pool_in_which_nothing_was_dug_needs_a_road():
    passing = {"ditch_in_pool_m": 0.0, "drain_in_pool_m": 0.0, "sure_in_pool_m": 0.0, "bed_at_cut_m": 99.3}
    led = basin(**passing, cuts=(replace(CUT, under_road=True),))
    beside = ditch(bank_climb_m=0.35)
    assert reason_against(led, beside, 1.0, SiteSettings()) is None
    without = replace(led, signs={**led.signs, "road_at_cut": 0.0})
    assert str(reason_against(without, beside, 1.0, SiteSettings())).startswith("no ditch enters the pool")
    # a pipe that the user named is enough, and so is a ditch that runs in
    named = replace(without, signs={**without.signs, "named_at_cut": 1.0})
    assert reason_against(named, beside, 1.0, SiteSettings()) is None
    entered = replace(without, signs={**without.signs, "ditch_in_pool_m": 9.0, "sure_in_pool_m": 9.0})
    assert reason_against(entered, beside, 1.0, SiteSettings()) is None


def test_a_straight_cut_well_below_a_shallow_basin_is_plain_without_climbing_banks():
    faint = ditch(sure=False, bank_climb_m=0.05)
    shallow = basin(floor_m=99.82, today_m=99.84, bed_in_pool_m=99.7, cut_depth_m=0.35)
    assert reason_against(shallow, faint, 1.0, SiteSettings()) is None


def test_a_straight_cut_that_begins_in_a_shallow_basin_need_not_reach_far_below_its_floor():
    faint, shallow = ditch(sure=False, bank_climb_m=0.05), {"floor_m": 99.82, "today_m": 99.84, "bed_in_pool_m": 99.8}
    assert reason_against(basin(**shallow), faint, 1.0, SiteSettings()) is None
    for less in ({"upstream_m": 60.0}, {"cut_depth_m": 0.28}, {"bed_in_pool_m": 99.83}, {"drain_in_pool_m": 20.0}):
        assert "little says" in str(reason_against(basin(**{**shallow, **less}), faint, 1.0, SiteSettings()))


def test_an_outlet_deepened_to_the_floor_counts_though_its_kind_is_unclear():
    """Dug just as deep as the basin, crooked and short: told by its cut through the rim and by where it begins."""
    outlet, level = ditch(sure=False, bank_climb_m=0.2, kind="unclear"), {"bed_in_pool_m": 99.42, "sure_in_pool_m": 0.0}
    assert reason_against(basin(**level), outlet, 1.0, SiteSettings()) is None
    assert "below the floor" in str(reason_against(basin(**level, upstream_m=60.0), outlet, 1.0, SiteSettings()))


def test_a_long_swale_with_flat_shores_and_a_ditch_through_its_end_is_no_river_arm():
    assert reason_against(basin(half_width_m=12.0, drain_in_pool_m=180.0), ditch(), 1.0, SiteSettings()) is None


def test_climbing_banks_outrank_listing():
    # it comes from above: one that begins here needs no such sign
    beside = basin(bed_in_pool_m=99.38, upstream_m=60.0)
    assert reason_against(beside, ditch(sure=False, bank_climb_m=0.7), 1.0, SiteSettings()) is None
    assert "below the floor" in str(reason_against(beside, ditch(sure=False, bank_climb_m=0.3), 1.0, SiteSettings()))


def test_a_ditch_that_leads_to_a_stream_from_inside_the_pool_is_a_drain():
    assert reason_against(basin(), ditch(kind="natural stream"), 1.0, SiteSettings()) is None
    # nor is a short line, two stations here, told to be a stream
    assert reason_against(basin(drain_in_pool_m=10.0), ditch(kind="natural stream"), 1.0, SiteSettings()) is None


def test_a_strip_along_a_passing_ditch_is_no_basin():
    strip = {"ditch_in_pool_m": 117.0, "half_width_m": 11.0, "pool_m2": 1577.0, "dug_share": 0.4, "shore_slope": 0.13}
    assert "strip of ground" in str(reason_against(basin(**strip), ditch(), 1.0, SiteSettings()))
    # a ditch that only runs into it, little dug ground, or gentle shores: a basin
    for other in ({"ditch_in_pool_m": 60.0}, {"dug_share": 0.2}, {"shore_slope": 0.05}):
        assert "strip of ground" not in str(reason_against(basin(**{**strip, **other}), ditch(), 1.0, SiteSettings()))


def test_a_straight_ditch_with_climbing_banks_drains_a_pool_however_long():
    """The way out of an old arm winds as it did, runs along all of it, or does not enter it."""
    long = {"pool_m2": 17000.0, "half_width_m": 16.0, "drain_in_pool_m": 20.0, "shore_slope": 0.08}
    dug = {"straightness": 0.99, "bank_climb_m": 0.27}
    assert reason_against(basin(**long), ditch(**dug), 1.0, SiteSettings()) is None
    for changes, line in (
        ({}, {"straightness": 0.9}),
        ({}, {"bank_climb_m": 0.1}),
        ({"drain_in_pool_m": 3.0}, {}),
        ({"drain_in_pool_m": 400.0}, {}),
    ):
        why = reason_against(basin(**{**long, **changes}), ditch(**{**dug, **line}), 1.0, SiteSettings())
        assert "old river arm" in str(why)


def test_in_coarse_cells_what_is_dug_does_not_count_as_pool():
    """A pool of 1200 m2 more than half of which is roadside ditch is a small one; with 1 m cells nothing changes."""
    strip, line = {"pool_m2": 1200.0, "dug_share": 0.5, "half_width_m": 9.0}, {"kind": "roadside"}
    small = "too small for this cell size"
    assert reason_against(basin(**strip), ditch(**line), 2.0, SiteSettings()) == small
    assert reason_against(basin(**strip), ditch(**line), 1.0, SiteSettings()) != small
    assert reason_against(basin(**{**strip, "dug_share": 0.1}), ditch(**line), 2.0, SiteSettings()) != small


def test_in_coarse_cells_a_pool_far_from_its_shore_is_no_strip_however_much_counts_as_dug():
    """0.1 ha, 0.6 m deep, half of it in the corridor of a ditch as 3 m cells show it."""
    pool, line = {"pool_m2": 1000.0, "dug_share": 0.5, "half_width_m": 12.0, "bed_in_pool_m": 99.3}, {"sure": False}
    assert reason_against(basin(**pool), ditch(**line), 3.0, SiteSettings()) is None
    pit = {"side_slope": 0.12, "side_share": 0.25}
    for less in ({"half_width_m": 9.0}, {"cut_depth_m": 0.28}, {"upstream_m": 150.0}, {"dug_share": 0.65}, pit):
        assert "too small" in str(reason_against(basin(**{**pool, **less}), ditch(**line), 3.0, SiteSettings()))
    assert "too small" in str(reason_against(basin(**pool), ditch(sure=False, bank_climb_m=0.1), 3.0, SiteSettings()))


def test_at_coarse_cells_a_listed_ditch_that_begins_in_the_pool_counts_though_its_bed_shows_too_high():
    """0.6 m deep; the bed of a ditch 2.5 m wide stands 0.2 m over the floor in 3 m cells."""
    high = {"bed_in_pool_m": 99.6, "sure_in_pool_m": 6.0, "floor_m": 99.4}
    assert reason_against(basin(**high), ditch(), 3.0, SiteSettings()) is None
    for less, line in (
        ({"dug_share": 0.4}, {}),
        ({"upstream_m": 60.0, "listed_cuts": 0.5}, {}),
        ({}, {"kind": "roadside"}),
    ):
        why = str(reason_against(basin(**{**high, **less}), ditch(**line), 3.0, SiteSettings()))
        assert "only faint lines" in why


def test_woods_alone_turn_nothing_down():
    assert reason_against(basin(rough_ground=1.0), ditch(), 1.0, SiteSettings()) is None
    assert reason_against(basin(rough_ground=1.0), ditch(straightness=0.93), 1.0, SiteSettings()) is None


@pytest.mark.parametrize(
    ("changes", "line", "cell_m", "words"),
    [
        ({"water_share": 0.8}, {}, 1.0, "water at the time of survey"),
        ({"deep_half_m": 3.6}, {}, 1.0, "a piece of a ditch"),
        ({"cuts": ()}, {}, 1.0, "no way out"),
        ({"cuts": (replace(CUT, ditch_id=None),)}, {}, 1.0, "road fill only"),
        ({"pool_m2": 500.0}, {"sure": False, "bank_climb_m": 0.1}, 4.0, "too small for this cell size"),
        ({"floor_m": 99.9, "today_m": 99.95}, {}, 1.0, "too shallow"),
        ({"half_width_m": 12.0, "drain_in_pool_m": 3.0}, {"bank_climb_m": 0.3}, 1.0, "old river arm"),
        ({"half_width_m": 12.0, "drain_in_pool_m": 180.0}, {"straightness": 0.9}, 1.0, "old river arm"),
        ({"half_width_m": 12.0, "drain_in_pool_m": 180.0, "shore_slope": 0.1}, {}, 1.0, "old river arm"),
        ({"half_width_m": 5.0, "pool_m2": 400.0}, {}, 1.0, "a channel"),
        ({"dug_share": 0.7, "pool_m2": 12000.0}, {}, 1.0, "a channel"),
        ({"today_m": 99.3}, {}, 1.0, "dug out"),
        ({"shore_slope": 0.4}, {}, 1.0, "steep sides"),
        (
            {"shore_slope": 0.16, "side_slope": 0.09, "side_share": 0.5, "half_width_m": 15.0, "pool_m2": 900.0},
            {},
            1.0,
            "steep sides",
        ),
        (
            {
                "shore_slope": 0.24,
                "side_slope": 0.18,
                "side_share": 0.5,
                "half_width_m": 8.0,
                "bed_in_pool_m": 99.3,
                "pool_m2": 900.0,
            },
            {},
            1.0,
            "steep sides",
        ),
        ({"filled_share": 1.0, "open_ditches": 0.0}, {}, 1.0, "earth fills the ditch"),
        ({"filled_share": 0.5, "open_ditches": 0.0}, {}, 1.0, "earth fills the ditch"),
        ({"side_slope": 0.16, "side_share": 0.1, "half_width_m": 14.0, "pool_m2": 900.0}, {}, 1.0, "steep sides"),
        (
            {
                "side_depth_m": 1.5,
                "side_slope": 0.25,
                "half_width_m": 8.0,
                "pool_m2": 400.0,
                "floor_m": 98.5,
                "bed_in_pool_m": 98.2,
            },
            {},
            1.0,
            "steep sides",
        ),
        ({"unheld_m": 300.0}, {}, 1.0, "lies lower"),
        ({"unheld_m": 80.0, "drain_in_pool_m": 0.0}, {"kind": "roadside"}, 1.0, "lies lower"),
        ({"ditch_in_pool_m": 0.0}, {"bank_climb_m": 0.3}, 1.0, "no ditch enters"),
        ({"ditch_in_pool_m": 0.0}, {"sure": False}, 1.0, "no ditch enters"),
        ({"cut_depth_m": 0.1}, {}, 1.0, "hardly cut"),
        ({"sure_in_pool_m": 0.0, "dug_share": 0.4}, {"sure": False, "bank_climb_m": 0.1}, 2.0, "faint lines"),
        (
            {"floor_m": 99.8, "today_m": 99.82, "bed_in_pool_m": 99.68},
            {"sure": False, "bank_climb_m": 0.0, "straightness": 0.9},
            1.0,
            "little says",
        ),
        (
            {"floor_m": 99.8, "today_m": 99.82, "bed_in_pool_m": 99.68, "cut_depth_m": 0.28},
            {"sure": False, "bank_climb_m": 0.0},
            1.0,
            "little says",
        ),
        ({"drain_in_pool_m": 10.0}, {"kind": "natural stream"}, 100.0, "a stream runs out"),
        ({"drain_in_pool_m": 30.0, "stream_in_pool_m": 65.0}, {}, 1.0, "a stream runs through"),
        ({"stream_share": 0.6}, {}, 1.0, "between the banks of a stream"),
        ({"floor_m": 99.7, "today_m": 99.75, "bed_in_pool_m": 99.72, "upstream_m": 60.0}, {}, 1.0, "below the floor"),
        ({"floor_m": 99.7, "today_m": 99.75, "bed_in_pool_m": 99.72, "cut_depth_m": 0.28}, {}, 1.0, "below the floor"),
        (
            {"floor_m": 99.7, "today_m": 99.75, "bed_in_pool_m": 99.72, "drain_in_pool_m": 20.0},
            {},
            1.0,
            "below the floor",
        ),
        ({"bed_in_pool_m": 99.42}, {"kind": "roadside"}, 1.0, "below the floor"),
        ({"bed_in_pool_m": 99.38, "sure_in_pool_m": 0.0, "upstream_m": 60.0}, {}, 1.0, "below the floor"),
        ({"floor_m": 99.7, "today_m": 99.75, "drain_in_pool_m": 0.0}, {"kind": "roadside"}, 1.0, "beside the road"),
        # a valley held by a road, which lost less than half its depth, and no drain leads there
        (
            {
                "today_m": 99.75,
                "bed_in_pool_m": 98.9,
                "drain_in_pool_m": 0.0,
                "sure_in_pool_m": 0.0,
                "bed_at_cut_m": 98.9,
            },
            {"sure": False, "bank_climb_m": 0.5},
            1.0,
            "below the floor",
        ),
        ({"rough_ground": 1.0}, {"kind": "roadside"}, 1.0, "woods"),
        ({"rough_ground": 1.0}, {"bank_climb_m": 0.1}, 1.0, "woods"),
        ({"rough_ground": 1.0, "listed_cuts": 0.5}, {}, 1.0, "woods"),
        ({"rough_ground": 1.0, "closes": False}, {}, 1.0, "woods"),
        ({"rough_ground": 1.0, "upstream_m": 200.0}, {"straightness": 0.93}, 1.0, "woods"),
        ({"rough_ground": 1.0}, {"straightness": 0.85}, 1.0, "woods"),
        (
            {"upstream_m": 300.0, "pool_m2": 700.0, "half_width_m": 9.5, "bed_in_pool_m": 99.3, "shore_slope": 0.14},
            {},
            1.0,
            "pond or pit",
        ),
    ],
)
def test_each_reason(changes, line, cell_m, words):
    why = reason_against(basin(**changes), ditch(**line), cell_m, SiteSettings())
    assert why is not None and words in why


def test_at_coarse_cells_a_way_out_cut_through_rim_and_floor_needs_no_listed_line():
    # a bed of 2 m cells may stand 0.1 m too high
    faint = ditch(sure=False, bank_climb_m=0.05)
    plain = {"sure_in_pool_m": 0.0, "bed_in_pool_m": 99.24, "cut_depth_m": 0.4}
    assert reason_against(basin(**plain), faint, 2.0, SiteSettings()) is None
    for less in ({"cut_depth_m": 0.28}, {"bed_in_pool_m": 99.42}, {"dug_share": 0.4}, {"rough_ground": 1.0}):
        assert "only faint lines" in reason_against(basin(**{**plain, **less}), faint, 2.0, SiteSettings())


def test_at_coarse_cells_a_ditch_led_under_a_road_shows_beyond_it():
    under = (replace(CUT, under_road=True),)
    led = {
        "sure_in_pool_m": 0.0,
        "ditch_in_pool_m": 0.0,
        "drain_in_pool_m": 0.0,
        "bed_in_pool_m": np.nan,
        "cuts": under,
    }
    assert reason_against(basin(**led, bed_at_cut_m=99.3), ditch(), 2.0, SiteSettings()) is None
    for high in (99.45, np.nan):
        assert "only faint lines" in reason_against(basin(**led, bed_at_cut_m=high), ditch(), 2.0, SiteSettings())
    # at fine cells its bed must lie below the floor too
    assert "below the floor" in reason_against(basin(**led, bed_at_cut_m=99.6), ditch(), 1.0, SiteSettings())


SMALL = {"pool_m2": 450.0, "half_width_m": 9.5, "bed_in_pool_m": 99.2}
SHALLOW = {"floor_m": 99.82, "today_m": 99.84, "bed_in_pool_m": 99.7, "cut_depth_m": 0.35, "pool_m2": 2000.0}


@pytest.mark.parametrize(("few", "words"), [(SMALL, "too small"), (SHALLOW, "too shallow")])
def test_at_coarse_cells_small_and_shallow_basins_need_a_ditch_beyond_doubt(few, words):
    settings = SiteSettings(undug_cell_m=1.0)
    assert reason_against(basin(**few), ditch(), 2.0, settings) is None
    # the best sign outranks listing
    best = ditch(sure=False, bank_climb_m=0.4)
    assert reason_against(basin(**few), best, 2.0, settings) is None
    for line in (ditch(sure=False, bank_climb_m=0.1), ditch(kind="roadside"), None):
        assert words in str(reason_against(basin(**few), line, 2.0, settings))
    # sides of a pond of 0.06 ha and 0.26 m depth as 2 m cells show them
    pit = {"side_slope": 0.07, "side_share": 0.25, "side_depth_m": 0.26, "half_width_m": 9.5}
    doubts = ({"cut_depth_m": 0.25}, {"rough_ground": 1.0}, pit)
    for doubt in doubts:
        assert words in str(reason_against(basin(**{**few, **doubt}), ditch(), 2.0, settings))
    # a bed that hardly shows below the floor: a listed line must be straight
    high = {**few, "bed_in_pool_m": few.get("floor_m", 99.4) - 0.08}
    assert reason_against(basin(**high), ditch(), 2.0, settings) is None
    assert words in str(reason_against(basin(**high), ditch(straightness=0.8), 2.0, settings))
    assert words in str(reason_against(basin(**few, listed_cuts=0.5), ditch(bank_climb_m=0.1), 2.0, settings))


@pytest.mark.parametrize(("few", "words"), [(SMALL, "too small"), (SHALLOW, "too shallow")])
def test_up_to_ten_foot_cells_what_is_hardly_dug_on_smooth_ground_needs_no_listed_ditch(few, words):
    weak = ditch(sure=False, bank_climb_m=0.1)
    for cell_m in (2.0, 3.0, 3.048):
        assert words not in str(reason_against(basin(**few), weak, cell_m, SiteSettings()))
    assert words in str(reason_against(basin(**few), weak, 3.2, SiteSettings()))
    for doubt in ({"cut_depth_m": 0.25}, {"rough_ground": 1.0}, {"dug_share": 0.4}):
        assert words in str(reason_against(basin(**{**few, **doubt}), weak, 2.0, SiteSettings()))
    assert words in str(reason_against(basin(**few), ditch(kind="natural stream"), 2.0, SiteSettings()))


def test_at_coarse_cells_a_pool_under_fifteen_centimetres_is_not_told_from_chance():
    for floor, why in ((99.87, "too shallow"), (99.84, "None")):
        pool = basin(**{**SHALLOW, "floor_m": floor, "today_m": floor + 0.01})
        assert why in str(reason_against(pool, ditch(), 2.0, SiteSettings()))


def test_at_coarse_cells_a_small_strip_along_a_ditch_is_no_basin():
    assert "too small" in str(reason_against(basin(**{**SMALL, "half_width_m": 6.4}), ditch(), 2.0, SiteSettings()))


@pytest.mark.parametrize(
    ("area", "depth", "cell_m", "few"),
    [
        (330.0, 0.14, 1.0, (False, False)),
        (800.0, 0.5, 2.0, (True, False)),
        (900.0, 0.27, 2.0, (False, False)),
        (2000.0, 0.25, 3.0, (False, True)),
        (6000.0, 0.15, 3.0, (False, False)),
    ],
)
def test_what_is_seen_in_few_cells(area, depth, cell_m, few):
    assert few_cells(area, depth, cell_m, SiteSettings()) == few


def test_a_deep_cut_without_a_listed_ditch_is_a_gully():
    """What was dug 1.5 m and deeper is sharp enough to be listed, and takes little of its pool."""
    unsure, s = ditch(sure=False), SiteSettings()
    deep = basin(listed_cuts=0.0, cut_depth_m=2.4, dug_share=0.5)
    assert "gully" in reason_against(deep, unsure, 1.0, s)
    for told in (
        reason_against(basin(listed_cuts=0.0, cut_depth_m=1.1, dug_share=0.5), unsure, 1.0, s),
        reason_against(basin(listed_cuts=0.0, cut_depth_m=2.4, dug_share=0.1), unsure, 1.0, s),
        reason_against(basin(listed_cuts=0.5, cut_depth_m=2.4, dug_share=0.5), unsure, 1.0, s),
        reason_against(deep, ditch(), 1.0, s),
        # a bed takes twice the share in cells of 2 m
        reason_against(deep, unsure, 2.0, s),
    ):
        assert told is None or "gully" not in told


@pytest.mark.parametrize(
    ("width_m", "sure", "kind", "share"),
    [
        (10.0, True, "natural stream", 0.5),
        (5.0, True, "natural stream", 0.25),
        (10.0, False, "natural stream", 0.0),
        (10.0, True, "ditch", 0.0),
    ],
)
def test_how_much_of_a_pool_lies_between_the_banks_of_a_stream(width_m, sure, kind, share):
    """A line of 100 m along a pool of 100 by 20 m, in cells of 1 m; too short to be sure of by its length."""
    col = np.arange(100.0)
    line = straight_ditch(np.full(100, 10.0), col, top_width_m=np.full(100, width_m), kind=kind, sure=sure)
    about = SimpleNamespace(
        network=Network((line,), 1.0, 6.0), s=SiteSettings(), cell_m=1.0, stream={1} if kind != "ditch" else set()
    )
    pool = np.ones((20, 100), dtype=bool)
    told = Finder._streams(about, about.network.stations_in(pool, 0, 0), pool)
    assert told == {"stream_in_pool_m": 0.0, "stream_share": pytest.approx(share)}
