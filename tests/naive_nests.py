"""Slow, obvious twins of `wetscout.kernels.nests`."""

from __future__ import annotations

import numpy as np


def _mine(view, begin, end, only_free, above):
    order, level, free = view
    return (order >= begin) & (order < end) & (free | (not only_free)) & (level.astype(float) > above)


def narrowed(view, begin, end):
    """Those of its places."""
    mine = (view[0] >= begin) & (view[0] < end)
    return tuple(part[mine] for part in view)


def level_at(view, begin, end, only_free, above, k):
    """Sorted anew."""
    levels = np.sort(view[1][_mine(view, begin, end, only_free, above)])
    return levels[k] if k < levels.size else np.float32(np.inf)


def lowest(view, begin, end, only_free, above, limit):
    """All that is low enough, as it stands in the view."""
    mine = _mine(view, begin, end, only_free, above) & (view[1].astype(float) <= limit)
    return view[0][mine], view[1][mine]


def levels_over(grounds, free, only_free, above, limit):
    """Both surfaces where the first is low enough."""
    height = grounds[0].astype(float)
    mine = (free | (not only_free)) & (height > above) & (height <= limit)
    return grounds[1][mine], grounds[2][mine]


def share_held(grounds, free, only_free, above, spill):
    """Water that stands on it over water that could."""
    height, today = (part.astype(float) for part in grounds)
    mine = (free | (not only_free)) & (height > above)
    held = np.maximum(np.minimum(today, spill) - height, 0.0)
    return held[mine].sum() / max((spill - height)[mine].sum(), 1e-9)
