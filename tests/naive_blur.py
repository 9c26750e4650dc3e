"""Slow, obvious twins of `wetscout.kernels.blur`; the Gauss filter has scipy's instead."""

from __future__ import annotations

import numpy as np
from scipy import ndimage


def box_count(mask, half):
    """Square by square."""
    padded = np.pad(mask.astype(np.int32), half)
    squares = np.lib.stride_tricks.sliding_window_view(padded, (2 * half + 1, 2 * half + 1))
    return squares.sum(axis=(2, 3))


def bends(z):
    """The array against itself, shifted both ways."""
    out = np.full(z.shape, np.nan, dtype=np.float32)
    if min(z.shape) < 3:
        return out
    rows, cols = z.shape
    most = np.zeros((rows - 2, cols - 2), dtype=np.float32)
    for (r0, c0), (r1, c1) in (((0, 1), (2, 1)), ((1, 0), (1, 2)), ((0, 0), (2, 2)), ((0, 2), (2, 0))):
        one, other = z[r0 : r0 + rows - 2, c0 : c0 + cols - 2], z[r1 : r1 + rows - 2, c1 : c1 + cols - 2]
        most = np.maximum(most, np.abs(one + other - 2.0 * z[1:-1, 1:-1]))
    out[1:-1, 1:-1] = most
    return out


def count_steps(values, skip, step, bins):
    """A histogram of what is known."""
    known = values[np.isfinite(values) & ~skip]
    return np.bincount(np.minimum((known / step).astype(np.int64), bins - 1), minlength=bins)


def above_opening(ground, half, least):
    """Grey opening by scipy's two filters, unknown ground left out, and where it takes away `least` or more."""
    known, size = np.isfinite(ground), 2 * half + 1
    low = ndimage.minimum_filter(np.where(known, ground, np.inf), size, mode="constant", cval=np.inf)
    low = np.where(np.isfinite(low), low, -np.inf)
    opened = ndimage.maximum_filter(low, size, mode="constant", cval=-np.inf).astype(np.float32)
    told = known & np.isfinite(opened)
    return opened, told & (np.where(told, ground, 0.0) - np.where(told, opened, 0.0) >= least)
