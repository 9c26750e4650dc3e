"""Hollows an open ditch or a culvert drains or drained before it was plugged, and parts of one that a road divides."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import ndimage

from wetscout.buried.heads import Head, road_at
from wetscout.buried.hollows import Hollow
from wetscout.kernels import open_ways as kernel
from wetscout.kernels.along import middle
from wetscout.records import BOOL, F32, F64, FILL, Crossing, Ditch, Linework, Patch, Surfaces, Tree
from wetscout.settings.buried import BuriedSettings

# the upper end of a ditch is looked at over this length; a mound is at least so long along the ditch [m]
_RUN_M, _MOUND_M, _BANK_M = 30.0, 4, 3
# cells wider than this blur a bed, and a line to a faint one: it was dug where it shows so far in a pool [m]
# (on 33 squares with covered drains at 2 and 3 m none is lost by either)
BLUR_CELL_M, _SHOWS_M = 1.2, 15.0
# a bed is read up to 0.14 m too high in cells of 2 m and 0.33 m in cells of 3 m (own trials): for each metre beyond 1 m
_BED_BLUR = 0.165
# how far the way may cross a rim aslant
_ASLANT = np.radians((-45.0, -22.5, 0.0, 22.5, 45.0))


def _on(mask: BOOL, origin: tuple[int, int], row: np.ndarray, col: np.ndarray) -> BOOL:
    """Which places lie on set cells of a window at a corner; in the shape of the places."""
    flat = (np.ascontiguousarray(v, dtype=np.float64).reshape(-1) for v in (row, col))
    out: BOOL = kernel.inside(mask, *origin, *flat).reshape(row.shape)
    return out


def _leaves(ditch: Ditch, hollow: Hollow, cell_m: float, s: BuriedSettings) -> bool:
    """Whether a listed ditch runs out of the pool, its bed there below the floor or little above it."""
    if not ditch.sure:
        return False
    last = kernel.last_inside(hollow.pool.mask, hollow.pool.row0, hollow.pool.col0, ditch.row, ditch.col)
    if last < 0:
        return False
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
    shown, bank : float32, bool (rows, cols)
        How deep cuts show in the ground, as `cut_depth` tells [m]; where banks stand, as `without_banks` tells.
    cell_m : float
        Cell size [m].
    s : BuriedSettings
    """

    def __init__(
        self, lines: Linework, surfaces: Surfaces, at: tuple[F32, BOOL], cell_m: float, s: BuriedSettings
    ) -> None:
        self.lines = lines
        self.shown, self.bank = at
        self.surfaces = surfaces
        self.cell_m = cell_m
        self.s = s
        # windows of all lines: a county has thousands, a hollow meets a handful
        self.ditch_boxes = _boxes([(d.row, d.col) for d in lines.ditches])
        self.crossing_boxes = _boxes([(c.row, c.col) for c in lines.crossings])
        # where each ditch shows, once it was asked for
        self.seen: dict[int, tuple[F64, F64]] = {}

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
        least = hollow.floor_m + s.open_share * (hollow.spill_m - hollow.floor_m)
        return any(self._leads_out(crossing, hollow.pool, reach, least) for crossing in crossings)

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
        near = _meeting(self.ditch_boxes, hollow, reach)
        parts = [self._dug(k, hollow) for k in near]
        if any(self._begins(self.lines.ditches[k], outer, hollow) for k, (_, outer) in zip(near, parts, strict=True)):
            return True
        inner = [
            p[0]
            for k, p in zip(near, parts, strict=True)
            if p[0].shape[1] * self.cell_m >= s.dug_run_m and self._drawn(self.lines.ditches[k], p[0].shape[1])
        ]
        outer = [p[1] for p in parts if p[1].size]
        if not inner or not outer:
            return False
        beyond = np.concatenate(outer, axis=1)
        for row, col, bed in inner:
            # what is low and lies near at all: of a long ditch few stations do
            low = beyond[:, beyond[2] <= float(middle(bed)) + self._blur_m()]
            for at, ends in ((0, row), (1, col)):
                low = low[:, (low[at] >= ends.min() - reach - 1) & (low[at] <= ends.max() + reach + 1)]
            if bool((np.hypot(row[:, None] - low[0], col[:, None] - low[1]) <= reach).any()):
                return True
        return False

    def begins(self, hollow: Hollow) -> bool:
        """Whether a ditch lower than the floor begins beside a hollow and points at it.

        Where that is not the abrupt head that a pipe leaves, it is what a plug or silt left of an open drain. A ditch
        along a road says nothing: it begins where the road needs it.

        Parameters
        ----------
        hollow : Hollow

        Returns
        -------
        bool
        """
        near = _meeting(self.ditch_boxes, hollow, max(1, round(self.s.plug_most_m / self.cell_m)))
        return any(self._begins(self.lines.ditches[k], self._dug(k, hollow)[1], hollow, any_ground=True) for k in near)

    def _begins(self, ditch: Ditch, outer: F64, hollow: Hollow, any_ground: bool = False) -> bool:
        """Whether a ditch lower than the floor begins at the hollow behind a mound of earth: a plug."""
        s, run = self.s, max(1, round(_RUN_M / self.cell_m))
        if not self._told(ditch):
            return False
        row, col, bed = outer
        if row.size < run:
            return False
        # lines bend round a mound over its flank: the ditch begins where its usual depth does
        first, last = kernel.full_depth(self.shown, row, col, 0.6)
        row, col, bed = row[first : last + 1], col[first : last + 1], bed[first : last + 1]
        if row.size < run:
            return False
        for end, inner in ((0, run - 1), (row.size - 1, row.size - run)):
            part = slice(min(end, inner), max(end, inner) + 1)
            up = np.array([row[end] - row[inner], col[end] - col[inner]])
            length = float(np.hypot(up[0], up[1]))
            if length < 0.7 * run or float(middle(bed[part])) > hollow.floor_m + self._blur_m():
                continue
            head, ahead = (float(row[end]), float(col[end])), (up[0] / length, up[1] / length)
            if any_ground and ditch.kind == "roadside" and road_at(*head, self.surfaces.corridor, self.cell_m, s):
                continue
            if self._points(hollow, head, ahead) if any_ground else self._mound(hollow, head, ahead):
                return True
        return False

    def _blur_m(self) -> float:
        """How much too high a bed may be read in these cells [m]."""
        return _BED_BLUR * (self.cell_m - 1.0) if self.cell_m > BLUR_CELL_M else 0.0

    def _told(self, ditch: Ditch) -> bool:
        """Whether a line is a ditch: listed, or deep; the trough over a pipe and the flank of a kettle are neither."""
        return bool(ditch.sure or ditch.depth_m >= 2.0 * self.s.head_depth_m)

    def _drawn(self, ditch: Ditch, shows: int) -> bool:
        """Whether a line that shows at so many stations in a hollow is a ditch; over a pipe is a trough, no cut."""
        faint = self.cell_m > BLUR_CELL_M and ditch.kind in ("ditch", "roadside") and shows * self.cell_m >= _SHOWS_M
        return faint or self._told(ditch)

    def _points(self, hollow: Hollow, head: tuple[float, float], up: tuple[float, float]) -> bool:
        """Whether the pool lies straight ahead of the head of a ditch."""
        ahead = np.arange(0.0, self.s.plug_near_m + 0.5) / self.cell_m
        origin = hollow.pool.row0, hollow.pool.col0
        return bool(_on(hollow.pool.mask, origin, head[0] + up[0] * ahead, head[1] + up[1] * ahead).any())

    def behind(self, hollow: Hollow, head: Head) -> bool:
        """Whether the head of a ditch lies behind earth that was put into it at a hollow.

        Parameters
        ----------
        hollow : Hollow
        head : Head

        Returns
        -------
        bool
        """
        return self._mound(hollow, (head.row, head.col), (head.up_row, head.up_col))

    def _mound(self, hollow: Hollow, head: tuple[float, float], up: tuple[float, float]) -> bool:
        """Whether earth wider than a trench stands between the head of a ditch and the pool it points at.

        Sections across the way on from the head: its middle 7 m against the mean of the ground 7-12 m to both sides.
        The backfill over a pipe is 2-4 m wide, less than half of that. A rim that the way crosses aslant is a mound in
        sections square to the way, but not in one along its crest; a plug is one in all that are turned by up to 45
        degrees.
        """
        s, cell = self.s, self.cell_m
        ahead = np.arange(0.0, s.plug_near_m + 0.5)
        row, col = (head[k] + up[k] * ahead / cell for k in (0, 1))
        inside = np.flatnonzero(_on(hollow.pool.mask, (hollow.pool.row0, hollow.pool.col0), row, col))
        if not inside.size:
            return False
        # the toe of a plug stands in the pool
        n = min(int(inside[0]) + 8, ahead.size)
        row, col = row[:n, None], col[:n, None]
        off = np.arange(-12.0, 13.0) / cell
        at = np.stack([row - up[1] * off, col + up[0] * off])
        # a berm along the rim stands as high aside as the plug it joins, or ends in higher ground on one side
        if np.count_nonzero(_on(self.bank, (0, 0), at[0, :, 7:18], at[1, :, 7:18]).any(axis=1)) >= _BANK_M:
            return True
        raised = self._raised(row, col, _turned(up)).min(axis=0)
        return bool(np.count_nonzero(raised >= s.mound_m) >= _MOUND_M)

    def _raised(self, row: F64, col: F64, ways: list[tuple[float, float]]) -> F32:
        """How far the middle 7 m of sections square to directions stand over the ground beside: (ways, n) [m].

        All directions at once: numpy takes as long for five medians as for one.
        """
        off = np.arange(-12.0, 13.0) / self.cell_m
        at = np.stack([(row - up[1] * off, col + up[0] * off) for up in ways], axis=1)
        ground = ndimage.map_coordinates(self.surfaces.smooth, at.reshape(2, -1), order=1, mode="nearest")
        ground = ground.reshape(at.shape[1:])
        beside = 0.5 * (np.median(ground[..., :6], axis=-1) + np.median(ground[..., -6:], axis=-1))
        out: F32 = np.median(ground[..., 9:16], axis=-1) - beside
        return out

    def _dug(self, k: int, hollow: Hollow) -> tuple[F64, F64]:
        """Stations of a ditch, (3, n) of row, column, bed: those that show in the hollow, those known outside."""
        # one ditch passes many hollows
        if k not in self.seen:
            self.seen[k] = self._stations(self.lines.ditches[k])
        shown, known = self.seen[k]
        at = hollow.pool.mask, hollow.pool.row0, hollow.pool.col0
        inner, outer = kernel.parted(*at, shown)
        return inner, outer if known is shown else kernel.parted(*at, known)[1]

    def _stations(self, ditch: Ditch) -> tuple[F64, F64]:
        """Stations where a ditch shows, and those at which one is known: wide cells hide most of a listed ditch."""
        if ditch.kind == "natural stream":
            return np.empty((3, 0)), np.empty((3, 0))
        every = np.stack([ditch.row, ditch.col, ditch.bed_m])
        seen = (kernel.shown_at(self.shown, ditch.row, ditch.col) >= self.s.dug_m) & np.isfinite(ditch.bed_m)
        shown = np.ascontiguousarray(every[:, seen])
        listed = self.cell_m > BLUR_CELL_M and ditch.sure
        return shown, np.ascontiguousarray(every[:, np.isfinite(ditch.bed_m)]) if listed else shown

    def _leads_out(self, crossing: Crossing, pool: Patch, reach: int, least_m: float) -> bool:
        if float(crossing.level_m.max()) > least_m:
            return False
        ends = [_beside(pool, at, reach) for at in zip(crossing.row.tolist(), crossing.col.tolist(), strict=True)]
        if all(ends) or not any(ends):
            return False
        # beneath a road water passes in a culvert; elsewhere what joins two ends may be the covered pipe itself
        rows, cols = self.surfaces.corridor.shape
        part = np.linspace(0.0, 1.0, 9)
        r = np.rint(crossing.row[0] + part * (crossing.row[1] - crossing.row[0])).astype(int).clip(0, rows - 1)
        c = np.rint(crossing.col[0] + part * (crossing.col[1] - crossing.col[0])).astype(int).clip(0, cols - 1)
        return bool(crossing.given or ((self.surfaces.corridor[r, c] & FILL) > 0).any())


def _turned(up: tuple[float, float]) -> list[tuple[float, float]]:
    """A direction, and that direction turned to both sides."""
    cos, sin = np.cos(_ASLANT), np.sin(_ASLANT)
    return [(up[0] * c - up[1] * s, up[0] * s + up[1] * c) for c, s in zip(cos.tolist(), sin.tolist(), strict=True)]


def _beside(pool: Patch, at: tuple[float, float], reach: int) -> bool:
    """Whether a place lies in a pool or at most so many steps along rows and columns away."""
    row, col = int(np.floor(at[0] + 0.5)) - pool.row0, int(np.floor(at[1] + 0.5)) - pool.col0
    r0, c0 = max(0, row - reach), max(0, col - reach)
    r, c = np.nonzero(pool.mask[r0 : max(0, row + reach + 1), c0 : max(0, col + reach + 1)])
    return bool((np.abs(r + r0 - row) + np.abs(c + c0 - col) <= reach).any())


def _boxes(lines: Sequence[tuple[F64, F64]]) -> F64:
    """First and last row and column of each line, (n, 4)."""
    found = [(r.min(), r.max(), c.min(), c.max()) for r, c in lines]
    return np.array(found, dtype=np.float64).reshape(-1, 4)


def _meeting(boxes: F64, hollow: Hollow, reach: int) -> list[int]:
    """Numbers of the windows that come within `reach` cells of a pool's."""
    h, w = hollow.pool.shape
    r0, c0 = hollow.pool.row0 - reach, hollow.pool.col0 - reach
    r1, c1 = hollow.pool.row0 + h + reach, hollow.pool.col0 + w + reach
    found: list[int] = kernel.meeting(boxes, float(r0), float(r1), float(c0), float(c1)).tolist()
    return found


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
