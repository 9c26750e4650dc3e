"""Tunable numbers of the room `surfaces`."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._value import number

_TRIAL = "own trials on invented till plains, 2026"


@dataclass(frozen=True)
class SurfaceSettings:
    """How the ground of today and the natural ground are built from the DEM and its lines."""

    smooth_m: float = number(1.5, "m", (0.5, 3.0), "Gauss width of the twice-smoothing that calms noise", _TRIAL)
    along_m: float = number(13.0, "m", (5.0, 25.0), "running median of sections along a line", _TRIAL)
    recentre_m: float = number(4.0, "m", (1.0, 8.0), "how far a line may sit beside its lowest point", _TRIAL)
    shoulder_slope: float = number(0.08, "-", (0.03, 0.3), "steeper ground belongs to the side of a cut", _TRIAL)
    shoulder_share: float = number(
        0.35, "-", (0.0, 0.8), "a side ends where flatter than this share of its steepest", _TRIAL
    )
    bed_reach_m: float = number(5.0, "m", (1.0, 10.0), "a side begins this near the lowest point", _TRIAL)
    wide_bed_reach_m: float = number(8.0, "m", (1.0, 10.0), "the same of a line whose sides stand far out", _TRIAL)
    crown_half_m: float = number(7.0, "m", (3.0, 15.0), "half of the widest road crown", _TRIAL)
    crown_least_m: float = number(3.0, "m", (1.0, 8.0), "least half width of road fill", _TRIAL)
    width_along_m: float = number(40.0, "m", (10.0, 200.0), "neighbourhood whose median width caps a corridor", _TRIAL)
    cut_least_m: float = number(0.1, "m", (0.0, 0.5), "where a line cuts less it shows no width", _TRIAL)
    cut_cell_m: float = number(1.5, "m", (0.5, 10.0), "asked in cells no wider than this", _TRIAL)
    hollow_m: float = number(9.0, "m", (4.0, 30.0), "a line this wide, in cells as fine, may be a hollow ...", _TRIAL)
    hollow_slender: float = number(
        4.0, "-", (1.0, 20.0), "... where it is less than so many times as long, ...", _TRIAL
    )
    hollow_steep: float = number(
        0.1, "-", (0.02, 1.0), "... its depth is less than this share of its width, ...", _TRIAL
    )
    hollow_rise: float = number(0.5, "-", (0.0, 3.0), "... and its middle rises by this share of its depth", _TRIAL)
    hollow_gap_m: float = number(6.0, "m", (0.0, 20.0), "narrower pieces of it up to this long are of it", _TRIAL)
    hollow_ditch_m: float = number(
        10.0, "m", (3.0, 100.0), "a ditch led on into it shows on at least this much", _TRIAL
    )
    hollow_narrow: float = number(0.75, "-", (0.2, 1.0), "and is at most this share of its width wide", _TRIAL)
    wide_long: float = number(
        3.0, "-", (1.0, 20.0), "a line so many times as long as wide is a wide ditch all the same ...", _TRIAL
    )
    wide_steep: float = number(
        0.05, "-", (0.0, 1.0), "... where its depth is this share of its width (sides of 6 to 1: 0.06), ...", _TRIAL
    )
    wide_even: float = number(
        0.2, "-", (0.0, 1.0), "... and less than this share of its length rises so, as the face of its head", _TRIAL
    )
    width_cap: float = number(1.3, "-", (1.0, 3.0), "a corridor is at most this many times its usual width", _TRIAL)
    width_least: float = number(
        0.2, "-", (0.0, 1.0), "a side narrower than this share of its usual width takes the usual one", _TRIAL
    )
    berm_m: float = number(1.5, "m", (0.5, 5.0), "widest flat step inside the side of a cut", _TRIAL)
    shoulder_reach_m: float = number(14.0, "m", (5.0, 25.0), "farthest shoulder from the bed", _TRIAL)
    spoil_m: float = number(
        0.07, "m", (0.03, 0.3), "a bump on the bank this high over the ground behind is spoil", _TRIAL
    )
    spoil_reach_m: float = number(7.0, "m", (2.0, 12.0), "farthest foot of spoil from the shoulder", _TRIAL)
    spoil_wide_m: float = number(
        4.0, "m", (0.0, 6.0), "how much wider spoil is looked for where the ground just behind shows none", _TRIAL
    )
    spoil_along_m: float = number(60.0, "m", (10.0, 300.0), "wide spoil must go on so far both ways", _TRIAL)
    spoil_share: float = number(0.6, "-", (0.0, 1.0), "on this share of the stations there", _TRIAL)
    pad_m: float = number(0.5, "m", (0.0, 2.0), "added to the corridor beyond each shoulder", _TRIAL)
    bridge_reach_m: float = number(30.0, "m", (15.0, 60.0), "farthest free ground used to carry levels across", _TRIAL)
    bridge_ratio: float = number(1.5, "-", (1.0, 3.0), "lines up to this many times the shortest count", _TRIAL)
    hollow_line: int = number(3, "-", (1, 6), "the line taken in a hollow, counted from the highest", _TRIAL)
    ridge_m: float = number(
        0.03, "m", (0.005, 0.2), "where the ends bend the lines up this much, the highest line is taken", _TRIAL
    )
    end_slope: float = number(0.7, "-", (0.0, 1.0), "share of the end slopes kept", _TRIAL)
    end_run_m: float = number(5.0, "m", (3.0, 10.0), "free ground that gives level and slope of an end", _TRIAL)
    cautious_radius_m: float = number(16.0, "m", (8.0, 30.0), "fit radius of the cautious surface", _TRIAL)
    hump_m: float = number(44.0, "m", (20.0, 90.0), "humps in a bed shorter than this are road fill", _TRIAL)
    bump_m: float = number(15.0, "m", (3.0, 44.0), "bumps in a faint ditch shorter than this fell into it ...", _TRIAL)
    bump_high_m: float = number(0.4, "m", (0.0, 1.0), "... where no higher: silt, stubble, noise", _TRIAL)
    bump_cell_m: float = number(4.0, "m", (0.0, 20.0), "in cells no wider than this", _TRIAL)
    bed_across_m: float = number(4.0, "m", (1.0, 6.0), "the bed is the lowest ground this near the line", _TRIAL)
    road_pad_m: float = number(1.0, "m", (0.0, 3.0), "added to a road's own width when its fill is taken off", _TRIAL)
