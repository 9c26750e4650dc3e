"""Stations in and beside pools in plain numpy: the slow versions of `kernels.open_ways`."""

from __future__ import annotations

import numpy as np


def inside(mask, row0, col0, row, col):
    """Places on set cells of a window."""
    r, c = (np.floor(v + 0.5).astype(np.int64) - o for v, o in ((row, row0), (col, col0)))
    ok = (r >= 0) & (c >= 0) & (r < mask.shape[0]) & (c < mask.shape[1])
    out = np.zeros(row.shape, dtype=np.bool_)
    out[ok] = mask[r[ok], c[ok]]
    return out


def last_inside(mask, row0, col0, row, col):
    """The last of them."""
    found = np.flatnonzero(inside(mask, row0, col0, row, col))
    return int(found[-1]) if found.size else -1


def parted(mask, row0, col0, stations):
    """Stations on set cells, and the others."""
    here = inside(mask, row0, col0, stations[0], stations[1])
    return stations[:, here], stations[:, ~here]


def shown_at(shown, row, col):
    """Values at the nearest cells."""
    r = np.clip(np.floor(row + 0.5).astype(np.int64), 0, shown.shape[0] - 1)
    c = np.clip(np.floor(col + 0.5).astype(np.int64), 0, shown.shape[1] - 1)
    return shown[r, c].astype(np.float64)


def full_depth(shown, row, col, share):
    """First and last place of a share of the median depth."""
    deep = shown_at(shown, row, col)
    full = np.flatnonzero(deep >= share * np.median(deep))
    return (int(full[0]), int(full[-1])) if full.size else (0, -1)


def meeting(boxes, row0, row1, col0, col1):
    """Boxes that meet a window."""
    rows = (boxes[:, 1] >= row0) & (boxes[:, 0] <= row1)
    return np.flatnonzero(rows & (boxes[:, 3] >= col0) & (boxes[:, 2] <= col1))


def passes(rows, cols, first, last, corridor, bit, discs):
    """Whether part of a way lies on set cells, or near to a place."""
    rows, cols = rows[first:last], cols[first:last]
    near = (np.hypot(rows - r, cols - c) <= far for r, c, far in discs)
    return bool(((corridor[rows, cols] & bit) > 0).any() or any(one.any() for one in near))


def near_window(places, row0, col0, rows, cols, margin, closed):
    """Places in and beside a window."""
    at, far = places - (row0, col0), np.array((rows, cols)) + margin
    near = (at >= -margin) & (at <= far) if closed else (at > -margin) & (at < far)
    return np.flatnonzero(near.all(axis=1))
