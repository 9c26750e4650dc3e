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


def gather(window, labels, first, top, bits):
    """Sorted by pool, those of one as they lie."""
    mine = (labels >= first) & (labels <= top)
    order = np.argsort(labels[mine], kind="stable")
    natural, one, other, kind = (part[mine][order] for part in window)
    return labels[mine][order], np.flatnonzero(mine)[order], (kind & bits) == 0, natural, one, other


def levels_at(view, begin, end, only_free, ranks, few, least):
    """All sorted anew, and looked up."""
    levels = np.sort(view[1][_mine(view, begin, end, only_free, -np.inf)])
    return levels[ranks] if levels.size > ranks[-1] and levels[ranks[few]] >= least else levels[:0]


def lowest_few(view, begin, end, only_free, most):
    """All sorted anew, and cut off."""
    return np.sort(view[1][_mine(view, begin, end, only_free, -np.inf)])[: most + 1]


def levels_over(grounds, free, span, only_free, above, limit):
    """Both surfaces where the first is low enough."""
    part = slice(*span)
    height, one, other = (ground[part] for ground in grounds[:3])
    mine = (free[part] | (not only_free)) & (height.astype(float) > above) & (height.astype(float) <= limit)
    return one[mine], other[mine]


def majority(values):
    """Counted one by one."""
    for value in np.unique(values[~np.isnan(values)]):
        if not np.isnan(values).any() and 2 * np.count_nonzero(values == value) > values.size:
            return value
    return np.float32(np.nan)


def share_held(grounds, free, only_free, above, spill):
    """Water that stands on it over water that could."""
    height, today = (part.astype(float) for part in grounds)
    mine = (free | (not only_free)) & (height > above)
    held = np.maximum(np.minimum(today, spill) - height, 0.0)
    return held[mine].sum() / max((spill - height)[mine].sum(), 1e-9)
