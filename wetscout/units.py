"""Units of length, area and volume, and how numbers are printed.

Sources: international foot 0.3048 m exactly (NIST SP 811, 2008, app. B.8); US survey foot 1200/3937 m (same);
acre here 43560 square international feet = 4046.8564224 m2; cubic yard 0.9144**3 m3.
"""

from __future__ import annotations

import math

FOOT_M = 0.3048
US_SURVEY_FOOT_M = 1200.0 / 3937.0
ACRE_M2 = 43560.0 * FOOT_M**2
YARD3_M3 = 0.9144**3
ACRE_FOOT_M3 = ACRE_M2 * FOOT_M

Z_UNITS = {"m": 1.0, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M}


def round_level(level_m: float) -> float:
    """Round a level for print to the nearest 0.05 m, finer than which no screening level is known.

    Parameters
    ----------
    level_m : float
        Level [m].

    Returns
    -------
    float
        Level [m], a multiple of 0.05.
    """
    return round(round(level_m / 0.05) * 0.05, 2)


def round_figures(value: float, figures: int = 2) -> float:
    """Round an area or a volume for print to a number of significant figures.

    Parameters
    ----------
    value : float
        Any finite number, any unit.
    figures : int
        Significant figures to keep.

    Returns
    -------
    float
        The rounded number; 0 stays 0.
    """
    if value == 0 or not math.isfinite(value):
        return value
    return round(value, figures - 1 - math.floor(math.log10(abs(value))))
