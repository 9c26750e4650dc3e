"""Tunable numbers of `sites.setting`: what the ground around a site looks like."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._value import number

_TRIAL = "own trials on Dutch lidar of farmland and woods and on invented till plains, 2026"


@dataclass(frozen=True)
class SurroundingSettings:
    """When the ground around a basin is rough or full of faint lines, as in woods, yards and built-up places."""

    ring_from_m: float = number(
        15.0, "m", (0.0, 100.0), "ground nearer to the shore is the basin's own flank and not looked at", _TRIAL
    )
    ring_to_m: float = number(60.0, "m", (10.0, 300.0), "ground this far around a pool is looked at", _TRIAL)
    step_m: float = number(5.0, "m", (1.0, 20.0), "step of the roughness: bumps of about this length count", _TRIAL)
    sample_m: float = number(
        8.0, "m", (1.0, 100.0), "the roughness of the whole raster is read from one cell in so many", _TRIAL
    )
    rough: float = number(
        2.6, "-", (1.0, 20.0), "rough: so many times the raster's lower quartile, in the pool and around it", _TRIAL
    )
    landform: float = number(
        3.5,
        "-",
        (1.0, 8.0),
        "roughness around growing so many times at twice the step is landform; broken ground gives 2, a form 8",
        _TRIAL,
    )
    rough_lines_m_ha: float = number(
        75.0, "m/ha", (0.0, 1000.0), "and so many metres of faint line a hectare: woods or yards", _TRIAL
    )
    uneven: float = number(1.85, "-", (1.0, 20.0), "the same for ground that is full of faint lines", _TRIAL)
    crowded_m_ha: float = number(
        150.0, "m/ha", (0.0, 1000.0), "faint lines a hectare of ground that is full of them", _TRIAL
    )
