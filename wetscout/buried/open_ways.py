"""Hollows an open ditch or a culvert drains or drained before it was plugged, and parts of one that a road divides."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import ndimage

from wetscout.buried.hollows import Hollow
from wetscout.records import BOOL, F32, F64, FILL, Crossing, Ditch, Linework, Surfaces, Tree
from wetscout.settings.buried import BuriedSettings


def _on(mask: BOOL, origin: tuple[int, int], row: np.ndarray, col: np.ndarray) -> BOOL:
    r = np.floor(row + 0.5).astype(np.int64) - origin[0]
    c = np.floor(col + 0.5).astype(np.int64) - origin[1]
    ok = (r >= 0) & (c >= 0) & (r < mask.shape[0]) & (c < mask.shape[1])
    out: BOOL = np.zeros(row.shape, dtype=np.bool_)
    out[ok] = mask[r[ok], c[ok]]
    return out


def _leaves(ditch: Ditch, hollow: Hollow, cell_m: float, s: BuriedSettings) -> bool:
    """Whether a listed ditch runs out of the pool, its bed there below the floor or little above it."""
    if not ditch.sure:
        return False
    inside = _on(hollow.pool.mask, (hollow.pool.row0, hollow.pool.col0), ditch.row, ditch.col)
    if not inside.any():
        return False
    last = int(np.flatnonzero(inside)[-1])
    beyond = float(np.hypot(np.diff(ditch.row[last:]), np.diff(ditch.col[last:])).sum()) * cell_m
    least = hollow.floor_m + s.open_share * (hollow.spill_m - hollow.floor_m)
    bed = ditch.bed_m[last : last + max(2, round(s.open_beyond_m / cell_m))]
    bed = bed[np.isfinite(bed)]
    return beyond >= s.open_beyond_m and bed.size > 0 and float(bed.max()) <= least


class OpenWays:
    """Tells which hollows an open ditch leaves, or a culvert leads out of beneath road fill.

    Parameters
    ----------
    lines : Linework
    surfaces : Surfaces
    shown : float32 (rows, cols)
        How deep cuts show in the ground, as `cut_depth` tells [m].
    cell_m : float
        Cell size [m].
    s : BuriedSettings
    """

    def __init__(self, lines: Linework, surfaces: Surfaces, shown: F32, cell_m: float, s: BuriedSettings) -> None:
        self.lines = lines
        self.shown = shown
        self.surfaces = surfaces
        self.cell_m = cell_m
        self.s = s
        # windows of all lines: a county has thousands, a hollow meets a handful
        self.ditch_boxes = _boxes([(d.row, d.col) for d in lines.ditches])
        self.crossing_boxes = _boxes([(c.row, c.col) for c in lines.crossings])

    def drain(self, hollow: Hollow) -> bool:
        """Whether a hollow is drained openly.

        Parameters
        ----------
        hollow : Hollow

        Returns
        -------
        bool
        """
        s = self.s
        reach = max(1, round(s.near_road_m / self.cell_m))
        near = _meeting(self.ditch_boxes, hollow, reach)
        if any(_leaves(self.lines.ditches[k], hollow, self.cell_m, s) for k in near):
            return True
        crossings = [self.lines.crossings[k] for k in _meeting(self.crossing_boxes, hollow, reach)]
        if not crossings:
            return False
        grown = ndimage.binary_dilation(np.pad(hollow.pool.mask, reach), iterations=reach)
        origin = hollow.pool.row0 - reach, hollow.pool.col0 - reach
        least = hollow.floor_m + s.open_share * (hollow.spill_m - hollow.floor_m)
        return any(self._leads_out(crossing, grown, origin, least) for crossing in crossings)

    def plugged(self, hollow: Hollow) -> bool:
        """Whether a ditch was dug in a hollow and goes on outside, no higher: an open drain that was plugged.

        Over a covered pipe no ditch shows in the hollow. One that comes from upstream and ends there stands higher
        outside.

        Parameters
        ----------
        hollow : Hollow

        Returns
        -------
        bool
        """
        s = self.s
        reach = max(1, round(s.plug_most_m / self.cell_m))
        parts = [self._dug(self.lines.ditches[k], hollow) for k in _meeting(self.ditch_boxes, hollow, reach)]
        inner = [p[0] for p in parts if p[0].shape[1] * self.cell_m >= s.dug_run_m]
        outer = [p[1] for p in parts if p[1].size]
        if not inner or not outer:
            return False
        beyond = np.concatenate(outer, axis=1)
        for row, col, bed in inner:
            far = np.hypot(row[:, None] - beyond[0], col[:, None] - beyond[1]).min(axis=0)
            lower = beyond[2] <= float(np.median(bed))
            if bool((lower & (far <= reach)).any()):
                return True
        return False

    def _dug(self, ditch: Ditch, hollow: Hollow) -> tuple[F64, F64]:
        """Stations where a ditch shows, (3, n) of row, column and bed: those in the hollow and those outside."""
        if ditch.kind == "natural stream":
            return np.empty((3, 0)), np.empty((3, 0))
        rows, cols = self.shown.shape
        r = np.clip(np.floor(ditch.row + 0.5).astype(np.int64), 0, rows - 1)
        c = np.clip(np.floor(ditch.col + 0.5).astype(np.int64), 0, cols - 1)
        seen = (self.shown[r, c] >= self.s.dug_m) & np.isfinite(ditch.bed_m)
        inside = _on(hollow.pool.mask, (hollow.pool.row0, hollow.pool.col0), ditch.row, ditch.col)
        all_ = np.stack([ditch.row, ditch.col, ditch.bed_m])
        return all_[:, seen & inside], all_[:, seen & ~inside]

    def _leads_out(self, crossing: Crossing, grown: BOOL, origin: tuple[int, int], least_m: float) -> bool:
        ends = _on(grown, origin, crossing.row, crossing.col)
        if not ends.any() or ends.all() or float(crossing.level_m.max()) > least_m:
            return False
        # beneath a road water passes in a culvert; elsewhere what joins two ends may be the covered pipe itself
        rows, cols = self.surfaces.corridor.shape
        part = np.linspace(0.0, 1.0, 9)
        r = np.rint(crossing.row[0] + part * (crossing.row[1] - crossing.row[0])).astype(int).clip(0, rows - 1)
        c = np.rint(crossing.col[0] + part * (crossing.col[1] - crossing.col[0])).astype(int).clip(0, cols - 1)
        return bool(crossing.given or ((self.surfaces.corridor[r, c] & FILL) > 0).any())


def _boxes(lines: Sequence[tuple[F64, F64]]) -> F64:
    """First and last row and column of each line, (n, 4)."""
    found = [(r.min(), r.max(), c.min(), c.max()) for r, c in lines]
    return np.array(found, dtype=np.float64).reshape(-1, 4)


def _meeting(boxes: F64, hollow: Hollow, reach: int) -> list[int]:
    """Numbers of the windows that come within `reach` cells of a pool's."""
    h, w = hollow.pool.mask.shape
    r0, c0 = hollow.pool.row0 - reach, hollow.pool.col0 - reach
    r1, c1 = hollow.pool.row0 + h + reach, hollow.pool.col0 + w + reach
    ok = (boxes[:, 1] >= r0) & (boxes[:, 0] <= r1) & (boxes[:, 3] >= c0) & (boxes[:, 2] <= c1)
    return [int(k) for k in np.flatnonzero(ok)]


def one_a_basin(hollows: Sequence[Hollow], natural: Tree, s: BuriedSettings) -> tuple[Hollow, ...]:
    """Of hollows that are one natural basin, divided by a road, the largest.

    Parameters
    ----------
    hollows : sequence of Hollow
    natural : Tree
        Of the natural surface.
    s : BuriedSettings

    Returns
    -------
    tuple of Hollow
        In the order given.
    """
    parent = natural.table["parent"].to_numpy(dtype=np.int64)
    spill = natural.table["spill_m"].to_numpy(dtype=np.float64)
    best: dict[int, Hollow] = {}
    alone: list[Hollow] = []
    for hollow in hollows:
        at = int(natural.labels[hollow.floor_at])
        while at >= 0 and spill[at] < hollow.spill_m - s.held_drop_m:
            at = int(parent[at])
        if at < 0:
            alone.append(hollow)
        elif at not in best or hollow.area_m2 > best[at].area_m2:
            best[at] = hollow
    kept = {h.node for h in (*best.values(), *alone)}
    return tuple(h for h in hollows if h.node in kept)
