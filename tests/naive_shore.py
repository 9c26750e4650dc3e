"""Slow, obvious twins of `wetscout.kernels.shore`."""

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
