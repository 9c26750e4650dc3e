"""Strips of raised ground along rays: roads, banks."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf


@leaf
def _look(ground, row, col):
    """Ground of the nearest cell [m], NaN outside."""
    r, c = int(np.rint(row)), int(np.rint(col))
    if 0 <= r < ground.shape[0] and 0 <= c < ground.shape[1]:
        return np.float64(ground[r, c])
    return np.nan


@compiled
def strip_share(ground, place, ray, far, side, least):
    """Share of the places along a ray at which the ground is a strip; 0 where fewer than five are known.

    Parameters
    ----------
    ground : float32 (rows, cols)
        [m]
    place, ray : (float, float)
        Where the ray begins, row and column [cells]; its unit vector.
    far : float64 (n,)
        Places along it [cells].
    side : float
        Its sides are looked at so far from its middle, and twice as far [cells].
    least : float
        A strip stands so much above both sides, beyond what they fall farther out [m].

    Returns
    -------
    float
        0-1
    """
    d_row, d_col = ray
    level = np.empty(5)
    known, high = 0, 0
    for k in range(far.size):
        row, col = place[0] + far[k] * d_row, place[1] + far[k] * d_col
        all_known = True
        for i in range(5):
            level[i] = _look(ground, row + (i - 2) * side * d_col, col - (i - 2) * side * d_row)
            all_known = all_known and np.isfinite(level[i])
        if not all_known:
            continue
        top = level[2]
        for off in (-1.0, 1.0):
            near = _look(ground, row + off * d_col, col - off * d_row)
            top = near if near > top else top
        known += 1
        left = top - level[1] - (level[1] - level[0])
        right = top - level[3] - (level[3] - level[4])
        high += 1 if min(left, right) >= least else 0
    return high / known if known >= 5 else 0.0


@compiled
def any_strip(ground, place, rays, far, side, least, share):
    """Whether the ground is a strip on at least `share` of one of the rays (n, 2); see `strip_share`."""
    for k in range(rays.shape[0]):
        if strip_share(ground, place, (rays[k, 0], rays[k, 1]), far, side, least) >= share:
            return True
    return False
