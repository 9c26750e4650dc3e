"""Ditches that turn along a road and pass beneath it somewhere: proposals for culverts across the fill."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wetscout.records import Crossing, Ditch, Embankment
from wetscout.settings.linework import LineworkSettings

# an end lies at the foot of a fill within half its width and this
FOOT_M = 8.0
# the way beneath a road makes at least this angle with it: sine of 45 degrees
ACROSS_SINE = 0.7
# where a ditch turns along a road, the leg before the bend makes at least this angle with it: sine of 30 degrees
BEND_SINE = 0.5
# direction of a road is taken over this length to both sides
ROAD_RUN_M = 10.0
# the way passes over the crest at least this near
CREST_M = 2.5
# an end that already has a proposal within this distance is left alone
SERVED_M = 12.0

Fill = Callable[[NDArray[np.float64], NDArray[np.float64], float], float]


@dataclass(frozen=True)
class OpenEnd:
    """Free end of a line, drawn back to where its bed leaves the fill.

    Attributes
    ----------
    line : int
        Index of the ditch.
    at, out : float64 (2,)
        Place [cells] and unit vector outwards.
    bed : float
        [m].
    sure : bool
    blind : bool
        The line was drawn on from here to where no water of it can run.
    """

    line: int
    at: NDArray[np.float64]
    out: NDArray[np.float64]
    bed: float
    sure: bool
    blind: bool = False


class Roads:
    """Crest points of all road fills, with the direction of the road at each."""

    def __init__(self, banks: Sequence[Embankment], cell_m: float) -> None:
        """Collect the crests.

        Parameters
        ----------
        banks : sequence of Embankment
        cell_m : float
            [m].
        """
        roads = [b for b in banks if b.kind == "road" and b.row.size >= 3]
        self.cell_m = cell_m
        self.empty = not roads
        if self.empty:
            return
        lines = [np.column_stack((b.row, b.col)) for b in roads]
        self.points = np.concatenate(lines)
        self.half_m = np.repeat([0.5 * b.width_m for b in roads], [b.row.size for b in roads])
        self.widest_m = float(self.half_m.max())
        run = max(1, round(ROAD_RUN_M / cell_m))
        ways = [
            p[np.minimum(np.arange(len(p)) + run, len(p) - 1)] - p[np.maximum(np.arange(len(p)) - run, 0)]
            for p in lines
        ]
        way = np.concatenate(ways)
        self.way = way / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
        self.tree = cKDTree(self.points)

    def at_foot(self, place: NDArray[np.float64]) -> bool:
        """Whether a place lies beside a road fill.

        Parameters
        ----------
        place : float64 (2,)
            Row, column [cells].

        Returns
        -------
        bool
        """
        return bool(self._feet(place[None])[0])

    def at_foot_of(self, ends: Sequence[OpenEnd]) -> list[OpenEnd]:
        """The ends that lie beside a road fill, looked up together.

        Parameters
        ----------
        ends : sequence of OpenEnd

        Returns
        -------
        list of OpenEnd
        """
        if not ends:
            return []
        foot = self._feet(np.array([e.at for e in ends])).tolist()
        return [e for e, beside in zip(ends, foot, strict=True) if beside]

    def _feet(self, places: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Which places (n, 2) [cells] lie beside a road fill."""
        if self.empty:
            return np.zeros(len(places), dtype=np.bool_)
        away, k = self.tree.query(places, distance_upper_bound=self._bound(self.widest_m + FOOT_M))
        # without a crest in reach the distance is infinite
        foot: NDArray[np.bool_] = away * self.cell_m <= self.half_m[np.minimum(k, len(self.points) - 1)] + FOOT_M
        return foot

    def crossed_by(self, place: NDArray[np.float64], way: NDArray[np.float64]) -> bool:
        """Whether a direction leads from a place over the nearest crest and not along it.

        Parameters
        ----------
        place, way : float64 (2,)
            Row, column [cells].

        Returns
        -------
        bool
        """
        if self.empty:
            return False
        _, k = self.tree.query(place)
        return bool(self._sine(k, way) >= BEND_SINE and (self.points[k] - place) @ way > 0)

    def on_crest(self, ways: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Where ways pass over a crest.

        Parameters
        ----------
        ways : float64 (..., 2)
            Row, column [cells].

        Returns
        -------
        bool (...)
        """
        if self.empty:
            return np.zeros(ways.shape[:-1], dtype=np.bool_)
        near: NDArray[np.bool_] = (
            self.tree.query(ways, distance_upper_bound=self._bound(CREST_M))[0] * self.cell_m <= CREST_M
        )
        return near

    def across(self, a: NDArray[np.float64], b: NDArray[np.float64]) -> bool:
        """Whether the straight way between two places leads over a crest and not along it.

        Parameters
        ----------
        a, b : float64 (2,)
            Row, column [cells].

        Returns
        -------
        bool
        """
        size = float(np.hypot(*(b - a)))
        if self.empty or size < 2.0:
            return False
        t = np.linspace(0.0, 1.0, int(2 * size) + 2)[:, None]
        away, k = self.tree.query(a + t * (b - a), distance_upper_bound=self._bound(CREST_M))
        best = int(np.argmin(away))
        inside = 0 < best < t.shape[0] - 1
        near = bool(away[best] * self.cell_m <= CREST_M)
        return inside and near and self._sine(k[best], b - a) >= ACROSS_SINE

    def _bound(self, reach_m: float) -> float:
        """Beyond the reach of a search [cells]: trees answer much faster when they need not look farther."""
        return reach_m / self.cell_m + 1e-6

    def _sine(self, k: int, way: NDArray[np.float64]) -> float:
        """Of the angle between a road at one of its points and a direction, 0 along it."""
        along = self.way[k]
        return float(abs(along[0] * way[1] - along[1] * way[0]) / max(float(np.hypot(*way)), 1e-9))


def across_roads(
    ends: Sequence[OpenEnd],
    ditches: Sequence[Ditch],
    roads: Roads,
    served: Sequence[Crossing],
    fill: Fill,
    settings: LineworkSettings,
) -> list[Crossing]:
    """Crossings of roads for ends at their foot, whichever way the ends point.

    A ditch that meets a road is often led along it to the culvert, and starts anew at the far foot: no heading tells.

    Parameters
    ----------
    ends : sequence of OpenEnd
        Free ends of the ditches.
    ditches : sequence of Ditch
    roads : Roads
    served : sequence of Crossing
        What was proposed by headings.
    fill : callable
        (a, b, level) -> how far the highest ground between stands above a level [m].
    settings : LineworkSettings

    Returns
    -------
    list of Crossing
        Nearest partner of each end, end to end before end to side.
    """
    if roads.empty or not ends:
        return []
    taken = [np.column_stack((c.row, c.col)) for c in served]
    known = cKDTree(np.concatenate(taken)) if taken else None
    reach = SERVED_M / roads.cell_m
    free = [
        e
        for e in roads.at_foot_of(ends)
        # ends of roadside ditches face each other at every crossroads and gate: 13 of 13 such pairs carried no water
        if ditches[e.line].kind != "roadside" and ditches[e.line].depth_m >= settings.hump_m
    ]
    if known is not None and free:
        away = known.query(np.array([e.at for e in free]))[0].tolist()
        free = [e for e, far in zip(free, away, strict=True) if far > reach]
    if not free:
        return []
    found: list[Crossing] = []
    partner = _partners(free, roads, fill, settings)
    for k, at in partner.items():
        # a pair that choose each other is one crossing
        if not (at < k and partner.get(at) == k):
            found.append(_down(free[k].at, free[k].bed, free[at].at, free[at].bed))
    bodies = _bodies(ditches)
    for k, e in enumerate(free):
        if k in partner or not _lower_end(e, ditches[e.line]):
            continue
        place = _side(e, bodies, roads, fill, settings)
        if place is not None:
            found.append(_down(e.at, e.bed, *place))
    return found


def _down(a: NDArray[np.float64], za: float, b: NDArray[np.float64], zb: float) -> Crossing:
    """Crossing with the higher bed first."""
    if za < zb:
        a, za, b, zb = b, zb, a, za
    return Crossing(row=np.array([a[0], b[0]]), col=np.array([a[1], b[1]]), level_m=np.array([za, zb]), given=False)


def _partners(free: Sequence[OpenEnd], roads: Roads, fill: Fill, s: LineworkSettings) -> dict[int, int]:
    """For each end, by number, the nearest end of another line at the other foot, its bed about as deep."""
    # only ends within reach are asked: all against all grows with the square of a county
    tree = cKDTree(np.array([e.at for e in free]))
    near = tree.query_ball_tree(tree, s.bridge_m / roads.cell_m + 1e-6)
    partner: dict[int, int] = {}
    for k, e in enumerate(free):
        best: tuple[float, int] | None = None
        for j in sorted(near[k]):
            other = free[j]
            size = float(np.hypot(*(other.at - e.at))) * roads.cell_m
            if other.line == e.line or size > s.bridge_m or abs(other.bed - e.bed) > s.far_rise_m:
                continue
            if best is not None and size >= best[0]:
                continue
            if roads.across(e.at, other.at) and fill(e.at, other.at, max(e.bed, other.bed)) >= s.hump_m:
                best = (size, j)
        if best is not None:
            partner[k] = best[1]
    return partner


def _bodies(ditches: Sequence[Ditch]) -> tuple[cKDTree, NDArray[np.float64], NDArray[np.int64], NDArray[np.float64]]:
    """Stations of all lines: tree, places, owner, bed."""
    points = np.concatenate([np.column_stack((d.row, d.col)) for d in ditches])
    owner = np.repeat(np.arange(len(ditches), dtype=np.int64), [d.row.size for d in ditches])
    return cKDTree(points), points, owner, np.concatenate([d.bed_m for d in ditches])


def _lower_end(e: OpenEnd, ditch: Ditch) -> bool:
    """Whether an end is the lower one of its line: water that comes there must go on."""
    half = ditch.bed_m[: max(1, ditch.bed_m.size // 2)], ditch.bed_m[ditch.bed_m.size // 2 :]
    first, last = float(np.nanmedian(half[0])), float(np.nanmedian(half[1]))
    head = np.hypot(ditch.row[0] - e.at[0], ditch.col[0] - e.at[1])
    tail = np.hypot(ditch.row[-1] - e.at[0], ditch.col[-1] - e.at[1])
    return first <= last if head < tail else last <= first


def _side(
    e: OpenEnd,
    bodies: tuple[cKDTree, NDArray[np.float64], NDArray[np.int64], NDArray[np.float64]],
    roads: Roads,
    fill: Fill,
    s: LineworkSettings,
) -> tuple[NDArray[np.float64], float] | None:
    """Nearest place of another line across the road whose bed lies no higher."""
    tree, points, owner, bed = bodies
    near = np.array(tree.query_ball_point(e.at, s.aim_m / roads.cell_m), dtype=np.int64)
    near = near[(owner[near] != e.line) & (bed[near] <= e.bed)]
    away = np.hypot(*(points[near] - e.at).T)
    for k in near[np.lexsort((near, away))]:
        if roads.across(e.at, points[k]) and fill(e.at, points[k], max(e.bed, float(bed[k]))) >= s.hump_m:
            return points[k], float(bed[k])
    return None
