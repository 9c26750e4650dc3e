"""How steep the sides of a pool are halfway down."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled


@compiled
def band_slopes(ground, free, low, high, cell_m):
    """Slopes of the cells that stand between two levels.

    Parameters
    ----------
    ground : float32 (h, w)
        [m]; NaN where unknown.
    free : bool (h, w)
        Cells that count.
    low, high : float
        [m], both left out.
    cell_m : float
        Cell size [m].

    Returns
    -------
    float64 (n,)
        Steepest slope by central differences [m/m], row by row; cells at the border or beside unknown ground are left
        out.
    """
    rows, cols = ground.shape
    out = np.empty(rows * cols)
    n = 0
    for r in range(1, rows - 1):
        for c in range(1, cols - 1):
            z = np.float64(ground[r, c])
            if not free[r, c] or not (low < z < high):
                continue
            d_row = (np.float64(ground[r + 1, c]) - np.float64(ground[r - 1, c])) / (2.0 * cell_m)
            d_col = (np.float64(ground[r, c + 1]) - np.float64(ground[r, c - 1])) / (2.0 * cell_m)
            slope = np.sqrt(d_row * d_row + d_col * d_col)
            if slope == slope:
                out[n] = slope
                n += 1
    return out[:n].copy()


def sides(ground, free, high_m, cell_m, levels=None):
    """Slope of a pool's sides halfway down, and how much of it they are.

    A bowl has half of its cells between a quarter and three quarters of its depth, whatever its size; a dug pit with a
    flat floor and steep sides has few there (a cone and a paraboloid: 1/2, plain geometry). The floor is the level
    under which a twentieth lies: what is left of a ditch beside its corridor is no floor.

    Parameters
    ----------
    ground : float32 (h, w)
        Ground around the pool, calmed [m].
    free : bool (h, w)
        The pool but for ditches and fill.
    high_m : float
        Spill level [m].
    cell_m : float
        Cell size [m].
    levels : float32 (n,), optional
        `ground[free]`, where it is at hand.

    Returns
    -------
    slope, share, depth : float
        Median slope [m/m], 0 without such cells; share of the cells; spill level over that floor [m].
    """
    levels = ground[free] if levels is None else levels
    levels = levels[np.isfinite(levels)]
    if levels.size == 0:
        return 0.0, 0.0, 0.0
    k = int(0.05 * levels.size)
    low_m = float(np.partition(levels, k)[k])
    depth = high_m - low_m
    slopes = band_slopes(ground, free, low_m + 0.25 * depth, low_m + 0.75 * depth, cell_m)
    if slopes.size == 0:
        return 0.0, 0.0, depth
    # numpy's median for a few values takes five times as long as what it does
    half = (slopes.size - 1) // 2, slopes.size // 2
    slopes.partition(half)
    return float(0.5 * (slopes[half[0]] + slopes[half[1]])), slopes.size / levels.size, depth
