"""How much of a shore runs straight: banks, ditches and edges of levelled fields do, natural hollows not for long."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from wetscout.records import BOOL

# a shore is straight while it stays within this width [m]; directions are tried every degree: 1.7 m in 200
_WIDTH_M = 3.0
_TURNS = np.radians(np.arange(0.0, 180.0))


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
    whole = ndimage.binary_fill_holes(np.pad(mask, 1))
    rows, cols = np.nonzero(whole & ~ndimage.binary_erosion(whole))
    bin_m = max(_WIDTH_M / 3.0, cell_m / 2.0)
    most = 0.0
    for turn in _TURNS:
        at = np.rint((rows * np.cos(turn) + cols * np.sin(turn)) * cell_m / bin_m).astype(np.int64)
        counts = np.convolve(np.bincount(at - at.min()), np.ones(3, dtype=np.int64))
        # cells that touch at corners stand up to 1.4 sizes apart along the line
        most = max(most, float(counts.max()) / max(abs(np.cos(turn)), abs(np.sin(turn))))
    return most * cell_m
