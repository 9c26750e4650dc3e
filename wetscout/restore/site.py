"""From a candidate basin to a site with its first numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from wetscout import large
from wetscout.records import F32, Candidate, Cut, Ditch, Plug, Site, Surfaces, Terrain
from wetscout.restore.hold import Ground, lay
from wetscout.restore.plug import PlugSize
from wetscout.restore.pool import stage_table, volume_m3
from wetscout.settings.restore import RestoreSettings
from wetscout.units import ACRE_M2

# ground looked at around a pool for the way out [m]
AROUND_M = 80.0
# Where so many ditches meet in one pool one of them brings water from above, whichever it is: of 15 pools with three
# and more plugs that levels alone called a start, on four makers' landscapes at 1-3 m, eleven had 36-1600 m of ditch
# above.
MEETING = 3


def drain_position(c: Candidate, plugs: int, passes_at_m: float) -> str:
    """Whether a ditch starts in a pool, or carries other people's water through it.

    Parameters
    ----------
    c : Candidate
        Its ditch from above, and its sign ``from_beyond``: one enters from the edge of the ground.
    plugs : int
        Plugs that close it.
    passes_at_m : float
        More ditch than this from above means the drain passes through [m].

    Returns
    -------
    str
        ``starts here`` only where nothing speaks against it.
    """
    beyond = c.signs["from_beyond"] > 0.0
    return "passes through" if c.upstream_m > passes_at_m or beyond or plugs >= MEETING else "starts here"


class Builder:
    """Works out the numbers of candidate basins.

    Parameters
    ----------
    terrain : Terrain
    surfaces : Surfaces
    filled_today : float32 (rows, cols)
        Today's surface, depressions raised to their spill levels [m].
    ditches : mapping of int to Ditch
    s : RestoreSettings
    """

    def __init__(
        self,
        terrain: Terrain,
        surfaces: Surfaces,
        filled_today: F32,
        ditches: Mapping[int, Ditch],
        s: RestoreSettings,
    ) -> None:
        self.terrain = terrain
        self.surfaces = surfaces
        self.filled_today = filled_today
        self.ditches = ditches
        self.s = s
        self.cell_m = terrain.grid.cell_m
        self.cell_m2 = terrain.grid.cell_m2

    def site(self, c: Candidate, site_id: str, passes_at_m: float) -> Site:
        """Numbers of one candidate.

        Parameters
        ----------
        c : Candidate
        site_id : str
            A working name, replaced when ids are given.
        passes_at_m : float
            More ditch than this from above means the drain passes through [m].

        Returns
        -------
        Site
        """
        h, w = c.pool.mask.shape
        box = (slice(c.pool.row0, c.pool.row0 + h), slice(c.pool.col0, c.pool.col0 + w))
        pool, ground = c.pool.mask, self.surfaces.natural[box]
        cuts, plugs = self._plugs(c, site_id)
        levels = stage_table(ground, pool, (c.floor_m, c.spill_m), self.s.level_steps, self.cell_m2)
        area = float(pool.sum() * self.cell_m2)
        depth = np.clip(c.spill_m - ground[pool].astype(np.float64), 0.0, None)
        volume = volume_m3(depth, self.cell_m2)
        stands = pool & (self.filled_today[box] > self.surfaces.today[box] + 1e-4)
        held = float(stands.sum() * self.cell_m2)
        held_m3 = volume_m3((self.filled_today[box] - self.surfaces.today[box])[stands].astype(float), self.cell_m2)
        catchment = float(c.catchment.mask.sum() * self.cell_m2)
        earth = sum(p.values["fill_m3"] for p in plugs)
        values: dict[str, Any] = {
            "origin": "found",
            "drained_by": self._drained_by(c),
            "confidence": self._confidence(c),
            "drain_position": drain_position(c, len(plugs), passes_at_m),
            "upstream_ditch_m": c.upstream_m,
            "cuts_n": len(cuts),
            "spill_m": c.spill_m,
            "today_m": c.today_m,
            "lost_m": c.spill_m - c.today_m,
            "floor_m": c.floor_m,
            "depth_max_m": c.spill_m - c.floor_m,
            "depth_mean_m": volume / area if area else None,
            "pool_m2": area,
            "pool_ac": area / ACRE_M2,
            "volume_m3": volume,
            "gain_m2": max(area - held, 0.0),
            "gain_ac": max(area - held, 0.0) / ACRE_M2,
            "gain_m3": max(volume - held_m3, 0.0),
            "catchment_m2": catchment,
            "catchment_ratio": (catchment - area) / area if area else None,
            "pool_m2_per_fill_m3": area / earth if earth > 0 else None,
            "water_at_survey_m2": float((self.terrain.water[box] & pool).sum() * self.cell_m2),
            "edge": int(c.edge),
            "_floor_row": c.floor_at[0],
            "_floor_col": c.floor_at[1],
            "_spill_row": c.spill_at[0],
            "_spill_col": c.spill_at[1],
            "_node": c.node,
            "_ditch_ids": c.ditch_ids,
            "_cut_ditch_ids": tuple(cut.ditch_id for cut in cuts if cut.ditch_id is not None),
            "_under_road": any(cut.under_road for cut in cuts),
            "_closes": c.closes,
            "_signs": dict(c.signs),
            "_dry": large.keep(pool & ~stands),
        }
        return Site(site_id, c.pool, c.catchment, levels, plugs, self._spill_points(c), values)

    def _spill_points(self, c: Candidate) -> tuple[tuple[str, int, int, float], ...]:
        points = [("natural", c.spill_at[0], c.spill_at[1], c.spill_m)]
        points += [("today", c.cuts[0].row, c.cuts[0].col, c.cuts[0].exit_m)] if c.cuts else []
        points += [("next", c.next_at[0], c.next_at[1], c.next_at[2])] if c.next_at else []
        return tuple(points)

    def _plugs(self, c: Candidate, site_id: str) -> tuple[list[Cut], tuple[Plug, ...]]:
        """Plugs that hold, and the cuts they close."""
        today, natural = self.surfaces.today, self.surfaces.natural
        h, w = c.pool.mask.shape
        pad = round(AROUND_M / self.cell_m)
        r0, c0 = max(0, c.pool.row0 - pad), max(0, c.pool.col0 - pad)
        box = (slice(r0, c.pool.row0 + h + pad), slice(c0, c.pool.col0 + w + pad))
        pool = np.zeros(today[box].shape, dtype=bool)
        pool[c.pool.row0 - r0 : c.pool.row0 - r0 + h, c.pool.col0 - c0 : c.pool.col0 - c0 + w] = c.pool.mask
        noise = self.terrain.noise_m
        ground = Ground(r0, c0, self.terrain.z[box], today[box], natural[box], pool, self.cell_m, noise)
        cuts, sizes = lay(ground, c, today, self.s)
        pairs = enumerate(zip(cuts, sizes, strict=True))
        return cuts, tuple(self._plug(cut, size, c, site_id, k + 1) for k, (cut, size) in pairs)

    def _plug(self, cut: Cut, size: PlugSize, c: Candidate, site_id: str, order: int) -> Plug:
        values = {
            "spill_m": c.spill_m,
            "crest_m": size.crest_m,
            # closed cuts are let stand 0.06 m under the spill; water leaves at the spill or above
            "overflow_m": max(c.next_at[2], c.spill_m) if c.next_at else None,
            "bed_m": size.bed_m,
            "height_m": size.height_m,
            "across_m": size.across_m,
            "along_m": size.along_m,
            "fill_m3": size.fill_m3,
            "_row": cut.row,
            "_col": cut.col,
            "_under_road": cut.under_road,
        }
        return Plug(f"{site_id}-{order}", site_id, cut.ditch_id, order, size.row, size.col, values)

    def _drained_by(self, c: Candidate) -> str:
        main = c.cuts[0]
        if main.under_road:
            return "ditch under road"
        ditch = self.ditches.get(main.ditch_id) if main.ditch_id is not None else None
        if ditch is None:
            return "unclear"
        if ditch.kind in ("straightened stream", "natural stream") or ditch.straightness < 0.8:
            return "deepened outlet"
        return "ditch"

    def _confidence(self, c: Candidate) -> str:
        main = c.cuts[0]
        ditch = self.ditches.get(main.ditch_id) if main.ditch_id is not None else None
        deep = main.rim_m - main.bed_m
        sure = ditch is not None and ditch.sure and ditch.kind not in ("natural stream", "grassed waterway")
        reaches = c.signs["sure_in_pool_m"] >= min(0.5 * c.signs["half_width_m"], 20.0)
        climbs = ditch is not None and ditch.bank_climb_m >= 0.2
        noise = max(self.terrain.noise_m, 0.01)
        large = c.spill_m - c.floor_m >= max(0.3, 6 * noise)
        if not reaches:
            # only faint lines enter the pool; on real ground most of those are furrows, tracks and rough grass
            return "low"
        # on rough ground full of faint lines a track looks like a ditch: one step less sure
        wild = bool(c.signs.get("rough_ground", 0.0))
        if sure and climbs and large and deep >= 0.4 and c.closes:
            return "medium" if wild else "high"
        if (sure or climbs) and c.closes and deep >= 0.2 and not wild:
            return "medium"
        return "low"


def too_much_earth(site: Site, s: RestoreSettings) -> bool:
    """Whether the plugs of a site need more earth than the water they would hold is worth, or are many for its pool.

    A pool that is seen in few cells must earn its earth once over: in such cells it may be none. So must one with
    several openings: small and with one every few steps it is a yard, a moat or broken ground.

    Parameters
    ----------
    site : Site
    s : RestoreSettings

    Returns
    -------
    bool
    """
    earth = sum(float(plug.values["fill_m3"]) for plug in site.plugs)
    few = float(site.values.get("_signs", {}).get("few_cells", 0.0)) > 0.0
    n = len(site.plugs)
    if n >= s.many_plugs and float(site.values["pool_m2"]) < s.pool_per_plug_m2 * n:
        return True
    once = few or n >= s.several_plugs
    return earth > (s.earth_per_few if once else s.earth_per_water) * float(site.values["volume_m3"])
