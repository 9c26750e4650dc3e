"""Tunable numbers of the room `linework`: what counts as a ditch, an embankment, a crossing."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._value import number

_TRIALS = "own trials on mapped Dutch channels and invented till plains, 2026"


@dataclass(frozen=True)
class LineworkSettings:
    """See the metadata of each field for unit, range and source."""

    # the test of one cell
    strip_m: float = number(20.0, "m", (8, 40), "length along which bed and banks are averaged", _TRIALS)
    band_from_m: float = number(4.0, "m", (2, 10), "nearest bank ground, from the centre of the cut", _TRIALS)
    band_to_m: float = number(
        8.0, "m", (4, 20), "farthest bank ground of the near band; twice this ends the far one", _TRIALS
    )
    wide_from_m: float = number(8.0, "m", (5, 20), "nearest bank ground of the test for wide cuts", _TRIALS)
    wide_to_m: float = number(13.0, "m", (8, 40), "farthest bank ground of the test for wide cuts", _TRIALS)
    wide_depth_m: float = number(0.3, "m", (0.1, 2), "least depth against the wide bands", _TRIALS)
    raised_from_m: float = number(6.0, "m", (3, 15), "nearest low ground of the test for embankments", _TRIALS)
    raised_to_m: float = number(12.0, "m", (6, 25), "farthest low ground of the test for embankments", _TRIALS)
    depth_floor_m: float = number(0.08, "m", (0.03, 0.5), "least depth of a cut, however smooth the ground", _TRIALS)
    relief_factor: float = number(4.0, "-", (2, 8), "least depth over the small relief of open ground", _TRIALS)
    seed_factor: float = number(2.0, "-", (1, 5), "depth of a seed cell over the least depth", _TRIALS)
    weak_factor: float = number(
        0.6, "-", (0.3, 1), "least depth of the unsure lines over that of the sure ones", _TRIALS
    )
    screen_factor: float = number(
        0.6,
        "-",
        (0.3, 1),
        "cells less than this share of the least depth below the ring around them are not tested",
        _TRIALS,
    )
    keep_saturation: float = number(0.35, "-", (0, 1), "near depth over far depth a kept cell needs", _TRIALS)
    seed_saturation: float = number(0.7, "-", (0.3, 1), "near depth over far depth a seed cell needs", _TRIALS)
    supporters: int = number(3, "-", (0, 8), "cells along the direction that must answer alike", _TRIALS)
    support_m: float = number(4.0, "m", (2, 10), "reach of the supporters", _TRIALS)
    thin_m: float = number(2.0, "m", (1, 5), "a cell must be the deepest within this distance across", _TRIALS)
    # lines
    seed_share: float = number(0.15, "-", (0, 1), "share of seed cells a connected group needs", _TRIALS)
    group_m: float = number(10.0, "m", (4, 50), "shortest connected group", _TRIALS)
    spur_m: float = number(5.0, "m", (0, 20), "side branches shorter than this are cut", _TRIALS)
    gap_m: float = number(12.0, "m", (0, 30), "longest gap that is closed without asking what lies in it", _TRIALS)
    snap_m: float = number(10.0, "m", (0, 30), "an end this close to another line is led to it", _TRIALS)
    edge_m: float = number(20.0, "m", (0, 60), "an end this near ahead of the edge of the ground is led to it", _TRIALS)
    extend_m: float = number(0.09, "m", (0.03, 0.5), "depth at which an end is no longer followed", _TRIALS)
    extend_weak_m: float = number(0.05, "m", (0.02, 0.5), "the same for the unsure last metres", _TRIALS)
    extend_reach_m: float = number(400.0, "m", (0, 2000), "longest extension of one end", _TRIALS)
    min_length_m: float = number(40.0, "m", (10, 200), "shortest sure line, after joining and extending", _TRIALS)
    weak_length_m: float = number(16.0, "m", (8, 100), "shortest unsure line", _TRIALS)
    centre_m: float = number(4.0, "m", (1, 8), "a line is moved to the lowest ground within this distance", _TRIALS)
    furrow_lines: int = number(4, "-", (2, 20), "parallel neighbours that make a line a furrow", _TRIALS)
    furrow_reach_m: float = number(38.0, "m", (10, 100), "distance on both sides within which they count", _TRIALS)
    furrow_turn_deg: float = number(15.0, "deg", (2, 45), "greatest angle between parallel lines", _TRIALS)
    sure_strength: float = number(
        1.2, "-", (0.2, 10), "strength of a sure line: see `linework.select.Quality`", _TRIALS
    )
    weak_strength: float = number(0.5, "-", (0, 10), "strength of an unsure line far from every sure one", _TRIALS)
    line_saturation: float = number(0.6, "-", (0, 1), "median saturation of a sure line", _TRIALS)
    wide_saturation: float = number(
        0.85, "-", (0, 1), "median saturation against wider bands that also serves", _TRIALS
    )
    wide_line_saturation: float = number(0.45, "-", (0, 1), "median saturation a wide line still needs", _TRIALS)
    deep_factor: float = number(
        5.0, "-", (2, 20), "three quarters this many times the least depth: sure whatever its course", _TRIALS
    )
    deep_saturation: float = number(0.85, "-", (0, 1), "median saturation such a line needs", _TRIALS)
    ruler_straightness: float = number(0.98, "-", (0.8, 1), "straightness that no valley has over 120 m", _TRIALS)
    ruler_length_m: float = number(120.0, "m", (40, 1000), "length over which it counts", _TRIALS)
    ruler_saturation: float = number(0.5, "-", (0, 1), "median saturation such a line needs", _TRIALS)
    corner_deg: float = number(
        45.0, "deg", (20, 90), "at sharper turns a line that is not sure as a whole is taken apart", _TRIALS
    )
    weak_free_m: float = number(40.0, "m", (10, 200), "shortest unsure line that stands alone", _TRIALS)
    # attributes
    bank_from_m: float = number(5.0, "m", (2, 20), "nearest ground of the bank level", _TRIALS)
    bank_to_m: float = number(12.0, "m", (4, 40), "farthest ground of the bank level", _TRIALS)
    shoulder_slope: float = number(0.13, "-", (0.05, 0.3), "side slope at which the cut ends", _TRIALS)
    climb_m: float = number(0.3, "m", (0.1, 2), "climb of the lower bank downstream that speaks of digging", _TRIALS)
    notch_m: float = number(0.2, "m", (0.05, 2), "depth of a short line's deepest third that is no stream", _TRIALS)
    notch_cell_m: float = number(1.5, "m", (0.5, 10), "asked in cells no wider than this", _TRIALS)
    stream_uneven: float = number(0.3, "-", (0, 1), "spread of depth along a stream over its median, at most", _TRIALS)
    stream_valley_m: float = number(0.06, "m", (0, 1), "depth of the valley a stream lies in, at least", _TRIALS)
    stream_length_m: float = number(200.0, "m", (50, 1000), "shortest line whose evenness is judged", _TRIALS)
    winding_straight: float = number(
        0.93, "-", (0.5, 1), "a line that winds more is told from a stream by its evenness alone", _TRIALS
    )
    wander_straight: float = number(
        0.96, "-", (0.5, 1), "a long line that winds less, down to this, must be more even", _TRIALS
    )
    wander_uneven: float = number(0.25, "-", (0, 1), "spread of depth along it over its median, at most", _TRIALS)
    winding_length_m: float = number(150.0, "m", (50, 1000), "shortest such line", _TRIALS)
    winding_uneven: float = number(
        0.36, "-", (0, 1), "spread of depth along a winding stream over its median, at most", _TRIALS
    )
    winding_sure_m: float = number(
        400.0, "m", (100, 5000), "from this length on it may be as sharp as a ditch", _TRIALS
    )
    winding_saturation: float = number(0.98, "-", (0.5, 1.5), "median saturation of a shorter one, at most", _TRIALS)
    loops_straight: float = number(0.8, "-", (0.3, 1), "nobody digs a line that winds more than this", _TRIALS)
    loops_length_m: float = number(300.0, "m", (100, 5000), "shortest such line", _TRIALS)
    loops_uneven: float = number(0.6, "-", (0, 2), "spread of depth along it over its median, at most", _TRIALS)
    loops_bow_m: float = number(
        6.5,
        "m",
        (1, 50),
        "a line this far off its chords all the way is a stream, an uneven one if it is long",
        _TRIALS,
    )
    tight_length_m: float = number(80.0, "m", (50, 1000), "shortest line that such bends tell", _TRIALS)
    tight_blunt_m: float = number(
        4.5,
        "m",
        (1, 50),
        "such bends of a blunt or very long line tell one too",
        _TRIALS,
    )
    blunt_bow_m: float = number(2.5, "m", (0.3, 50), "or this far, where its banks lie back", _TRIALS)
    blunt_saturation: float = number(0.85, "-", (0, 1.5), "median saturation of such a line, at most", _TRIALS)
    river_width_m: float = number(16.0, "m", (5, 200), "a blunt channel of this top width", _TRIALS)
    river_depth_m: float = number(2.0, "m", (0.5, 20), "and this depth is a river", _TRIALS)
    river_m: float = number(100.0, "m", (30, 2000), "shortest such line", _TRIALS)
    river_saturation: float = number(0.75, "-", (0, 1.5), "its median saturation, at most", _TRIALS)
    bend_half_m: float = number(25.0, "m", (10, 100), "half of the chord that a line is held against", _TRIALS)
    corner_bow: float = number(
        0.1, "-", (0, 0.25), "bend over half the chord over bend over the chord; lines with corners have less", _TRIALS
    )
    leg_off_m: float = number(0.8, "m", (0.2, 5), "a straight leg of a line runs this near to it", _TRIALS)
    leg_m: float = number(50.0, "m", (10, 500), "mean straight leg of a line that no stream has", _TRIALS)
    bend_m: float = number(1.2, "m", (0.3, 10), "a line that stands this far off its chords bends all the way", _TRIALS)
    bend_rise_m: float = number(0.02, "m", (0, 1), "rise of the ground behind both banks of a stream", _TRIALS)
    bend_uneven: float = number(
        0.33, "-", (0, 1), "spread of depth along such a line over its median, at most", _TRIALS
    )
    bend_climb: float = number(0.6, "-", (0, 2), "climb of its lower bank downstream over its depth, at most", _TRIALS)
    roadside_ratio: float = number(0.5, "-", (0.1, 1), "one-sidedness of the banks that speaks of a road", _TRIALS)
    road_reach_m: float = number(15.0, "m", (5, 40), "distance of a parallel embankment that speaks of a road", _TRIALS)
    road_turn_deg: float = number(25.0, "deg", (5, 90), "a road within this angle of a ditch runs along it", _TRIALS)
    leave_road_m: float = number(
        25.0, "m", (10, 500), "a leg of a roadside ditch that leads away from the road is a line of its own", _TRIALS
    )
    sided_rise_m: float = number(
        0.1, "m", (0, 2), "ground behind the higher bank that goes on rising by this is a slope, no road", _TRIALS
    )
    spoil_from_m: float = number(3.0, "m", (1, 20), "nearest spoil bank", _TRIALS)
    spoil_to_m: float = number(12.0, "m", (4, 40), "farthest spoil bank", _TRIALS)
    # crossings
    bridge_m: float = number(48.0, "m", (12, 120), "longest way beneath fill", _TRIALS)
    cone_deg: float = number(
        41.0, "deg", (10, 80), "half angle ahead of an end in which its partner is sought", _TRIALS
    )
    far_rise_m: float = number(0.6, "m", (0, 2), "how much higher the far bed may lie", _TRIALS)
    hump_m: float = number(0.3, "m", (0.1, 2), "rise of the bed inside a line that speaks of a crossing", _TRIALS)
    hump_window_m: float = number(45.0, "m", (10, 120), "length of the opening the bed is held against", _TRIALS)
    aim_m: float = number(30.0, "m", (5, 100), "reach of an end aimed at the side of another line", _TRIALS)
    aim_rise_m: float = number(0.2, "m", (0.05, 2), "fill that must stand between them", _TRIALS)
    # embankments
    raise_min_m: float = number(0.15, "m", (0.05, 1), "least height of an embankment", _TRIALS)
    raise_seed_m: float = number(0.3, "m", (0.1, 2), "height of its seed cells", _TRIALS)
    raise_beyond_m: float = number(15.0, "m", (8, 40), "the crest must exceed ground beyond this too", _TRIALS)
    raise_length_m: float = number(60.0, "m", (20, 500), "shortest embankment", _TRIALS)
    # steps in the bed
    step_m: float = number(
        0.3,
        "m",
        (0.1, 2),
        "fall within `step_run_m`, beyond the grade of the bed beside it, that makes a step",
        "common practice, no source",
    )
    step_run_m: float = number(
        10.0, "m", (3, 50), "length within which the bed falls so much", "common practice, no source"
    )
    step_beside_m: float = number(
        30.0,
        "m",
        (10, 200),
        "length of bed above and below with which a step is compared; nearer to its head a ditch has none",
        _TRIALS,
    )
    step_cut_m: float = number(
        0.15, "m", (0.0, 1), "depth of the cut above a step: a ditch that only begins has none", _TRIALS
    )
