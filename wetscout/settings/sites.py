"""Tunable numbers of the room `sites`."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._pit import PitSides
from wetscout.settings._value import number

_TRIAL = "own trials on invented till plains, 2026"
_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class SiteSettings(PitSides):
    """When a natural basin counts as cut, and which of nested basins is offered."""

    coarse_wide_m2: float = number(
        5000.0, "m2", (0.0, 1e6), "in cells above 1.2 m only pools this wide are offered shallower than 0.3 m", _TRIAL
    )
    coarse_area_m2: float = number(
        850.0, "m2", (50.0, 1e5), "the least area grows with the cell area up to this", _TRIAL
    )
    coarse_depth_m: float = number(
        0.15, "m", (0.05, 1.0), "shallower pools are not offered there unless they are that wide", _TRIAL
    )
    coarse_half_m: float = number(
        10.0, "m", (3.0, 50.0), "a pool there that reaches so far from its shore is no strip, however small", _TRIAL
    )
    coarse_upstream_m: float = number(100.0, "m", (0.0, 1000.0), "unless more ditch than this comes from above", _TRIAL)
    coarse_share: float = number(
        0.3, "-", (0.05, 0.6), "in cells above 1.2 m less of a pit than this lies halfway down", _TRIAL
    )
    compact: float = number(
        8.0, "-", (3.2, 50.0), "area over half width squared of the smaller pools offered there; 3.1 is round", _TRIAL
    )
    persistence_m: float = number(
        0.06, "m", (0.0, 0.3), "dimples shallower than this are joined to what they spill into", _TRIAL
    )
    min_depth_m: float = number(0.13, "m", (0.05, 1.0), "shallower basins are not looked at", _TRIAL)
    min_area_m2: float = number(320.0, "m2", (50.0, 1e5), "smaller basins are not looked at", _TRIAL)
    window_most_m2: float = number(
        9e6, "m2", (1e6, 1e9), "basins whose window is larger are not judged, only those inside them", _PRACTICE
    )
    lost_share: float = number(0.5, "-", (0.2, 0.9), "share of the depth that must be lost", _TRIAL)
    lost_least: float = number(
        0.35, "-", (0.1, 0.9), "share of the depth that must be lost where `left_share` of the water is", _TRIAL
    )
    left_share: float = number(
        0.35, "-", (0.0, 1.0), "a basin that still holds more of its water is left for a cut pool inside it", _TRIAL
    )
    explained_share: float = number(
        0.6, "-", (0.0, 1.0), "where that pool accounts for so much of the water the basin lost", _TRIAL
    )
    lower_share: float = number(
        0.4, "-", (0.0, 1.0), "a pool that no plugs close is left for lower ones with this much of its water", _TRIAL
    )
    lower_most_m2: float = number(
        5e4, "m2", (0.0, 1e7), "one wider than this is left for any lower ones: many owners, many openings", _PRACTICE
    )
    lost_min_m: float = number(0.10, "m", (0.05, 0.5), "least level lost", _TRIAL)
    lost_noise: float = number(2.0, "-", (0.0, 10.0), "least level lost, in multiples of measured noise", _TRIAL)
    deep_share: float = number(0.3, "-", (0.1, 0.6), "lowest share of the depth that counts as floor", _TRIAL)
    pit_from_m: float = number(0.6, "m", (0.1, 10.0), "a shallower pool hides no pit", _TRIAL)
    pit_within: float = number(0.3, "-", (0.0, 0.5), "most of a pool that a pit dug into it takes", _TRIAL)
    pit_walls: float = number(0.08, "-", (0.01, 0.3), "most of a pool that the walls of the pit take", _TRIAL)
    pit_drop: float = number(0.5, "-", (0.3, 0.9), "least share of the depth that they span", _TRIAL)
    pit_slim: float = number(
        50.0, "-", (16.0, 500.0), "most outline squared over area of a pit; else a channel", _TRIAL
    )
    witness_share: float = number(
        0.6, "-", (0.0, 1.0), "share of the depth that the cautious surface must hold as well", _TRIAL
    )
    witness_drop_m: float = number(0.45, "m", (0.1, 2.0), "how far the cautious spill may lie lower", _TRIAL)
    sheet_rise_m: float = number(0.10, "m", (0.0, 0.3), "a pool that spreads by less rise than this is a sheet", _TRIAL)
    sheet_share: float = number(0.2, "-", (0.0, 1.0), "and by less than this share of its depth", _TRIAL)
    sheet_depth_m: float = number(0.03, "m", (0.0, 1.0), "a sheet is no deeper on average", _TRIAL)
    brim_m: float = number(
        0.045, "m", (0.0, 0.2), "pools that join within this of their spill are sites of their own", _TRIAL
    )
    same_level_m: float = number(
        0.012, "m", (0.0, 0.1), "levels are not known better than this: what joins by less is not of the pool", _TRIAL
    )
    listed_step_m: float = number(
        0.02, "m", (0.0, 1.0), "pools inside a listed basin that stand less below it are the same basin", _TRIAL
    )
    same_spread: float = number(1.25, "-", (1.1, 5.0), "where it makes the pool this many times larger", _TRIAL)
    sheet_spread: float = number(1.5, "-", (1.1, 5.0), "a sheet is this many times larger", _TRIAL)
    noise_lift: float = number(
        0.0, "-", (0.0, 3.0), "measured noise added to a spill level: a pass minimum leans down", _TRIAL
    )
    search_m: float = number(60.0, "m", (20.0, 200.0), "how far beyond the pool the rim is looked for", _TRIAL)
    near_line_m: float = number(6.0, "m", (2.0, 15.0), "a cut belongs to a ditch this near", _TRIAL)
    hold_m: float = number(0.06, "m", (0.01, 0.3), "a closed basin may stand this much below its spill", _TRIAL)
    max_cuts: int = number(6, "-", (1, 30), "cuts closed before a basin is given up", _TRIAL)
    merge_m: float = number(
        40.0, "m", (5.0, 100.0), "openings of one ditch nearer than this are closed by one plug", _PRACTICE
    )
    shore_slope: float = number(
        0.2, "-", (0.05, 1.0), "shores steeper than this hold only basins drained below their floor", _TRIAL
    )
    pit_slope: float = number(0.3, "-", (0.05, 1.0), "shores steeper than this all round are dug", _PRACTICE)
    pit_from: float = number(0.15, "-", (0.05, 1.0), "from here on a shore is compared with the whole pool", _TRIAL)
    pit_bowl: float = number(
        3.0, "-", (1.0, 10.0), "shore slope over depth / half width of a pit; 1 is a cone, 2 a bowl", _TRIAL
    )
    pit_side: float = number(
        2.0, "-", (0.0, 10.0), "the same of its sides halfway down, at least; a paraboloid has 1.4", _TRIAL
    )
    pit_area_m2: float = number(
        2500.0, "m2", (100.0, 1e6), "larger pools may have a flat floor between steep knolls", _TRIAL
    )
    side_area_m2: float = number(5000.0, "m2", (100.0, 1e6), "larger pools are not told by their sides", _TRIAL)
    side_steep: float = number(0.18, "-", (0.05, 1.0), "sides this steep are dug in a pool deeper than", _TRIAL)
    side_deep: float = number(0.1, "-", (0.02, 1.0), "this share of its half width", _TRIAL)
    unlisted_cut_m: float = number(
        1.5, "m", (0.3, 20.0), "a cut deeper than this in which no ditch is listed is a gully", _TRIAL
    )
    unlisted_dug: float = number(0.3, "-", (0.0, 1.0), "where more than this share of the pool lies in it", _TRIAL)
    unheld_m: float = number(
        60.0, "m", (20.0, 500.0), "longest shore held by a road strip alone where no drain enters", _TRIAL
    )
    unheld_drain: float = number(0.3, "-", (0.0, 1.0), "least share of other than roadside ditch in a pool", _TRIAL)
    crossing_reach: float = number(
        1.5, "-", (0.0, 5.0), "ditch in a pool over its half width: a shorter one comes in over the shore", _TRIAL
    )
    unheld_most_m: float = number(200.0, "m", (20.0, 1000.0), "the same where a drain enters", _TRIAL)
    upstream_m: float = number(
        30.0, "m", (10.0, 500.0), "more ditch than this from above: the drain passes through", _TRIAL
    )
    offer_depth_m: float = number(0.13, "m", (0.05, 1.0), "shallower basins are not offered", _TRIAL)
    half_width_m: float = number(6.0, "m", (2.0, 30.0), "pools nowhere this far from their shore are channels", _TRIAL)
    deep_half_m: float = number(
        4.0, "m", (1.0, 20.0), "a strip nowhere this far from its sides is as wide as a ditch", _TRIAL
    )
    slim: float = number(20.0, "-", (5.0, 100.0), "area over half width squared of a channel", _TRIAL)
    arm: float = number(26.0, "-", (10.0, 200.0), "area over half width squared of an old river arm", _TRIAL)
    swale_shore: float = number(0.06, "-", (0.0, 0.5), "an old arm has steeper shores than a swale", _TRIAL)
    arm_along: float = number(0.5, "-", (0.1, 2.0), "a drain along more of a pool's length makes it an arm", _TRIAL)
    strip_ditch: float = number(
        7.5, "-", (3.0, 50.0), "ditch in a pool over its half width from which it is a strip along the ditch", _TRIAL
    )
    strip_dug: float = number(0.35, "-", (0.1, 1.0), "if this share of it is dug ground", _TRIAL)
    strip_shore: float = number(0.09, "-", (0.0, 0.5), "and its shores are this steep: banks", _TRIAL)
    dug_slim: float = number(12.0, "-", (5.0, 100.0), "the same for a pool most of which is dug", _TRIAL)
    dug_share: float = number(0.6, "-", (0.2, 1.0), "pools with more dug ground than this are channels", _TRIAL)
    all_dug: float = number(
        0.8, "-", (0.3, 1.0), "so much dug and a pool is the cutting of a road or a ditch (drained basins 0.7)", _TRIAL
    )
    touch_m: float = number(
        5.0,
        "m",
        (0.0, 30.0),
        "a line with less of it in the pool only touches it, where no way out has a listed one",
        _TRIAL,
    )
    weak_climb_m: float = number(
        0.2, "m", (0.0, 1.0), "an unsure line whose lower bank climbs less than this says little", _TRIAL
    )
    weak_depth_m: float = number(0.3, "m", (0.0, 2.0), "shallower basins need more than a weak line", _TRIAL)
    weak_area_m2: float = number(600.0, "m2", (0.0, 1e5), "smaller basins need more than a weak line", _TRIAL)
    stream_m: float = number(
        150.0, "m", (20.0, 1000.0), "shorter natural lines may be the drain itself, worn or too wide to tell", _TRIAL
    )
    stream_pool_m: float = number(
        60.0, "m", (10.0, 1000.0), "a pool in which such lines run this far is a stream's own", _TRIAL
    )
    stream_over: float = number(
        2.0, "-", (0.5, 20.0), "where they run more than so many times as far in it as drains do", _TRIAL
    )
    stream_share: float = number(
        0.5,
        "-",
        (0.1, 2.0),
        "width of listed natural lines along their way in a pool, over its area: a channel",
        _TRIAL,
    )
    plain_cut_m: float = number(
        0.3, "m", (0.1, 2.0), "least depth of a straight cut below the spill that counts though not listed", _TRIAL
    )
    fine_cell_m: float = number(1.2, "m", (0.3, 5.0), "up to this cell size faint lines are trusted", _TRIAL)
    undug_cell_m: float = number(
        3.1,
        "m",
        (1.0, 10.0),
        "up to this cell size small pools, smooth and little dug, need no listed ditch",
        _TRIAL,
    )
    known_straight: float = number(0.95, "-", (0.5, 1.0), "a faint line must be this straight to count there", _TRIAL)
    woods_straight: float = number(0.9, "-", (0.5, 1.0), "a line in woods that winds more is a brook", _TRIAL)
    known_dug: float = number(0.35, "-", (0.0, 1.0), "and no more than this share of the pool may be dug", _TRIAL)
    reach_into_m: float = number(
        20.0, "m", (0.0, 200.0), "above it a listed ditch must run this far into a pool, or half its half width", _TRIAL
    )
    cut_depth_m: float = number(0.25, "m", (0.05, 1.0), "least depth of the cut below the spill", _TRIAL)
    bed_least_m: float = number(0.0, "m", (-0.2, 0.5), "every line must run this much below the floor", _TRIAL)
    bed_below_m: float = number(0.10, "m", (0.0, 0.5), "a weak line must run this much below the floor", _TRIAL)
    silt_share: float = number(
        0.2, "-", (0.0, 0.5), "share of the depth beyond 0.3 m to which silt may lift the bed of a ditch", _TRIAL
    )
    roadside_depth_m: float = number(
        0.4, "m", (0.0, 2.0), "basins drained by a roadside ditch are offered from this depth on", _TRIAL
    )
    pit_ratio: float = number(0.06, "-", (0.0, 1.0), "depth over half width of a pit", _TRIAL)
    passing_bowl: float = number(2.0, "-", (1.0, 10.0), "least shore slope over depth / half width of it", _TRIAL)
    passing_area_m2: float = number(
        1500.0, "m2", (0.0, 1e5), "smaller pools on a passing ditch need a bed well below their floor", _TRIAL
    )
    road_gap_m: float = number(25.0, "m", (5.0, 60.0), "the two ditches of a road lie no farther apart", _PRACTICE)
    road_even_m: float = number(1.5, "m", (0.2, 10.0), "and their distance changes by no more, in cells of 1 m", _TRIAL)
    road_run_m: float = number(80.0, "m", (20.0, 1000.0), "over at least this length", _TRIAL)
    road_share: float = number(
        0.6, "-", (0.1, 1.0), "a pool with so much of its water between them is the bed of the road", _TRIAL
    )
    filled_reach_m: float = number(
        20.0, "m", (5.0, 60.0), "earth in a ditch this near to the rim is a plug, farther off a crossing", _PRACTICE
    )
    filled_most_m: float = number(
        60.0, "m", (5.0, 200.0), "or this near where the ground between stands as high as the rim", _TRIAL
    )
    filled_m: float = number(0.3, "m", (0.1, 2.0), "least height of such earth over the bed", _TRIAL)
    filled_below_m: float = number(0.15, "m", (0.0, 0.5), "it reaches the spill level but for this", _TRIAL)
    plug_crest_m: float = number(3.0, "m", (0.5, 20.0), "least crest of a plug along the ditch", _PRACTICE)
    plug_least_m: float = number(
        11.5, "m", (0.0, 60.0), "in cells above 1.2 m shorter earth is a lane over a pipe, however low", _PRACTICE
    )
    plug_freeboard_m: float = number(
        0.2, "m", (0.0, 1.0), "short earth there that stands this far above the spill is a plug", _TRIAL
    )
    plug_shows_m: float = number(
        0.06, "m", (0.0, 1.0), "a plug stands at least so far above the spill; levels are told no closer", _TRIAL
    )
    lane_most_m: float = number(
        25.0, "m", (0.0, 60.0), "earth that stands no higher, and no longer along the ditch, is a lane", _PRACTICE
    )
    plug_face: float = number(
        3.0, "-", (0.5, 10.0), "least run of its faces to one; shorter earth is a crossing", _PRACTICE
    )
    face_from_m: float = number(
        0.6, "m", (0.3, 5.0), "of earth at least so high over the bed the ends tell a crossing from a plug", _TRIAL
    )
    crossing_from_m: float = number(12.0, "m", (0.0, 60.0), "earth that begins so far from the rim", _TRIAL)
    crossing_m: float = number(
        18.0,
        "m",
        (0.0, 60.0),
        "and is no longer along the ditch is a crossing: 5 m of lane, faces 2:1, their toes",
        _TRIAL,
    )
    water_share: float = number(0.5, "-", (0.1, 1.0), "pools with more water at survey are not offered", _PRACTICE)
    chain_reach_m: float = number(
        1500.0, "m", (50.0, 20000.0), "way of the water within which the next site below is looked for", _PRACTICE
    )
    chain_enter_m: float = number(5.0, "m", (1.0, 50.0), "the way must run so far inside that site's pool", _PRACTICE)
    chain_tie_m: float = number(
        0.05, "m", (0.0, 0.3), "levels nearer than this are the same: levels are not known better", _TRIAL
    )
    step_reach_m: float = number(
        500.0, "m", (20.0, 5000.0), "way of the water within which a step in the bed is told at a site", _PRACTICE
    )
