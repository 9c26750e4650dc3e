"""A ditch bed and its humps, to the bit what the numpy expressions in `tests/naive_corridor.py` give."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled
from wetscout.kernels.corridor import across
from wetscout.kernels.sections import sections

# levels beyond this are none: what stands for a closed or an open end, and ground that is not known [m]
NONE_M = 1e8
_END_M = 1e9


@compiled
def _filtered(values, window, sign):
    """Least (sign 1) or greatest (-1) of a window of values (n,) around each; the first and the last go on."""
    n = values.size
    out = np.empty(n)
    for i in range(n):
        best = np.inf
        for k in range(i - window // 2, i - window // 2 + window):
            best = min(best, sign * values[min(max(k, 0), n - 1)])
        out[i] = sign * best
    return out


@compiled
def open_humps(bed, window, first_open, last_open):
    """Take humps shorter than a window of stations off a bed (n,) [m]; at an end only where that is open."""
    n = bed.size
    padded = np.empty(n + 2 * window)
    for i in range(window):
        padded[i] = -_END_M if first_open else _END_M
        padded[window + n + i] = -_END_M if last_open else _END_M
    for i in range(n):
        padded[window + i] = bed[i]
    low = _filtered(padded, window, 1.0)
    for i in range(low.size):
        if low[i] > NONE_M or low[i] < -NONE_M:
            low[i] = -_END_M
    high = _filtered(low, window, -1.0)
    opened = np.empty(n)
    for i in range(n):
        opened[i] = bed[i] if high[window + i] < -NONE_M else min(bed[i], high[window + i])
    return opened


@compiled
def bed_of(z, on_fill, row, col, reach, half, step):
    """The lowest ground beside each station of a line.

    Parameters
    ----------
    z : float32 (rows, cols)
        The DEM [m].
    on_fill : bool (rows, cols)
        Near road fill.
    row, col : float64 (n,)
        Stations [cells].
    reach, half : int
        Stations that give the direction, samples on each side.
    step : float
        Distance of samples [cells].

    Returns
    -------
    bed, low_row, low_col : float64 (n,)
        Its level [m] and where it lies [cells].
    fill : bool (n,)
        Whether the station stands near road fill.
    known : bool
        Whether any level is.
    """
    n = row.size
    a_row, a_col = across(row, col, reach)
    section = sections(z, row, col, a_row, a_col, half, step)
    bed, low_row, low_col = np.empty(n), np.empty(n), np.empty(n)
    fill = np.empty(n, np.bool_)
    known = False
    for i in range(n):
        at, low = 0, np.inf
        for k in range(2 * half + 1):
            if section[i, k] < low:
                at, low = k, section[i, k]
        bed[i] = low
        known |= low < np.inf
        low_row[i], low_col[i] = row[i] + a_row[i] * ((at - half) * step), col[i] + a_col[i] * ((at - half) * step)
        r, c = int(np.rint(row[i])), int(np.rint(col[i]))
        fill[i] = on_fill[min(max(r, 0), z.shape[0] - 1), min(max(c, 0), z.shape[1] - 1)]
    return bed, low_row, low_col, fill, known
