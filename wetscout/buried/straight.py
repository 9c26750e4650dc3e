"""How much of a shore runs straight: banks, ditches and edges of levelled fields do, natural hollows not for long."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.straight import outer_shore, straightest
from wetscout.records import BOOL

# a shore is straight while it stays within this width [m]; directions are tried every degree: 1.7 m in 200
_WIDTH_M = 3.0
_TURNS = tuple(f(np.radians(np.arange(0.0, 180.0))) for f in (np.cos, np.sin))


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
