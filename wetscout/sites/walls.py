"""Shores that only a narrow, straight bank holds: field lanes and headlands too low to be listed as fill."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from wetscout.kernels.pool_window import count_beside
from wetscout.kernels.shore import reached_across
from wetscout.records import BOOL, F32, U8
from wetscout.settings.sites import SiteSettings

# lower ground is looked for this far behind the shore, and lies so far below the pool [m]
BEHIND_M = 12.0
BELOW_M = 0.05
# lower ground narrower than this is a channel [m]
CHANNEL_M = 20.0
# the foot of a bank stands out less than its crest [m]
FOOT_M = 2.0
# a shore runs straight within a band of this width, and of so many cells; directions are tried so far apart
BAND_M, BAND_CELLS = 2.0, 1.5
ANGLES = np.radians(np.arange(0.0, 180.0, 3.0))
NEIGHBOURS = np.ones((3, 3), dtype=bool)


def straight_wall(natural: F32, corridor: U8, pool: BOOL, spill_m: float, cell_m: float, s: SiteSettings) -> float:
    """Longest straight piece of shore that a narrow bank holds, with lower ground behind it.

    The rim of a natural basin bends round it: on 1021 right finds such pieces reached 40 m, and once 70 m; along
    field lanes 44 to 120 m (invented ground).

    Parameters
    ----------
    natural : float32 (h, w)
        Natural ground [m].
    corridor : uint8 (h, w)
        Cells of ditches, spoil and listed fill, which are looked at elsewhere.
    pool : bool (h, w)
        Cells under water.
    spill_m, cell_m : float
        Level of the pool, cell size [m].
    s : SiteSettings
        `wall_m`, `wall_wide_m`, `wall_high_m`.

    Returns
    -------
    float
        [m]; 0 where fewer than `wall_m` of shore have lower ground so near.

    Notes
    -----
    A bank is narrow where an opening (erosion, then dilation: Matheron 1975) by a disk of `wall_wide_m` takes
    `wall_high_m` or more off it; a plane slope keeps its height.
    """
    open_ground = ~pool & (corridor == 0)
    lower = open_ground & (natural < spill_m - BELOW_M)
    least, steps = s.wall_m / cell_m, round(BEHIND_M / cell_m)
    near = reached_across(lower, open_ground & ~lower, steps)
    if count_beside(pool, near) < least:
        return 0.0
    narrow = open_ground & _narrow(natural, near, cell_m, s)
    # a channel is no ground behind a bank: what stands beside a stream is its levee
    lower = _wide(lower & ~narrow, 0.5 * CHANNEL_M / cell_m) & ~narrow
    held = pool & ndimage.binary_dilation(reached_across(lower, narrow, steps), NEIGHBOURS)
    return _straight(held, cell_m) if np.count_nonzero(held) >= least else 0.0


def _narrow(natural: F32, near: BOOL, cell_m: float, s: SiteSettings) -> BOOL:
    """Cells of narrow banks and of their feet, around some cells only."""
    k = max(3, round(s.wall_wide_m / cell_m) | 1)
    at = np.arange(k) - k // 2
    disk = at[:, None] ** 2 + at**2 <= (k / 2.0) ** 2
    foot = max(1, round(FOOT_M / cell_m))
    # ground that is not known narrows nothing
    known = np.where(np.isnan(natural), np.float32(np.inf), natural)
    out = np.zeros(natural.shape, dtype=np.bool_)
    labels, _ = ndimage.label(near, NEIGHBOURS)
    for rows, cols in ndimage.find_objects(labels):
        box = tuple(slice(max(0, x.start - 2 * k), x.stop + 2 * k) for x in (rows, cols))
        with np.errstate(invalid="ignore"):
            bank = natural[box] - ndimage.grey_opening(known[box], footprint=disk) >= s.wall_high_m
        out[box] |= ndimage.binary_dilation(bank, iterations=foot)
    return out


def _wide(cells: BOOL, radius: float) -> BOOL:
    """Cells that a disk of this radius [cells] covers without reaching others."""
    core: BOOL = ndimage.distance_transform_edt(cells) > radius
    if not core.any():
        return core
    wide: BOOL = ndimage.distance_transform_edt(~core) <= radius
    return wide


def _straight(cells: BOOL, cell_m: float) -> float:
    """Length of the straightest run of cells: those of one narrow band, every step along it counted once [m]."""
    at = np.argwhere(cells) * cell_m
    band, best = max(BAND_M, BAND_CELLS * cell_m), 0
    for angle in ANGLES:
        off = at @ np.array([np.cos(angle), np.sin(angle)]) / band
        along = np.floor(at @ np.array([-np.sin(angle), np.cos(angle)]) / cell_m)
        for shift in (0.0, 0.5):
            number = np.floor(off + shift).astype(np.int64)
            number -= number.min()
            best = max(best, np.unique(along[number == np.bincount(number).argmax()]).size)
    return best * cell_m


__all__ = ["straight_wall"]
