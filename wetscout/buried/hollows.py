"""Closed hollows that hold water on today's ground, one for each place: the suspects of a covered drain."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from wetscout.buried.straight import rectangle_share, straight_shore
from wetscout.kernels.pool_window import count_labels, pool_heights, rises
from wetscout.kernels.shore import shore_steps, squared_distance
from wetscout.kernels.walls import sides
from wetscout.large import strips
from wetscout.records import BOOL, CUT, F32, FILL, I32, SPOIL, Patch, Surfaces, Terrain, Tree
from wetscout.records_covered import Zone
from wetscout.settings.buried import BuriedSettings


@dataclass(frozen=True)
class Hollow:
    """A closed hollow.

    Attributes
    ----------
    node : int
        Row of the tree of the ground as it is.
    pool : Patch
    spill_m, floor_m : float
        [m].
    floor_at, spill_at : (int, int)
        Cells.
    area_m2 : float
    edge : bool
    zone : Zone
    within : bool
        It lies within one with an open drain, or in the pool of an open site.
    whole : int
        Row of the tree of the natural surface where a road divides it and it was made whole; -1 elsewhere.
    """

    node: int
    pool: Patch
    spill_m: float
    floor_m: float
    floor_at: tuple[int, int]
    spill_at: tuple[int, int]
    area_m2: float
    edge: bool
    zone: Zone
    within: bool = False
    whole: int = -1


def window_of(pool: Patch) -> tuple[slice, slice]:
    """The window of a patch as slices.

    Parameters
    ----------
    pool : Patch

    Returns
    -------
    (slice, slice)
    """
    h, w = pool.mask.shape
    return slice(pool.row0, pool.row0 + h), slice(pool.col0, pool.col0 + w)


def _half_width(mask: BOOL, cell_m: float) -> float:
    """Radius of the largest circle inside [m]."""
    return float(np.sqrt(squared_distance(np.pad(mask, 1)).max())) * cell_m


def speaks_for(zone: Zone, s: BuriedSettings) -> bool:
    """Whether soil and cover both say: once wet, farmed now, not mapped as wetland.

    Parameters
    ----------
    zone : Zone
    s : BuriedSettings

    Returns
    -------
    bool
    """
    return (
        zone.wet_soil is not None
        and zone.wet_soil >= s.wet_soil_least
        and zone.farmed is not None
        and zone.farmed >= s.farmed_least
        and not speaks_against(zone, s)
    )


def speaks_against(zone: Zone, s: BuriedSettings) -> bool:
    """Whether cover says: wetland, water or built-up land.

    Parameters
    ----------
    zone : Zone
    s : BuriedSettings

    Returns
    -------
    bool
    """
    wet = zone.wetland is not None and zone.wetland >= s.wetland_most
    built = zone.built is not None and zone.built >= s.built_most
    return wet or built


def dry_around(mine: Hollow, inner: Hollow, s: BuriedSettings) -> bool:
    """Whether what a hollow adds to one inside it is large and lies on soil that was never wet.

    Parameters
    ----------
    mine, inner : Hollow
        The inner one lies on wet soil in the main.
    s : BuriedSettings

    Returns
    -------
    bool
    """
    added = mine.area_m2 - inner.area_m2
    inside = inner.zone.wet_soil or 0.0
    if inside < s.wet_soil_inner or added < s.dry_share * mine.area_m2:
        return False
    wet = (mine.zone.wet_soil or 0.0) * mine.area_m2 - inside * inner.area_m2
    return wet < s.wet_soil_least * added


class Chooser:
    """Chooses among the nested hollows of the ground as it is.

    Parameters
    ----------
    terrain : Terrain
    surfaces : Surfaces
    tree : Tree
        Of the ground as surveyed, noise calmed: covered pipes do not open it.
    held : float32 (rows, cols)
        The natural ground, road fill and banks taken off and ditches closed, depressions raised to their spill
        levels [m].
    zone_at : callable or None
        What map layers say of a pool; None without layers.
    s : BuriedSettings
    """

    def __init__(
        self,
        terrain: Terrain,
        surfaces: Surfaces,
        tree: Tree,
        held: F32,
        zone_at: Callable[[Patch], Zone] | None,
        s: BuriedSettings,
    ) -> None:
        self.terrain = terrain
        self.surfaces = surfaces
        self.tree = tree
        self.held = held
        self.zone_at = zone_at
        self.s = s
        self.cell_m = terrain.grid.cell_m
        self.parent = tree.table["parent"].to_numpy(dtype=np.int64)
        self.spill = tree.table["spill_m"].to_numpy(dtype=np.float64)
        self.area = tree.table["area_m2"].to_numpy(dtype=np.float64)
        # columns as arrays: a row of a pandas table takes a tenth of a millisecond
        self.column = {name: tree.table[name].to_numpy() for name in ("spill_row", "spill_col", "edge")}
        self.wide = np.zeros(self.parent.size, dtype=np.bool_)
        self.first = np.asarray(tree.first)
        # cells, water, road and undug cells up to each label: those of a pool stand together
        told = np.zeros((self.parent.size + 1, 4), dtype=np.int64)
        for own, _, _ in strips((tree.labels.shape[0], tree.labels.shape[1])):
            window = tree.labels[own], terrain.water[own], surfaces.corridor[own]
            count_labels(*window, FILL, CUT | FILL, told[1:])
        self.counted = np.cumsum(told, axis=0)

    def choose(
        self,
        each: Callable[..., list[Any]] | None = None,
        plugged: Callable[[Hollow], bool] = lambda _: False,
        drained: Callable[[Hollow], bool] = lambda _: False,
    ) -> tuple[Hollow, ...]:
        """The highest hollow of each nest that can be one and has no open drain.

        Parameters
        ----------
        each : callable, optional
            Calls a function on each of many things, answers in their order; one by one by default.
        plugged, drained : callable, optional
            Whether a hollow was drained openly before it was plugged, and whether it is: then what lies inside is
            looked at. The second is asked before the dear tests.

        Returns
        -------
        tuple of Hollow
            By node.
        """
        area, spill = self.area, self.spill
        depth = spill - self.tree.table["floor_m"].to_numpy(dtype=np.float64)
        wanted = (area >= self.s.min_area_m2) & (area <= self.s.max_area_m2) & (depth >= self.s.min_depth_m)
        numbers = np.flatnonzero(wanted)
        # nests: a hollow follows all that lie inside it
        tops: list[int] = []
        for node in numbers[::-1].tolist():
            if not tops or node < self.first[tops[-1]]:
                tops.append(node)

        def nest(top: int) -> list[Hollow]:
            inside = numbers[np.searchsorted(numbers, self.first[top]) : np.searchsorted(numbers, top) + 1]
            return self._nest(inside, plugged, drained)

        parts = [nest(k) for k in tops[::-1]] if each is None else each(nest, tops[::-1])
        return tuple(hollow for part in parts for hollow in part)

    def _nest(
        self, nodes: np.ndarray, plugged: Callable[[Hollow], bool], drained: Callable[[Hollow], bool]
    ) -> list[Hollow]:
        """The highest that can be one, in a nest of nodes, and of those beside it; what lies inside it is passed by."""
        near: dict[int, Hollow | None] = {}
        fit: dict[int, Hollow | None] = {}

        def near_hollow(node: int) -> Hollow | None:
            if node not in near:
                near[node] = self._hollow(node)
            return near[node]

        def hollow_at(node: int) -> Hollow | None:
            if node not in fit:
                fit[node] = self._stood(near_hollow(node))
            return fit[node]

        known: dict[int, bool] = {}

        def stood(node: int) -> bool:
            if node not in known:
                at = int(np.searchsorted(nodes, node))
                known[node] = stands(at, int(np.searchsorted(nodes, self.first[node])))
            return known[node]

        def stands(at: int, first: int) -> bool:
            mine = hollow_at(int(nodes[at]))
            return mine is not None and not self._thin(mine, nodes[first:at], hollow_at, stood)

        out: list[Hollow] = []
        # whether a drained one is a hollow at all is asked where something is found inside
        asked: list[tuple[int, int]] = []
        at, opened = nodes.size - 1, nodes.size
        while at >= 0:
            first = int(np.searchsorted(nodes, self.first[nodes[at]]))
            mine = near_hollow(int(nodes[at]))
            if mine is not None and drained(mine):
                asked.append((at, first))
            elif stands(at, first) and (mine := hollow_at(int(nodes[at]))) is not None:
                if plugged(mine):
                    opened = min(opened, first)
                else:
                    within = at >= opened or any(stands(*one) for one in asked if one[1] <= at)
                    out.append(replace(mine, within=within))
                    at = first
            at -= 1
        return out[::-1]

    def _stood(self, near: Hollow | None) -> Hollow | None:
        """A hollow by the cheaper tests that stands the dear ones too, and what maps say of it."""
        if near is None or self._banked(near.pool.mask, round(near.area_m2 / self.cell_m**2)):
            return None
        return near if self.zone_at is None else replace(near, zone=self.zone_at(near.pool))

    def _hollow(self, node: int) -> Hollow | None:
        """A node as a hollow; None where it is a pit, a pond, a channel or stands behind a road.

        All tests must be stood, so the cheapest come first; straight shores are looked at by `_stood`.
        """
        first = int(self.first[node])
        cells, wet, road, free = (int(v) for v in self.counted[node + 1] - self.counted[first])
        if wet / cells > self.s.wetland_most or road / cells > self.s.road_share:
            return None
        r0, c0, r1, c1 = (int(v) for v in self.tree.bbox[node])
        box = (slice(r0, r1), slice(c0, c1))
        labels, corridor, ground = self.tree.labels[box], self.surfaces.corridor[box], self.surfaces.smooth[box]
        dug, free = (CUT | FILL, free) if free >= 0.3 * cells else (0, cells)
        heights, k = pool_heights(labels, first, node, ground, corridor, dug, free)
        # the floor is the 1 % quantile of open ground: one low cell is noise
        floor = float(np.partition(heights, int(0.01 * free))[int(0.01 * free)])
        spill = float(self.spill[node])
        if spill - floor < self.s.min_depth_m:
            return None
        # without road fill, spoil, dams and dikes it must stand nearly as high: what those alone hold is no hollow
        held = float(self.held[r0 + k // (c1 - c0), c0 + k % (c1 - c0)])
        if held < spill - max(self.s.held_drop_m, self.s.held_share * (spill - floor)):
            return None
        mask = (labels >= first) & (labels <= node)
        away = shore_steps(mask)
        if not self._gentle(box, away) or not self._is_wide(node, mask, away):
            return None
        free_mask = mask & ((corridor & dug) == 0) if dug else mask
        if self._pit(box, (free_mask, heights), (floor, spill), (mask, cells)):
            return None
        pool = Patch(r0, c0, mask)
        return Hollow(
            node=node,
            pool=pool,
            spill_m=spill,
            floor_m=floor,
            floor_at=(r0 + k // mask.shape[1], c0 + k % mask.shape[1]),
            spill_at=(int(self.column["spill_row"][node]), int(self.column["spill_col"][node])),
            area_m2=float(self.area[node]),
            edge=bool(self.column["edge"][node]),
            zone=Zone(),
        )

    def _is_wide(self, node: int, mask: BOOL, away: I32) -> bool:
        """Wide enough; a hollow around one that is wide is wide too and need not be measured."""
        if not self.wide[node]:
            # steps along rows and columns are at most 1.414 times the way straight: enough for most
            most = int(away.max())
            if float(np.sqrt(0.5 * most**2)) * self.cell_m < self.s.half_width_m and (
                most * self.cell_m < self.s.half_width_m or _half_width(mask, self.cell_m) < self.s.half_width_m
            ):
                return False
            up = node
            while up >= 0 and not self.wide[up]:
                self.wide[up] = True
                up = int(self.parent[up])
        return True

    def _gentle(self, box: tuple[slice, slice], away: I32) -> bool:
        """Not steep all round: no pit, pond or channel."""
        near = max(1, round(3.0 / self.cell_m))
        d_row, d_col = rises(self.surfaces.smooth[box], away, near, self.surfaces.corridor[box], CUT | FILL | SPOIL)
        slope = np.hypot(d_row / (2.0 * self.cell_m), d_col / (2.0 * self.cell_m))
        slope = slope[np.isfinite(slope)]
        if slope.size == 0:
            return True
        quarter, three = np.percentile(slope, (25, 75))
        return bool(three <= self.s.shore_slope and quarter <= self.s.steep_all_round)

    def _pit(
        self,
        box: tuple[slice, slice],
        undug: tuple[BOOL, F32],
        levels: tuple[float, float],
        whole: tuple[BOOL, int],
    ) -> bool:
        """Steep halfway down and flat below: dug, or a field levelled between banks."""
        s, (free, heights), (floor, spill), (mask, cells) = self.s, undug, levels, whole
        halfway = sides(self.surfaces.smooth[box], free, spill, self.cell_m, heights)
        full = float((spill - heights).mean()) / max(spill - floor, 0.01)
        if full > s.level_full and halfway[1] < s.level_share:
            return True
        return cells * self.cell_m**2 < s.pit_area_m2 and s.boxed(halfway, _half_width(mask, self.cell_m), self.cell_m)

    def _banked(self, mask: BOOL, cells: int) -> bool:
        """A long straight shore, or four: what stands against a bank, or is a levelled field."""
        s, cell_m = self.s, self.cell_m
        least = max(s.straight_m, s.straight_times * cell_m * float(np.sqrt(cells)))
        if float(np.hypot(*mask.shape)) * cell_m >= least and straight_shore(mask, cell_m) >= least:
            return True
        return cells * cell_m**2 >= s.box_area_m2 and rectangle_share(mask, cell_m) > s.box_share

    def _thin(
        self, mine: Hollow, inside: np.ndarray, hollow_at: Callable[[int], Hollow | None], stood: Callable[[int], bool]
    ) -> bool:
        """Whether a hollow is a thin sheet over a smaller one, or evidence speaks for what lies inside it only."""
        s = self.s
        rise = min(s.sheet_rise_m, s.sheet_share * (mine.spill_m - mine.floor_m))
        sheet = (self.area[inside] * s.sheet_spread <= mine.area_m2) & (mine.spill_m - self.spill[inside] <= rise)
        if any(stood(k) for k in inside[sheet].tolist()):
            return True
        if self.zone_at is None:
            return False
        told = speaks_for(mine.zone, s)
        if told:
            # one on wet soil in the main cannot add dry ground enough
            if (mine.zone.wet_soil or 0.0) > 1.0 - s.dry_share * (1.0 - s.wet_soil_least):
                return False
            inside = inside[self.area[inside] <= (1.0 - s.dry_share) * mine.area_m2]
        found = (hollow_at(k) for k in inside.tolist())
        return any(
            speaks_for(hollow.zone, s) and (not told or dry_around(mine, hollow, s))
            for hollow in found
            if hollow is not None
        )
