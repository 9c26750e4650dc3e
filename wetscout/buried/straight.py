"""How much of a shore runs straight: banks, ditches and edges of levelled fields do, natural hollows not for long."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from wetscout.records import BOOL

# a shore is straight while it stays within this width [m]; directions are tried every degree: 1.7 m in 200
_WIDTH_M = 3.0
_AT_ONCE = 1 << 17
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
    # what is dry and hangs together with the margin by sides is no island
    dry, _ = ndimage.label(~np.pad(mask, 1))
    whole = dry != dry[0, 0]
    places = np.nonzero(whole & ~ndimage.binary_erosion(whole))
    rows, cols = (k.astype(np.float64) for k in places)
    bin_m = max(_WIDTH_M / 3.0, cell_m / 2.0)
    most = 0.0
    # many turns at once, as far as some megabytes reach
    step = max(1, _AT_ONCE // max(1, rows.size))
    for first in range(0, _TURNS.size, step):
        cos, sin = (f(_TURNS[first : first + step])[:, None] for f in (np.cos, np.sin))
        at = np.rint((rows * cos + cols * sin) * cell_m / bin_m).astype(np.int64)
        at -= at.min(axis=1, keepdims=True)
        wide = max(3, int(at.max()) + 1)
        at += wide * np.arange(cos.size)[:, None]
        counts = np.bincount(at.ravel(), minlength=wide * cos.size).reshape(cos.size, wide)
        three = (counts[:, :-2] + counts[:, 1:-1] + counts[:, 2:]).max(axis=1)
        # cells that touch at corners stand up to 1.4 sizes apart along the line
        most = max(most, float((three / np.maximum(np.abs(cos), np.abs(sin))[:, 0]).max()))
    return most * cell_m
