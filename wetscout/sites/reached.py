"""Which site the water from above comes to: its pool where that is joined to its floor, or a plug at its shore."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from wetscout.records import BOOL, F32, F64, Patch, Site

# The shore is known to so much [m]: a ditch along it may lie in the pool or beside it.
SHORE_M = 3.0
# A way that comes so near to a plug crosses it [m]; so many times the way needed in a pool must run along its shore.
CROSSES_M, ALONG = 1.0, 3
# A plug farther from the pool may stand below the place where another ditch joins [m].
BESIDE_M = 8.0
# Water stands so much deeper than the ground that parts it [m].
OVER_M = 0.02
# A part of the pool belongs to it with such a share of its cells.
SHARE = 0.1

I64 = NDArray[np.int64]


class Reached:
    """Sites on the raster, asked which of them a way of water comes to.

    A ditch along a pool or across its margin, between banks of its own, brings no water into it; one that grazes it
    where a plug stands is dammed by that plug.

    Parameters
    ----------
    sites : sequence of Site
    filled_today : float32 (rows, cols)
        Today's surface, depressions raised to their spill levels [m].
    cell_m : float
        [m].
    enter_m : float
        A way must run so far on ground of a site [m].
    """

    def __init__(self, sites: Sequence[Site], filled_today: F32, cell_m: float, enter_m: float) -> None:
        self.sites, self.filled, self.cell_m = sites, filled_today, cell_m
        self.least = max(1, round(enter_m / cell_m))
        self.gap = round(BESIDE_M / cell_m)
        pools = [(site.pool.row0, site.pool.col0, *site.pool.mask.shape) for site in sites]
        boxes = np.array([(r, c, r + h, c + w) for r, c, h, w in pools], dtype=np.int64).reshape(-1, 4)
        self.boxes = boxes + np.array([-1, -1, 1, 1]) * self.gap
        self._ground: dict[int, tuple[Patch, Patch, Patch]] = {}

    def first(self, way: tuple[I64, I64], own: int) -> tuple[int, int] | None:
        """The first other site that a way comes to.

        Parameters
        ----------
        way : (int64 (n,), int64 (n,))
            Rows and columns, downhill.
        own : int
            Number of the site left out, -1 for none.

        Returns
        -------
        (number of the site, step of the way at which it enters) or None
        """
        rows, cols = way
        best: tuple[int, int] | None = None
        touched = (self.boxes[:, 0] <= rows.max()) & (self.boxes[:, 2] > rows.min())
        touched &= (self.boxes[:, 1] <= cols.max()) & (self.boxes[:, 3] > cols.min())
        for k in np.flatnonzero(touched).tolist():
            if k == own:
                continue
            at = self._met(k, rows, cols)
            if at.size >= self.least and (best is None or at[0] < best[1]):
                best = k, int(at[0])
        return best

    def _met(self, k: int, rows: I64, cols: I64) -> I64:
        """Steps of a way on the ground of a site."""
        box = self.boxes[k]
        near = np.flatnonzero((rows >= box[0]) & (rows < box[2]) & (cols >= box[1]) & (cols < box[3]))
        if near.size < self.least:
            return near[:0]
        pool, shore, beside = self._of(k)
        at = near[inside(pool, rows[near], cols[near])]
        if at.size >= self.least:
            return at
        off = self._off_plugs(k, rows[near], cols[near])
        off[~inside(beside, rows[near], cols[near])] = np.inf
        if off.min() <= CROSSES_M:
            # dammed by a plug
            return np.repeat(near[off.argmin()], self.least)
        along = near[inside(shore, rows[near], cols[near])]
        return along if along.size >= ALONG * self.least and off.min() <= SHORE_M else at

    def _of(self, k: int) -> tuple[Patch, Patch, Patch]:
        """Ground joined to the floor of a site, in its pool and with the shore around it; all ground near its pool."""
        if k not in self._ground:
            site, gap = self.sites[k], self.gap
            pool = np.pad(site.pool.mask, gap)
            away = ndimage.distance_transform_edt(~pool) * self.cell_m
            low = self._low(k, away.shape) & ~self._walls(k, away.shape)
            masks = self._joined(k, pool & low), self._joined(k, low & (away <= SHORE_M)), away <= BESIDE_M
            corner = site.pool.row0 - gap, site.pool.col0 - gap
            self._ground[k] = Patch(*corner, masks[0]), Patch(*corner, masks[1]), Patch(*corner, masks[2])
        return self._ground[k]

    def _low(self, k: int, shape: tuple[int, int]) -> BOOL:
        """Cells of the window around a pool that lie below its spill level."""
        site, (rows, cols) = self.sites[k], self.filled.shape
        r0, c0 = site.pool.row0 - self.gap, site.pool.col0 - self.gap
        low = np.zeros(shape, dtype=np.bool_)
        r, c = slice(max(0, -r0), rows - r0), slice(max(0, -c0), cols - c0)
        ground = self.filled[max(0, r0) : r0 + shape[0], max(0, c0) : c0 + shape[1]]
        low[r, c] = ground < float(site.values["spill_m"]) - OVER_M
        return low

    def _walls(self, k: int, shape: tuple[int, int]) -> BOOL:
        """Cells of the window around a pool on which its plugs stand: what lies behind is not joined to the floor."""
        box, walls = self.boxes[k], np.zeros(shape, dtype=np.bool_)
        for row, col in self._plug_points(k):
            r, c = np.rint(row - box[0]).astype(np.int64), np.rint(col - box[1]).astype(np.int64)
            ok = (r >= 0) & (c >= 0) & (r < shape[0]) & (c < shape[1])
            walls[r[ok], c[ok]] = True
        # a cell to each side, or water slips between cells
        return np.asarray(ndimage.binary_dilation(walls), dtype=np.bool_)

    def _joined(self, k: int, low: BOOL) -> BOOL:
        """Parts of it that hold the floor or a good share of it."""
        site = self.sites[k]
        row = int(site.values["_floor_row"]) - site.pool.row0 + self.gap
        col = int(site.values["_floor_col"]) - site.pool.col0 + self.gap
        return joined(low, (row, col))

    def _off_plugs(self, k: int, rows: I64, cols: I64) -> F64:
        """How far cells are from the nearest plug of a site [m]."""
        off: F64 = np.full(rows.size, np.inf)
        for row, col in self._plug_points(k):
            off = np.minimum(off, np.hypot(row[:, None] - rows[None, :], col[:, None] - cols[None, :]).min(axis=0))
        return off * self.cell_m

    def _plug_points(self, k: int) -> list[tuple[F64, F64]]:
        """Places half a cell apart along each plug of a site."""
        out = []
        for plug in self.sites[k].plugs:
            if plug.row.size:
                far = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(plug.row), np.diff(plug.col)))])
                at = np.linspace(0.0, far[-1], int(2.0 * far[-1]) + 2)
                out.append((np.interp(at, far, plug.row), np.interp(at, far, plug.col)))
        return out


def joined(low: BOOL, floor: tuple[int, int]) -> BOOL:
    """Connected parts of low ground that hold the floor of a pool, or a good share of all of it.

    Parameters
    ----------
    low : bool (rows, cols)
        Ground below the spill level.
    floor : (row, col)

    Returns
    -------
    bool (rows, cols)
    """
    parts, _ = ndimage.label(low, np.ones((3, 3), dtype=np.int8))
    kept = np.bincount(parts.ravel()) >= SHARE * np.count_nonzero(low)
    row, col = floor
    if 0 <= row < low.shape[0] and 0 <= col < low.shape[1]:
        kept[parts[row, col]] = True
    kept[0] = False
    return np.asarray(kept[parts], dtype=np.bool_)


def inside(pool: Patch, rows: I64, cols: I64) -> NDArray[np.bool_]:
    """Which cells lie in a pool.

    Parameters
    ----------
    pool : Patch
    rows, cols : int64 (n,)

    Returns
    -------
    bool (n,)
    """
    r, c = rows - pool.row0, cols - pool.col0
    h, w = pool.mask.shape
    ok: NDArray[np.bool_] = (r >= 0) & (c >= 0) & (r < h) & (c < w)
    ok[ok] = pool.mask[r[ok], c[ok]]
    return ok
