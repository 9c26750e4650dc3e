"""Cuts that earth fills again at the rim: plugged already, or crossed by a bank beneath which no pipe is known."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from wetscout.kernels.route import way_out
from wetscout.kernels.strips import any_strip, strip_share
from wetscout.records import BOOL, F32, F64, Crossing, Cut, Linework, Surfaces
from wetscout.settings.sites import SiteSettings

I64 = NDArray[np.int64]
# a road holds the water where its crest lies within half its width and this of the fill
ROAD_M = 6.0
# a road goes on for farther than this to one side at least; berms along the rim of a small basin do not [m]
BERM_M = 75.0
# or is so long in all: berms of 45 m to each side, and the end between two crossings is not [m]
ROAD_SPAN_M = 110.0
# how far it may bend away from its direction at the ditch, per length
BEND = 0.4
# a pipe named by the user this near to the fill leads the water through
PIPE_M = 15.0
# a strip is looked for this far from the fill, along rays up to 40 degrees off the square [m, rad]
STRIP_M = (10.0, 50.0)
TURNS = np.radians(np.arange(-40.0, 41.0, 4.0))
# and from there on once more, as a road bends: berms of 45 m to each side end before [m, rad]
FARTHER_M = (45.0, 100.0)
ASIDE_M = (0.0, -3.0, 3.0, -6.0, 6.0)
BENDS = np.radians(np.arange(-30.0, 31.0, 6.0))
# its sides are looked at so far from its middle, and twice as far: roads stand on 10-17 m, berms of plugs end sooner
STRIP_SIDE_M = 9.0
STRIP_SHARE = 0.5
# earth in a ditch is measured so far above the bed [m]
FOOT_M = 0.15
# and so much of its own height
FOOT_SHARE = 0.3
# its ends are measured between these shares of its height: toes lie in silt, crests are round
FACE = (0.3, 0.75)
# how far beside the way ground may lead past its cells [cells]
PAST = 2


class Fills:
    """Earth across ditches that is no road.

    Plugs stand at the natural rim and span the ditch only, berms beside them end with the rim; a road goes on (common
    practice, no source). Farther down the ditch the same earth is a crossing for carts, over a pipe.
    """

    def __init__(self, ground: F32, surfaces: Surfaces, lines: Linework, cell_m: float, s: SiteSettings) -> None:
        """Look up roads and the user's pipes.

        Parameters
        ----------
        ground : float32 (rows, cols)
            The DEM [m].
        surfaces : Surfaces
            `today`, on which fill over ditches is opened, and `natural`.
        lines : Linework
        cell_m : float
            [m].
        s : SiteSettings
        """
        self.ground, self.today, self.natural = ground, surfaces.today, surfaces.natural
        self.cell_m, self.s = cell_m, s
        roads = [b for b in lines.embankments if b.kind == "road" and b.row.size]
        self.half_m = np.repeat([0.5 * b.width_m for b in roads], [b.row.size for b in roads])
        self.at = np.concatenate([np.column_stack((b.row, b.col)) for b in roads]) if roads else np.zeros((0, 2))
        self.roads = cKDTree(self.at) if roads else None
        self.pipes = [(float(c.row.mean()), float(c.col.mean())) for c in _given(lines.crossings)]
        self.listed = {d.ditch_id for d in lines.ditches if d.sure and d.kind != "roadside"}

    def signs(self, cuts: Sequence[Cut], spill_m: float) -> dict[str, float]:
        """What stands in the cuts.

        Parameters
        ----------
        cuts : sequence of Cut
        spill_m : float
            [m].

        Returns
        -------
        dict of str to float
            `filled_share`: part of the cuts that are filled at the rim up to the spill level, 0-1, 0 without cuts;
            `open_ditches`: how many of the others run along a listed ditch and let out half of what was lost: a low
            place beside a plug leads to the same ditch, but the plug holds most of the water.
        """
        filled = [self._filled(c, spill_m) for c in cuts]
        half = 0.5 * (spill_m + min((c.exit_m for c in cuts), default=spill_m))
        still = sum(c.ditch_id in self.listed and c.exit_m <= half for c, f in zip(cuts, filled, strict=True) if not f)
        return {"filled_share": sum(filled) / len(filled) if filled else 0.0, "open_ditches": float(still)}

    def _filled(self, cut: Cut, spill_m: float) -> bool:
        near = self._rim(cut, spill_m)
        rows, cols = cut.way_row[near], cut.way_col[near]
        ground = self.ground[rows, cols]
        fill = (ground - self.today[rows, cols] >= self.s.filled_m) & (ground >= spill_m - self.s.filled_below_m)
        fill[fill] = [self._closed(cut, int(at), spill_m) for at in near[fill]]
        fill[fill] = ~self._crossings(cut, near[fill], spill_m)
        if not fill.any():
            return False
        row, col = float(rows[fill].mean()), float(cols[fill].mean())
        if any(np.hypot(row - r, col - c) * self.cell_m <= PIPE_M for r, c in self.pipes):
            return False
        return not (self._road(row, col) or self._goes_on(row, col, cut))

    def _crossings(self, cut: Cut, at: I64, spill_m: float) -> BOOL:
        """Whether the earth at some stations of the way is too short along it for a plug: carts cross there on a pipe.

        The earth of a plug takes its crest at the spill and both faces along the ditch; a crossing has steep ends.
        Farther from the rim what is short is a crossing as well.
        """
        rows, cols = cut.way_row, cut.way_col
        high = self.ground[rows, cols] - self.today[rows, cols]
        run, _ = ndimage.label(high >= FOOT_M)
        steps = np.hypot(np.diff(rows, prepend=rows[0]), np.diff(cols, prepend=cols[0])) * self.cell_m
        away = np.hypot(rows - cut.row, cols - cut.col) * self.cell_m
        # a bed is seen too high in wide cells, and earth in it too low for the plug it may be
        least = self.s.plug_least_m if self.cell_m > self.s.fine_cell_m else 0.0
        short = np.zeros(at.size, dtype=np.bool_)
        for k in np.unique(run[at]):
            own = run == k
            # silt in the bed beside it, seen over a bed dug deeper farther up, is no part of it: faces end sooner
            foot = max(FOOT_M, FOOT_SHARE * float(high[own].max()))
            whole, own = float(steps[own].sum()), own & (high >= foot)
            length = min(whole, float(steps[own].sum()) + 2.0 * self.s.plug_face * (foot - FOOT_M))
            # in wide cells those that earth covers in part count whole
            length -= max(self.cell_m - 1.0, 0.0)
            holds = min(float(high[own].max()), spill_m - float(self.today[rows[own], cols[own]].min()))
            plug = self.s.plug_crest_m + 2.0 * self.s.plug_face * (holds - FOOT_M)
            # a lane crosses at the height of the banks, a plug stands above the water it is to hold
            above = float(self.ground[rows[own], cols[own]].max()) - spill_m
            if above < self.s.plug_freeboard_m:
                plug = max(plug, least)
            if above < self.s.plug_shows_m:
                plug = max(plug, self.s.lane_most_m)
            far = float(away[own].min()) > self.s.crossing_from_m and length <= self.s.crossing_m
            short[run[at] == k] = length < plug or far or steep_ends(high, self._along(cut, run == k), run == k, self.s)
        return short

    def _along(self, cut: Cut, own: BOOL) -> F64:
        """Distance of the stations of a way along the line of the earth in it [m]: cells in a slanting ditch zigzag."""
        at = np.column_stack((cut.way_row, cut.way_col)).astype(np.float64)
        ends = at[np.flatnonzero(own)[[0, -1]]]
        ahead = ends[1] - ends[0]
        along: F64 = (at - ends[0]) @ (ahead / max(float(np.hypot(*ahead)), 1e-9)) * self.cell_m
        return along

    def _closed(self, cut: Cut, at: int, spill_m: float) -> bool:
        """Whether a cell of the way stands higher than all ground below the spill that leads past it.

        Where fill is opened the way may run a cell beside the bed, and every bend of a ditch in wide cells looked
        filled: there the bed goes on in the next cell.
        """
        rows, cols = cut.way_row, cut.way_col
        least = min(float(self.today[rows[at], cols[at]]) + self.s.filled_m, spill_m)
        low = np.flatnonzero(self.ground[rows, cols] < least)
        before, after = low[low < at], low[low > at]
        if before.size == 0 or after.size == 0:
            return True
        i, j = int(before[-1]), int(after[0])
        r0, c0 = max(0, int(rows[i : j + 1].min()) - PAST), max(0, int(cols[i : j + 1].min()) - PAST)
        end = int(rows[i : j + 1].max()) + PAST + 1, int(cols[i : j + 1].max()) + PAST + 1
        ways, _ = ndimage.label(self.ground[r0 : end[0], c0 : end[1]] < least, structure=np.ones((3, 3)))
        return bool(ways[rows[i] - r0, cols[i] - c0] != ways[rows[j] - r0, cols[j] - c0])

    def _goes_on(self, row: float, col: float, cut: Cut) -> bool:
        """Whether the fill goes on past both banks as a strip above the ground on both its sides."""
        ahead = np.arctan2(cut.along_row, cut.along_col)
        far = np.arange(STRIP_M[0], STRIP_M[1], max(self.cell_m, 2.0)) / self.cell_m
        side, least = STRIP_SIDE_M / self.cell_m, self.s.filled_m / 2
        for square in (-np.pi / 2, np.pi / 2):
            turn = ahead + (TURNS + square)
            rays = np.column_stack((np.sin(turn), np.cos(turn)))
            # a strip stands above both sides by more than they fall farther out: even slopes and round ridges do not
            strips = (strip_share(self.ground, (row, col), (a, b), far, side, least) for a, b in rays.tolist())
            legs = [angle for angle, share in zip(turn.tolist(), strips, strict=True) if share >= STRIP_SHARE]
            if not any(self._farther(row, col, angle) for angle in legs):
                return False
        return True

    def _farther(self, row: float, col: float, angle: float) -> bool:
        """Whether a strip goes on where a ray from the fill has followed it to, or leaves the raster there."""
        ahead = np.array([np.sin(angle), np.cos(angle)])
        place = np.array([row, col]) + ahead * FARTHER_M[0] / self.cell_m
        border = 5.0 * max(self.cell_m, 2.0) / self.cell_m
        if ((place < border) | (place > np.array(self.ground.shape) - border)).any():
            return True
        far = np.arange(0.0, FARTHER_M[1] - FARTHER_M[0], max(self.cell_m, 2.0)) / self.cell_m
        rays = np.column_stack((np.sin(angle + BENDS), np.cos(angle + BENDS)))
        across = np.array([ahead[1], -ahead[0]]) / self.cell_m
        starts = ((place[0] + across[0] * m, place[1] + across[1] * m) for m in ASIDE_M)
        side, least = STRIP_SIDE_M / self.cell_m, self.s.filled_m / 2
        return any(any_strip(self.ground, at, rays, far, side, least, STRIP_SHARE) for at in starts)

    def _rim(self, cut: Cut, spill_m: float) -> I64:
        """Numbers of the cells of the way out near the cut, and on while the ground beside it stands so high."""
        away = np.hypot(cut.way_row - cut.row, cut.way_col - cut.col) * self.cell_m
        k = int(np.argmin(away))
        low = self.natural[cut.way_row, cut.way_col] < spill_m - self.s.filled_below_m
        ends = np.flatnonzero(low[k:])
        at = away <= self.s.filled_reach_m
        at[k : k + int(ends[0]) if ends.size else None] = True
        at &= away <= self.s.filled_most_m
        return np.flatnonzero(at)

    def _road(self, row: float, col: float) -> bool:
        """Whether a road runs here and goes on, in its direction, farther than a berm along a rim does."""
        if self.roads is None:
            return False
        distance, k = self.roads.query((row, col))
        if distance * self.cell_m > self.half_m[k] + ROAD_M:
            return False
        near = self.at[self.roads.query_ball_point((row, col), BERM_M * 0.5 / self.cell_m)] - (row, col)
        # principal direction of the road's stations here (the long axis of their scatter)
        way = np.linalg.eigh(near.T @ near)[1][:, -1]
        far = self.at[self.roads.query_ball_point((row, col), 2.0 * BERM_M / self.cell_m)] - (row, col)
        along, off = far @ way, np.abs(far[:, 0] * way[1] - far[:, 1] * way[0])
        in_line = off <= BEND * np.abs(along) + 2.0
        size = np.array(self.ground.shape)
        place = far + np.array([row, col])
        at_border = ((place < 3.0) | (place > size - 4.0)).any(axis=1)
        if not in_line.any():
            return False
        span = float(np.ptp(along[in_line])) * self.cell_m
        return bool(span > ROAD_SPAN_M or (in_line & ((np.abs(along) * self.cell_m > BERM_M) | at_border)).any())


def steep_ends(high: NDArray[Any], along: F64, own: BOOL, s: SiteSettings) -> bool:
    """Whether the ends of earth in a ditch fall more steeply than the faces of a plug: carts cross there on a pipe.

    Ends of lanes of a stranger's maker, built 1.5-2.5 to 1, read 1.9-2.8; of 82 fills of plugged ditches and restored
    wetlands (4 to 1) those up to 18 m long read 3.2 and more, longer ones 2.7 and more.

    Parameters
    ----------
    high : float32 (n,)
        Height of the earth above the bed at the stations of the way [m].
    along : float64 (n,)
        Distance of the stations along it [m].
    own : bool (n,)
        The stations of this earth, one after the other.
    s : SiteSettings
        `face_from_m`, `plug_face`, `crossing_m`.

    Returns
    -------
    bool
        The mean run to one of both ends, between `FACE` of its height, is less; of low earth it is not told, and what
        is longer than a crossing is none.
    """
    top = float(high[own].max())
    if top < s.face_from_m or np.ptp(along[own]) > s.crossing_m:
        return False
    low, up = FACE[0] * top, FACE[1] * top
    peak = np.flatnonzero(own & (high >= up))
    runs = []
    for h, x in ((high[peak[0] :: -1], along[peak[0] :: -1]), (high[peak[-1] :], along[peak[-1] :])):
        # where it falls below either level first; the peak itself stands over both
        ends = [int(np.argmax(h < level)) for level in (up, low)]
        if not all(ends):
            return False
        upper, lower = (
            x[j - 1] + (x[j] - x[j - 1]) * (h[j - 1] - level) / (h[j - 1] - h[j])
            for j, level in zip(ends, (up, low), strict=True)
        )
        runs.append(abs(float(upper - lower)))
    return float(np.mean(runs)) < s.plug_face * (up - low)


def runs_open(ground: F32, pool: BOOL, start: tuple[int, int], levels: tuple[float, float], beyond: int) -> bool:
    """Whether water over a basin's floor gets out over the ground as surveyed, no fill opened.

    A way under guessed fill may lead past a ditch that lies open beside it (through its spoil, or to a second ditch).

    Parameters
    ----------
    ground : float32 (h, w)
        The DEM, calmed [m].
    pool : bool (h, w)
    start : (int, int)
        Floor cell.
    levels : (float, float)
        Spill level, and the level at which water leaves where fill is opened [m].
    beyond : int
        How far the water must get from the pool [cells].

    Returns
    -------
    bool
        It leaves by half or more of the way down from the spill to today's level.
    """
    rows, cols, _, _, _ = way_out(ground, pool, start[0], start[1], beyond)
    level = float(ground[rows, cols].max())
    return bool(level <= 0.5 * (levels[0] + levels[1]))


def _given(crossings: Sequence[Crossing]) -> list[Crossing]:
    return [c for c in crossings if c.given]
