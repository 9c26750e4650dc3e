"""From surfaces, lines and trees to the basins offered for restoration."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from wetscout import large
from wetscout.kernels.open_ways import near_window
from wetscout.kernels.pool_window import spread_pool
from wetscout.kernels.shore import shore_ring, squared_distance
from wetscout.kernels.walls import sides
from wetscout.records import (
    BOOL,
    CUT,
    F32,
    FILL,
    SPOIL,
    Candidate,
    Crossing,
    Cut,
    Linework,
    Patch,
    Surfaces,
    Terrain,
    Tree,
)
from wetscout.settings.sites import SiteSettings
from wetscout.settings.surroundings import SurroundingSettings
from wetscout.sites.cuts import Window, by_road, find_cuts, named_pipe
from wetscout.sites.enters import ENTER_M, ditch_above, ends_in
from wetscout.sites.few_cells import few_cells
from wetscout.sites.judge import Measures, lift, measure, too_wide
from wetscout.sites.network import Network
from wetscout.sites.pick import Picker
from wetscout.sites.pitted import deep_ground
from wetscout.sites.plugged import Fills, runs_open
from wetscout.sites.reached import OVER_M, joined
from wetscout.sites.rim import unheld_shore
from wetscout.sites.roadway import road_share
from wetscout.sites.setting import Surroundings
from wetscout.sites.turned_down import reason_against

# a ditch led under a road at a cut is seen again within this distance [m]
LED_M = 25.0


@dataclass(frozen=True)
class Found:
    """What the judgement gives.

    Attributes
    ----------
    candidates : tuple of Candidate
    turned_down : tuple of (node, reason)
    measures : Measures
    network : Network
    too_wide : int
        Basins that are not judged for their width.
    """

    candidates: tuple[Candidate, ...]
    turned_down: tuple[tuple[int, str], ...]
    measures: Measures
    network: Network
    too_wide: int = 0


def _box(tree: Tree, node: int, pad: int, shape: tuple[int, int]) -> tuple[int, int, int, int]:
    r0, c0, r1, c1 = (int(v) for v in tree.bbox[node])
    return max(0, r0 - pad), max(0, c0 - pad), min(shape[0], r1 + pad), min(shape[1], c1 + pad)


class Finder:
    """Works through the nodes of the natural tree.

    Parameters
    ----------
    terrain : Terrain
    surfaces : Surfaces
    lines : Linework
    tree : Tree
        Of the natural surface.
    s : SiteSettings
    around : SurroundingSettings
    """

    def __init__(
        self,
        terrain: Terrain,
        surfaces: Surfaces,
        lines: Linework,
        tree: Tree,
        s: SiteSettings,
        around: SurroundingSettings | None = None,
    ) -> None:
        self.terrain = terrain
        self.surfaces = surfaces
        self.lines = lines
        self.tree = tree
        # columns as arrays: a row of a pandas table takes a tenth of a millisecond
        self.column = {name: tree.table[name].to_numpy() for name in ("spill_m", "spill_row", "spill_col", "edge")}
        self.s = s
        self.cell_m = terrain.grid.cell_m
        self.network = Network(lines.ditches, self.cell_m, 6.0)
        self.around = Surroundings(surfaces, self.network, self.cell_m, around or SurroundingSettings())
        self.beyond = round(s.search_m / self.cell_m)
        self.fills = Fills(terrain.z, surfaces, lines, self.cell_m, s)
        self.crossing_at = np.array([(c.row.mean(), c.col.mean()) for c in lines.crossings]).reshape(-1, 2)
        self.filled_today = surfaces.today
        self.stream = {d.ditch_id for d in lines.ditches if d.kind == "natural stream"}

    def run(self, filled_today: F32, filled_cautious: F32, each: Callable[..., list[Any]] | None = None) -> Found:
        """Judge all nodes.

        Parameters
        ----------
        filled_today, filled_cautious : float32 (rows, cols)
            Surfaces with depressions raised to their spill levels [m].
        each : callable, optional
            Calls a function on each of many things, answers in their order; one by one by default.

        Returns
        -------
        Found
        """
        self.filled_today = filled_today
        noise = self.terrain.noise_m
        lifted = lift(noise, self.cell_m, self.s)
        filled = filled_today, filled_cautious
        m = measure(self.surfaces, self.tree, filled, (noise, lifted), (self.cell_m, self.s), each)

        def judged(node: int) -> tuple[Candidate, str | None]:
            candidate = self._candidate(node, m)
            return candidate, self._turn_down(candidate)

        def drains(c: Candidate) -> bool:
            window, _ = self._window(c.node, c.spill_m)
            return self._runs_open(window, c.floor_at, (c.spill_m, c.today_m))

        self.picker = Picker(self.tree, m, judged, self.s, drains)
        return self._found(each)

    def without(self, nodes: dict[int, str], each: Callable[..., list[Any]] | None = None) -> Found:
        """Judge once more, with some of the candidates turned down.

        Parameters
        ----------
        nodes : dict of int to str
            Node of each such candidate, and why.
        each : callable, optional
            As for `run`, which comes first.

        Returns
        -------
        Found
        """
        self.picker.refuse(nodes)
        return self._found(each)

    def _found(self, each: Callable[..., list[Any]] | None) -> Found:
        kept, down = self.picker.run(each)
        wide = int(too_wide(self.tree, self.cell_m, self.s).sum())
        return Found(tuple(kept), tuple(down), self.picker.m, self.network, wide)

    def _window(self, node: int, level: float) -> tuple[Window, np.ndarray]:
        pad = round((self.s.search_m + 20.0) / self.cell_m)
        r0, c0, r1, c1 = _box(self.tree, node, pad, self.terrain.z.shape)
        box = (slice(r0, r1), slice(c0, c1))
        first = self.tree.first[node]
        labels, basin = self.tree.labels[box], self.tree.catchment_labels[box]
        pool = (labels >= first) & (labels <= node)
        catchment = ((basin >= first) & (basin <= node)) | pool
        # it may spread inside its own catchment only, 3 cells at most
        pool = spread_pool(pool, catchment, self.surfaces.natural[box], np.float32(level), 3)
        s = self.surfaces
        rim = 0.5 * (s.natural[box] + s.cautious[box])
        return Window(r0, c0, s.today[box], s.natural[box], rim, s.corridor[box], pool), catchment

    def _near(self, window: Window) -> list[Crossing]:
        h, w = window.pool.shape
        near = near_window(self.crossing_at, int(window.row0), int(window.col0), h, w, 20.0, False)
        return [self.lines.crossings[k] for k in near.tolist()]

    def _candidate(self, node: int, m: Measures) -> Candidate:
        spill = float(m.spill[node])
        window, _ = self._window(node, spill)
        start = (int(m.floor_at[node, 0]) - window.row0, int(m.floor_at[node, 1]) - window.col0)
        raw = float(self.column["spill_m"][node])
        near = self._near(window)
        cuts, closes, next_at = find_cuts(window, start, raw, self.network, near, self.s)
        wet = self.network.stations_in(window.pool, window.row0, window.col0)
        inside = {j: at for j, at in wet.items() if self.network.ditches[j].ditch_id not in self.stream}
        ids = {self.network.ditches[j].ditch_id for j in inside}
        cut_ids = {c.ditch_id for c in cuts if c.ditch_id is not None}
        entering = self._on_floor(window, inside, start, spill)
        upstream, beyond = ditch_above(entering, self.network, self.filled_today, cuts, self.cell_m)
        signs = {
            **self._signs(window, (spill, float(m.floor[node]), float(m.pit[node])), inside),
            **self._sides(window, spill, float(m.pit[node])),
            **self._streams(wet, window.pool),
            "cut_depth_m": spill - min(cut.bed_m for cut in cuts) if cuts else 0.0,
            "witness_m": float(m.witness[node]),
            "bed_at_cut_m": self._bed_at(cuts),
            "road_at_cut": float(bool(cuts) and by_road(cuts[0], self.surfaces.corridor, self.cell_m)),
            "named_at_cut": float(bool(cuts) and named_pipe(cuts[0], near, self.cell_m)),
            **self._fills(window, cuts, start, (spill, float(m.today[node]))),
            "from_beyond": float(beyond),
        }
        few = few_cells(signs["pool_m2"], spill - float(m.floor[node]), self.cell_m, self.s)
        pool_rows, pool_cols = np.flatnonzero(window.pool.any(axis=1)), np.flatnonzero(window.pool.any(axis=0))
        box = (slice(pool_rows[0], pool_rows[-1] + 1), slice(pool_cols[0], pool_cols[-1] + 1))
        mask = large.keep(window.pool[box].copy())
        pool = Patch(window.row0 + int(pool_rows[0]), window.col0 + int(pool_cols[0]), mask)
        return Candidate(
            node=node,
            pool=pool,
            catchment=self.tree.catchment(node),
            spill_m=spill,
            today_m=float(m.today[node]),
            floor_m=float(m.floor[node]),
            floor_at=(int(m.floor_at[node, 0]), int(m.floor_at[node, 1])),
            spill_at=(int(self.column["spill_row"][node]), int(self.column["spill_col"][node])),
            cuts=cuts,
            edge=bool(self.column["edge"][node]),
            upstream_m=upstream,
            ditch_ids=tuple(sorted(ids | cut_ids)),
            closes=closes,
            next_at=next_at,
            signs={**signs, **self.around.signs(pool, cuts), "few_cells": float(any(few))},
        )

    def _on_floor(
        self, window: Window, inside: dict[int, np.ndarray], start: tuple[int, int], spill: float
    ) -> dict[int, np.ndarray]:
        """Lines that run over ground of the pool that is joined to its floor: not between banks of their own."""
        if not inside:
            return inside
        # a line may lie a cell off its ditch
        ground = np.pad(joined(window.pool & (window.today < spill - OVER_M), start), 1)
        out = {}
        for j, at in inside.items():
            d = self.network.ditches[j]
            r, c = (np.rint(x[at]).astype(np.int64) - x0 for x, x0 in ((d.row, window.row0), (d.col, window.col0)))
            on = np.any([ground[r + k // 3, c + k % 3] for k in range(9)], axis=0)
            if np.count_nonzero(on) * self.cell_m >= ENTER_M or (on.any() and ends_in(d, at)):
                out[j] = at
        return out

    def _bed_at(self, cuts: tuple[Cut, ...]) -> float:
        """Lowest bed near the first cut of the ditch that it leads to under a road [m]: its end may lie on the fill."""
        at = self.network.by_id.get(cuts[0].ditch_id) if cuts and cuts[0].ditch_id is not None else None
        if at is None or not cuts[0].under_road:
            return float("nan")
        ditch = self.network.ditches[at]
        away = np.hypot(ditch.row - cuts[0].row, ditch.col - cuts[0].col) * self.cell_m
        return float(ditch.bed_m[away <= max(LED_M, float(away.min()))].min())

    def _fills(
        self, window: Window, cuts: tuple[Cut, ...], start: tuple[int, int], levels: tuple[float, float]
    ) -> dict[str, float]:
        """How far the cuts are filled at the rim; not at all where the ground as surveyed lets the water out."""
        signs = self.fills.signs(cuts, levels[0])
        floor = start[0] + window.row0, start[1] + window.col0
        if signs["filled_share"] > 0.0 and self._runs_open(window, floor, levels):
            return {**signs, "filled_share": 0.0}
        return signs

    def _runs_open(self, window: Window, floor: tuple[int, int], levels: tuple[float, float]) -> bool:
        h, w = window.pool.shape
        box = (slice(window.row0, window.row0 + h), slice(window.col0, window.col0 + w))
        start = floor[0] - window.row0, floor[1] - window.col0
        return runs_open(self.surfaces.smooth[box], window.pool, start, levels, self.beyond)

    def _signs(self, window: Window, at: tuple[float, float, float], inside: dict[int, np.ndarray]) -> dict[str, float]:
        """What pool, shore and the lines in the pool show; `at` is (spill, floor, top of a pit dug into it) [m]."""
        spill = at[0]
        deep = deep_ground(window.natural, window.pool, at, self.s.offer_depth_m)
        h, w = window.pool.shape
        box = (slice(window.row0, window.row0 + h), slice(window.col0, window.col0 + w))
        unheld = unheld_shore(window.natural, window.corridor, window.pool, (spill, 0.05), round(25.0 / self.cell_m))
        ditches = self.network.ditches
        return {
            "pool_m2": float(window.pool.sum()) * self.cell_m**2,
            "water_share": float(self.terrain.water[box][window.pool].mean()),
            "shore_slope": self._shore_slope(window),
            "half_width_m": self._half_width(window.pool),
            "deep_half_m": self._half_width(deep),
            "dug_share": float(((window.corridor & CUT) > 0)[window.pool].mean()),
            "unheld_m": unheld * self.cell_m,
            "ditch_in_pool_m": sum(at.size for at in inside.values()) * self.cell_m,
            "drain_in_pool_m": sum(at.size for j, at in inside.items() if ditches[j].kind != "roadside") * self.cell_m,
            "sure_in_pool_m": sum(at.size for j, at in inside.items() if ditches[j].sure) * self.cell_m,
            "bed_in_pool_m": min((float(ditches[j].bed_m[at].min()) for j, at in inside.items()), default=np.nan),
        }

    def _streams(self, wet: dict[int, np.ndarray], pool: BOOL) -> dict[str, float]:
        """Length in the pool of natural streams, and share of it that lies between the banks of any listed one.

        Long enough to be sure of: faint ones are the lows of the ground, of the basin itself as well.
        """
        ditches, long = self.network.ditches, self.s.stream_m / self.cell_m
        own = [j for j in wet if ditches[j].ditch_id in self.stream and ditches[j].sure]
        wide = sum(float(np.nansum(ditches[j].top_width_m[wet[j]])) for j in own)
        return {
            "stream_in_pool_m": sum(wet[j].size for j in own if ditches[j].row.size >= long) * self.cell_m,
            "stream_share": wide / (float(pool.sum()) * self.cell_m),
        }

    def _half_width(self, mask: BOOL) -> float:
        """Radius of the largest circle inside [m]."""
        return float(np.sqrt(squared_distance(np.pad(mask, 1)).max())) * self.cell_m

    def _turn_down(self, c: Candidate) -> str | None:
        at = self.network.by_id.get(c.cuts[0].ditch_id) if c.cuts and c.cuts[0].ditch_id is not None else None
        why = reason_against(c, None if at is None else self.network.ditches[at], self.cell_m, self.s)
        if why is None and road_share(c, self.surfaces, self.network, self.cell_m, self.s) >= self.s.road_share:
            return "it stands between the two ditches of a road: the road itself, not a basin"
        return why

    def _sides(self, window: Window, spill: float, pit: float) -> dict[str, float]:
        """How steep the undug sides above a pit are halfway down, and how much of the pool they are."""
        h, w = window.pool.shape
        box = (slice(window.row0, window.row0 + h), slice(window.col0, window.col0 + w))
        free = window.pool & ((window.corridor & (CUT | FILL | SPOIL)) == 0) & (window.natural > pit)
        slope, share, depth = sides(self.surfaces.smooth[box], free, spill, self.cell_m)
        return {"side_slope": slope, "side_share": share, "side_depth_m": depth}

    def _shore_slope(self, window: Window) -> float:
        """Upper quartile slope of undug ground within 3 m inside the shore: steep for pits, gentle for basins."""
        steps = max(1, round(3.0 / self.cell_m))
        ring = shore_ring(np.ascontiguousarray(window.pool), steps)
        free = ring & ((window.corridor & (CUT | FILL | SPOIL)) == 0)
        if not free.any():
            return 0.0
        # the part with the ring and a cell around it, so that slopes are those of the whole
        part = tuple(
            slice(max(0, int(at[0]) - 1), int(at[-1]) + 2) for at in (np.flatnonzero(free.any(axis=k)) for k in (1, 0))
        )
        origin = (window.row0, window.col0)
        box = tuple(slice(p.start + o, min(p.stop, n) + o) for p, o, n in zip(part, origin, free.shape, strict=True))
        d_row, d_col = np.gradient(self.surfaces.smooth[box], self.cell_m)
        slope = np.hypot(d_row, d_col)[free[part]]
        slope = slope[np.isfinite(slope)]
        return float(np.percentile(slope, 75)) if slope.size else 0.0


__all__ = ["Finder", "Found"]
