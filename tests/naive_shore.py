"""Slow, obvious twins of `wetscout.kernels.shore` and `wetscout.kernels.pool_window`."""

from __future__ import annotations

import numpy as np
from scipy import ndimage


def squared_distance(mask):
    """Each set cell against all cells that are not set."""
    off = np.argwhere(~mask)
    out = np.zeros(mask.shape, dtype=np.int64)
    for r, c in np.argwhere(mask):
        out[r, c] = ((off - (r, c)) ** 2).sum(axis=1).min()
    return out


def shore_steps(mask):
    """The library's distance by rows and columns."""
    return ndimage.distance_transform_cdt(np.pad(mask, 1), "taxicab")[1:-1, 1:-1]


def shore_ring(mask, steps):
    """What erosion with a cross takes away."""
    return mask & ~ndimage.binary_erosion(mask, iterations=steps)


def reached_across(start, strip, steps):
    """Dilate within the strip, with a cross and a square in turn."""
    reached = start
    cross = ndimage.generate_binary_structure(2, 1)
    for step in range(steps):
        structure = np.ones((3, 3), dtype=bool) if step % 2 else cross
        reached = ndimage.binary_dilation(reached, structure=structure, mask=strip) | reached
    return reached & strip


def rises(ground, ring):
    """Differences of padded ground."""
    padded = np.pad(ground, 1, mode="edge")
    r, c = np.nonzero(ring)
    return padded[r + 2, c + 1] - padded[r, c + 1], padded[r + 1, c + 2] - padded[r + 1, c]


def third_differences(ground, rows, cols, steps):
    """One direction after the other, by numpy."""
    wide = np.pad(ground.astype(np.float64), 60, constant_values=np.nan)
    out = []
    for d_row, d_col in steps:
        at = [wide[rows + 60 + m * d_row, cols + 60 + m * d_col] for m in (-1, 0, 1, 2)]
        out.append(np.abs(at[0] - 3.0 * at[1] + 3.0 * at[2] - at[3]))
    middle = np.sort(out, axis=0)
    return np.where(np.isnan(middle[-1]), np.nan, 0.5 * (middle[1] + middle[2]))


def spread_pool(pool, catchment, natural, level, steps):
    """Dilated within the wet ground, holes filled by the library."""
    wet = catchment & (natural < level)
    grown = ndimage.binary_dilation(pool, structure=np.ones((3, 3), dtype=bool), iterations=steps, mask=wet | pool)
    return ndimage.binary_fill_holes(grown) & (grown | (natural < level))


def count_beside(cells, near):
    """By dilation."""
    return int((cells & ndimage.binary_dilation(near, structure=np.ones((3, 3), dtype=bool))).sum())
