"""Places of a shore counted across lines of many directions."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(nogil=True, cache=True)
def straightest(rows, cols, turns, cell_m, bin_m):
    """Most places within three bins across a line, over all directions, divided by the larger of |cosine| and |sine|.

    Parameters
    ----------
    rows, cols : float64 (n,)
        Places [cells]; at least one.
    turns : (float64 (m,), float64 (m,))
        Cosine and sine of the directions across.
    cell_m, bin_m : float
        [m].

    Returns
    -------
    float
        Cells that touch at corners stand up to 1.4 sizes apart along a line, hence the division.
    """
    at = np.empty(rows.size, np.int64)
    counts = np.zeros(64, np.int64)
    most = 0.0
    for t in range(turns[0].size):
        cos, sin = turns[0][t], turns[1][t]
        low, high = np.int64(1) << 62, -(np.int64(1) << 62)
        for i in range(rows.size):
            at[i] = np.int64(np.rint((rows[i] * cos + cols[i] * sin) * cell_m / bin_m))
            low = min(low, at[i])
            high = max(high, at[i])
        n = high - low + 1
        if n + 2 > counts.size:
            counts = np.zeros(2 * n + 2, np.int64)
        counts[: n + 2] = 0
        for i in range(rows.size):
            counts[at[i] - low] += 1
        best = 0
        for k in range(n):
            best = max(best, counts[k] + counts[k + 1] + counts[k + 2])
        most = max(most, best / max(abs(cos), abs(sin)))
    return most
