"""Tunable numbers of the room `buried`: covered drains, where to look for their mouths, wet ground without a rim."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._pit import PitSides
from wetscout.settings._value import number

_TRIAL = "own trials on invented till plains, 2026"
_PRACTICE = "common practice, no source"
_EXTENSION = "Univ. of Wisconsin Extension, citing ASAE EP480/481"
_EP260 = "corrugated 4 inch pipe, no silt: 0.07 %; table of ASAE EP260, seen in a secondary copy"


@dataclass(frozen=True)
class BuriedSettings(PitSides):
    """See the metadata of each field for unit, range and source."""

    # which hollows are looked at
    min_depth_m: float = number(0.14, "m", (0.05, 1.0), "shallower hollows are not suspected", _TRIAL)
    lone_depth_m: float = number(0.16, "m", (0.0, 1.0), "a hollow no head points at is this deep at least", _TRIAL)
    min_area_m2: float = number(400.0, "m2", (50.0, 1e5), "smaller hollows are not suspected", _PRACTICE)
    max_area_m2: float = number(150000.0, "m2", (1e3, 1e8), "larger hollows are not suspected as one", _PRACTICE)
    half_width_m: float = number(
        5.0, "m", (1.0, 30.0), "hollows nowhere this far from their shore are channels", _TRIAL
    )
    sheet_rise_m: float = number(
        0.10, "m", (0.0, 0.3), "a hollow that spreads by less rise than this is a sheet", _TRIAL
    )
    sheet_share: float = number(0.2, "-", (0.0, 1.0), "and by less than this share of its depth", _TRIAL)
    sheet_spread: float = number(1.5, "-", (1.1, 5.0), "a sheet is this many times larger", _TRIAL)
    road_share: float = number(0.3, "-", (0.0, 1.0), "share of road fill in a pool above which it is none", _PRACTICE)
    whole_times: float = number(
        1.25, "-", (1.0, 10.0), "a basin that a road divides is this much larger than the part on one side", _TRIAL
    )
    near_road_m: float = number(4.0, "m", (0.0, 30.0), "a cut this near to road fill runs under the road", _TRIAL)
    open_share: float = number(0.5, "-", (0.0, 1.0), "a ditch out of a hollow is open to below this share", _TRIAL)
    open_beyond_m: float = number(15.0, "m", (1.0, 200.0), "and goes on for this far outside", _TRIAL)
    held_drop_m: float = number(0.05, "m", (0.0, 0.5), "without road fill a hollow may stand this much lower", _TRIAL)
    held_share: float = number(0.15, "-", (0.0, 1.0), "or lower by this share of its depth", _TRIAL)
    bank_width_m: float = number(13.0, "m", (5.0, 60.0), "dams and dikes are narrower at their foot", _PRACTICE)
    bank_m: float = number(0.5, "m", (0.1, 2.0), "and stand at least this high over the ground beside them", _TRIAL)
    check_width_m: float = number(5.0, "m", (2.0, 20.0), "low banks of levelled fields are narrower", _PRACTICE)
    check_m: float = number(0.15, "m", (0.05, 1.0), "and stand at least this high", _TRIAL)
    bank_long_m: float = number(
        25.0, "m", (0.0, 200.0), "and go on for this far; shorter ones are natural knolls", _TRIAL
    )
    dug_m: float = number(0.25, "m", (0.1, 1.0), "a ditch in a hollow at least this deep shows", _TRIAL)
    dug_run_m: float = number(8.0, "m", (2.0, 50.0), "for at least this long", _TRIAL)
    plug_most_m: float = number(45.0, "m", (5.0, 200.0), "it goes on beyond a plug within this distance", _TRIAL)
    shore_slope: float = number(0.2, "-", (0.05, 1.0), "shores steeper than this all round are pits", _PRACTICE)
    steep_all_round: float = number(0.1, "-", (0.02, 1.0), "or three quarters of them steeper than this", _TRIAL)
    level_full: float = number(
        0.7, "-", (0.4, 1.0), "mean over greatest depth of a field levelled between banks; bowls 0.3-0.6", _TRIAL
    )
    level_share: float = number(0.2, "-", (0.02, 0.5), "and less of it than this lies halfway down", _TRIAL)
    straight_m: float = number(
        120.0, "m", (20.0, 1000.0), "a shore straight for this long stands against a bank or a levelled field", _TRIAL
    )
    straight_times: float = number(2.8, "-", (0.5, 10.0), "if it is this many times the root of the area", _TRIAL)
    box_share: float = number(
        0.8, "-", (0.5, 1.0), "more of a shore than this on the sides of a rectangle: a levelled field", _TRIAL
    )
    box_area_m2: float = number(2500.0, "m2", (100.0, 1e6), "smaller hollows lie near a rectangle anyhow", _TRIAL)
    pit_area_m2: float = number(
        2500.0, "m2", (100.0, 1e6), "larger hollows may have a flat floor between steep knolls", _TRIAL
    )
    plug_near_m: float = number(
        35.0, "m", (0.0, 100.0), "the head of a ditch this near to a hollow may lie behind a plug", _PRACTICE
    )
    mound_m: float = number(0.12, "m", (0.02, 1.0), "a plug stands this high over the ground beside it", _TRIAL)
    shown_cut_m: float = number(
        0.15, "m", (0.0, 1.0), "a cut shallower than this at the rim does not show: the drain is covered", _TRIAL
    )
    # what evidence must say
    wet_soil_least: float = number(
        0.3, "-", (0.0, 1.0), "share of a hollow on wet soil; soil lines are tens of metres off", _PRACTICE
    )
    wet_soil_inner: float = number(
        0.8, "-", (0.0, 1.0), "a hollow inside another on so much wet soil is taken for it where that adds", _TRIAL
    )
    dry_share: float = number(0.4, "-", (0.1, 1.0), "so much of its own ground, most of it dry soil", _TRIAL)
    farmed_least: float = number(0.5, "-", (0.0, 1.0), "share of a hollow under crops or hay", _PRACTICE)
    wetland_most: float = number(
        0.3, "-", (0.0, 1.0), "share mapped as wetland or water that speaks against it", _PRACTICE
    )
    built_most: float = number(0.6, "-", (0.0, 1.0), "share mapped as developed that speaks against it", _PRACTICE)
    # an open ditch that begins abruptly
    head_depth_m: float = number(0.35, "m", (0.1, 2.0), "least depth of a ditch soon after its abrupt head", _TRIAL)
    head_run_m: float = number(
        10.0, "m", (2.0, 30.0), "a head is abrupt when full depth is reached within this", _TRIAL
    )
    head_share: float = number(0.3, "-", (0.05, 0.8), "and no more than this share of it before", _TRIAL)
    head_cone_deg: float = number(45.0, "deg", (10.0, 90.0), "half angle in which a head points", _TRIAL)
    head_near_m: float = number(
        1.0, "m", (0.0, 100.0), "a head nearer to the pool than this is an open drain's", _PRACTICE
    )
    head_road_m: float = number(
        12.0, "m", (0.0, 100.0), "road fill this near to the head of a roadside ditch is a road that goes on", _TRIAL
    )
    head_far_m: float = number(330.0, "m", (50.0, 2000.0), "farthest head that is looked at", _TRIAL)
    head_close_m: float = number(160.0, "m", (10.0, 1000.0), "a head farther off needs a faint line", _TRIAL)
    head_tight_deg: float = number(
        20.0, "deg", (5.0, 90.0), "half angle in which a head points where soil and crop do not speak", _TRIAL
    )
    head_half_m: float = number(60.0, "m", (5.0, 500.0), "distance at which the nearness of a head halves", _TRIAL)
    head_told: float = number(0.3, "-", (0.0, 2.0), "what soil and crop add to the claim of a hollow on a head", _TRIAL)
    head_dry_m: float = number(
        100.0, "m", (10.0, 1000.0), "a head this near is looked at where the soil map shows no wet soil", _TRIAL
    )
    # faint lines
    search_share: float = number(0.12, "-", (0.02, 0.5), "search to both sides, as a share of the length", _TRIAL)
    search_least_m: float = number(8.0, "m", (2.0, 50.0), "least search to both sides", _TRIAL)
    search_most_m: float = number(24.0, "m", (5.0, 100.0), "greatest search to both sides", _TRIAL)
    line_half_m: float = number(1.0, "m", (0.3, 5.0), "half width of a ridge or trough", _PRACTICE)
    flank_from_m: float = number(3.0, "m", (1.0, 10.0), "nearest ground beside it", _TRIAL)
    flank_to_m: float = number(6.0, "m", (2.0, 20.0), "farthest ground beside it", _TRIAL)
    block_m: float = number(4.0, "m", (1.0, 20.0), "length over which ground is averaged along the line", _TRIAL)
    bend: float = number(0.3, "-", (0.0, 1.0), "greatest turn of the line against its corridor [m/m]", _TRIAL)
    clip_m: float = number(0.15, "m", (0.05, 1.0), "higher ridges and deeper troughs count as this", "issue: 0-0.15 m")
    line_full: float = number(8.0, "-", (1.0, 50.0), "spreads of the lines beside it at which strength is 1", _TRIAL)
    line_sign: float = number(0.5, "-", (0.0, 1.0), "strength from which a faint line is a sign", _TRIAL)
    dry_depth_m: float = number(
        0.25,
        "m",
        (0.0, 1.0),
        "a hollow on soil not mapped as wet is this deep, or a clear line leads to it: dimples are less",
        _TRIAL,
    )
    line_hint: float = number(
        0.15, "-", (0.0, 1.0), "least strength of the line under crops on soil not mapped as wet", _TRIAL
    )
    # the rim beside the line
    dip_m: float = number(0.08, "m", (0.02, 1.0), "a rim this much lower than beside looks graded down", _TRIAL)
    dip_from_m: float = number(12.0, "m", (4.0, 50.0), "nearest rim on either side", _TRIAL)
    dip_to_m: float = number(35.0, "m", (10.0, 100.0), "farthest rim on either side", _TRIAL)
    # the way of least trench depth
    reach_m: float = number(350.0, "m", (50.0, 3000.0), "how far from the hollow a mouth is looked for", _TRIAL)
    route_cell_m: float = number(3.0, "m", (1.0, 20.0), "cell in which the way is looked for", _TRIAL)
    cover_m: float = number(0.6, "m", (0.0, 2.0), "least soil over a pipe", f"2.0-2.5 ft; {_EXTENSION}: 2.5 ft")
    grade: float = number(0.0007, "-", (0.0, 0.05), "least fall of a pipe per length", _EP260)
    bed_slack_m: float = number(0.15, "m", (0.0, 1.0), "a bed may stand this much higher: silt, water, noise", _TRIAL)
    over_bed_m: float = number(
        0.3, "m", (0.0, 1.0), "a mouth usually lies this far over the ditch bed", "1 ft; Wisconsin 650.1905"
    )
    # wet ground without a rim
    ground_min_m2: float = number(5000.0, "m2", (100.0, 1e7), "smaller pieces of wet ground are not listed", _PRACTICE)
    slope_seep: float = number(0.015, "-", (0.001, 0.2), "median slope above which wet ground is a slope", _PRACTICE)
    ditch_near_m: float = number(60.0, "m", (5.0, 500.0), "ditches this near may drain flat wet ground", _PRACTICE)
