"""Tunable numbers of the room `restore`."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._value import number

_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class RestoreSettings:
    """Size of a plug for a first estimate of earth; a design is made on site by licensed practice."""

    freeboard_m: float = number(0.3, "m", (0.0, 1.0), "plug crest above the spill level", _PRACTICE)
    crest_width_m: float = number(3.0, "m", (1.0, 10.0), "width of the plug crest along the ditch", _PRACTICE)
    face_slope: float = number(3.0, "-", (1.5, 10.0), "run per rise of both plug faces", _PRACTICE)
    across_reach_m: float = number(30.0, "m", (5.0, 60.0), "farthest end of a plug from the ditch", _PRACTICE)
    level_steps: int = number(12, "-", (4, 60), "rows of the stage-area-volume table a site", _PRACTICE)
    many_plugs: int = number(6, "-", (2, 50), "from so many plugs on each must hold some of the pool", _PRACTICE)
    pool_per_plug_m2: float = number(300.0, "m2", (0.0, 5000.0), "so much of it at least", _PRACTICE)
    earth_per_water: float = number(
        5.0, "-", (0.1, 100.0), "sites that need more earth per water held than this are not offered", _PRACTICE
    )
    earth_per_few: float = number(
        1.0, "-", (0.1, 100.0), "the same for pools small or shallow for cells above 1.2 m, or with", _PRACTICE
    )
    channel_across_m: float = number(
        21.0, "m", (5.0, 200.0), "a way out is an old channel where its plug is as wide as this", "own trials, 2026"
    )
    channel_sides: float = number(
        0.12, "-", (0.0, 0.5), "and its sides rise nowhere by more than this over run", "own trials, 2026"
    )
    channel_share: float = number(
        0.3, "-", (0.0, 1.0), "and so much of the pool was taken for dug ground", "own trials, 2026"
    )
    hidden_cut_m: float = number(
        0.25, "m", (0.0, 1.0), "a way out nowhere cut so deep at its plugs is what backfill left over a pipe", _PRACTICE
    )
    hidden_led_m: float = number(
        0.3, "m", (0.0, 1.0), "the same where a pipe under a road was guessed: a ditch shows at its ends", _PRACTICE
    )
    sides_cell_m: float = number(
        1.2, "m", (0.3, 5.0), "both are asked in cells no wider than this: wider ones blunt sides", "own trials, 2026"
    )
    several_plugs: int = number(4, "-", (2, 50), "so many plugs", _PRACTICE)
    tie_m: float = number(
        0.1, "m", (0.0, 1.0), "a plug ends on ground this much above the spill level, so that water can pass", _PRACTICE
    )
    hold_m: float = number(
        0.015, "m", (0.002, 0.2), "plugs are mended until the pool stands within this of its spill level", _PRACTICE
    )
    shift_m: float = number(
        8.0,
        "m",
        (0.0, 20.0),
        "a plug may be shifted along the ditch by so much to where it takes least earth",
        _PRACTICE,
    )
