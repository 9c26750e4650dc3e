"""How much of a shore runs straight: banks, ditches and edges of levelled fields do, natural hollows not for long."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.shore import closed
from wetscout.kernels.straight import four_sides, outer_shore, straightest
from wetscout.records import BOOL

# a shore is straight while it stays within this width [m]; directions are tried every degree: 1.7 m in 200
_WIDTH_M = 3.0
# dry strips up to twice as wide do not count [m]
CLOSE_M = 3.0
_TURNS = tuple(f(np.radians(np.arange(0.0, 180.0))) for f in (np.cos, np.sin))
_QUARTER = _TURNS[0][:90], _TURNS[1][:90]
# lines nearer to each other are one side [m]
_APART_M = 10.0


def straight_shore(mask: BOOL, cell_m: float) -> float:
    """Length of shore that lies on the straight line which holds most of it.

    Parameters
    ----------
    mask : bool (h, w)
        A pool; islands do not count.
    cell_m : float
        Cell size [m].

    Returns
    -------
    float
        Of shore within 3 m across the line [m].
    """
    rows, cols = outer_shore(mask)
    bin_m = max(_WIDTH_M / 3.0, cell_m / 2.0)
    return float(straightest(rows, cols, _TURNS, cell_m, bin_m)) * cell_m


def rectangle_share(mask: BOOL, cell_m: float) -> float:
    """Share of a shore that lies on the four sides of a rectangle: two pairs of lines square to each other.

    Strips of dry ground narrower than 6 m, the checks across a field, are closed first. A field between banks has
    nearly all of its shore there; of a circle of 50 m radius 0.45 lies within 3 m of the four sides around it, of one
    of 28 m (2500 m2) 0.57.

    Parameters
    ----------
    mask : bool (h, w)
        A pool; islands do not count.
    cell_m : float
        Cell size [m].

    Returns
    -------
    float
        0 to 1; for the direction that holds most.
    """
    steps = max(1, round(CLOSE_M / cell_m))
    rows, cols = (part.astype(np.float64) * cell_m for part in outer_shore(closed(mask, steps)))
    bin_m = max(_WIDTH_M / 3.0, cell_m / 2.0)
    best = four_sides(rows, cols, _QUARTER, bin_m, round(_APART_M / bin_m))
    return float(min(1.0, best / max(1, rows.size)))
