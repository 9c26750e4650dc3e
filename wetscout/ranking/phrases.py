"""Numbers as they are read out: levels to 0.05 m, areas and earth to two figures."""

from __future__ import annotations

from wetscout.units import round_figures, round_level

# Below a tenth of a hectare square metres read more easily than 0.0x ha.
_SMALL_M2 = 1000.0


def say_number(value: float) -> str:
    """Write a number with two figures and no exponent.

    Parameters
    ----------
    value : float
        Any unit.

    Returns
    -------
    str
        "1200", "41", "1.2", "0.045".
    """
    rounded = round_figures(value, 2)
    if abs(rounded) >= 10.0 or rounded == 0.0:
        return f"{rounded:.0f}"
    return f"{rounded:.2g}" if abs(rounded) >= 1e-4 else f"{rounded:.6f}"


def say_area(area_m2: float) -> str:
    """Write an area.

    Parameters
    ----------
    area_m2 : float
        Area [m2].

    Returns
    -------
    str
        "1.2 ha", or "450 m2" below a tenth of a hectare.
    """
    if area_m2 < _SMALL_M2:
        return f"{say_number(area_m2)} m2"
    return f"{say_number(area_m2 / 10000.0)} ha"


def say_level(level_m: float) -> str:
    """Write a level or a height to the nearest 0.05 m.

    Parameters
    ----------
    level_m : float
        Level [m].

    Returns
    -------
    str
        "101.35 m".
    """
    return f"{round_level(level_m) + 0.0:.2f} m"
