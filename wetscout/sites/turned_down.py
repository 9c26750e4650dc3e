"""Why a cut basin is not offered: what invented landscapes and real ground showed to be no basin."""

from __future__ import annotations

from wetscout.records import Candidate, Ditch
from wetscout.settings.sites import SiteSettings


def reason_against(c: Candidate, main: Ditch | None, cell_m: float, s: SiteSettings) -> str | None:
    """The first test a candidate fails, in words.

    Parameters
    ----------
    c : Candidate
        With the signs `Finder` measures.
    main : Ditch or None
        Line at the first cut.
    cell_m : float
        Cell size [m]; a bed seen in coarse cells stands up to 0.14 m too high at 2 m and 0.33 m at 3 m (own trials).
    s : SiteSettings

    Returns
    -------
    str or None
        None: nothing speaks against it.
    """
    if c.signs["water_share"] >= s.water_share:
        return "flat water at the time of survey: a lake or pond, its floor is not in this DEM"
    if not c.cuts:
        return "no way out below the spill was found"
    if all(cut.ditch_id is None for cut in c.cuts):
        return "held by road fill only: no ditch runs through the rim"
    # 320 m2 are 80 cells of 2 m: coarse cells show small hollows that are none
    least = min(s.min_area_m2 * max(cell_m, 1.0) ** 2, s.coarse_area_m2)
    if c.signs["pool_m2"] < least:
        return "too small for this cell size"
    shallow = s.offer_depth_m * min(max(cell_m, 1.0), 2.0)
    if c.spill_m - c.floor_m < shallow and (cell_m <= s.fine_cell_m or c.signs["pool_m2"] < s.coarse_wide_m2):
        return "too shallow for this DEM"
    return _shape(c, s) or _ditch(c, main, cell_m, s) or _woods(c, main, s)


def _shape(c: Candidate, s: SiteSettings) -> str | None:
    """Pits, ponds and channels told by the shape of their pool."""
    half, area = c.signs["half_width_m"], c.signs["pool_m2"]
    narrow = half < s.half_width_m or (half < 1.5 * s.half_width_m and area > s.slim * half * half)
    tests = (
        (
            area > s.arm * half * half and half < 5 * s.half_width_m,
            "long and narrow: an old river arm or a channel, not a basin",
        ),
        (narrow or c.signs["dug_share"] > s.dug_share, "the pool is a channel, not a basin"),
        (c.today_m < c.floor_m - 0.05 * (c.spill_m - c.floor_m), "the floor itself is dug out"),
        (
            c.signs["shore_slope"] > s.shore_slope,
            "steep sides all round: a dug pond, a pit or a channel, not a wetland basin",
        ),
    )
    return next((why for failed, why in tests if failed), None)


def _ditch(c: Candidate, main: Ditch | None, cell_m: float, s: SiteSettings) -> str | None:
    """What drains it must reach below the floor and cut the rim."""
    coarse = max(cell_m - 1.0, 0.0)
    depth = c.spill_m - c.floor_m
    if c.signs["ditch_in_pool_m"] <= 0 or c.signs["cut_depth_m"] < s.cut_depth_m - 0.07 * coarse:
        return "no ditch enters the pool, or the way out is hardly cut"
    beside_road = main is not None and main.kind == "roadside"
    below = c.floor_m - c.signs["bed_in_pool_m"]
    reaches = min(0.5 * c.signs["half_width_m"], s.reach_into_m)
    # the best sign outranks length and listing: a straight bed below the floor whose banks climb downstream
    known = (
        main is not None
        and main.kind == "ditch"
        and main.bank_climb_m >= s.weak_climb_m
        and main.straightness >= s.known_straight
        and below >= s.bed_below_m
        and c.signs["dug_share"] <= s.known_dug
    )
    if cell_m > s.fine_cell_m and not known and c.signs["sure_in_pool_m"] < reaches:
        return "at this cell size only faint lines enter the pool, and most of those are no drains"
    faint = main is None or (not main.sure and main.bank_climb_m < s.weak_climb_m)
    if faint and (depth < s.weak_depth_m or c.signs["pool_m2"] < s.weak_area_m2):
        return "small, and little says that a drain was dug here"
    weak = c.signs["sure_in_pool_m"] <= 0 or main is None or not main.sure or beside_road
    if weak and below < s.bed_below_m - 0.1 * coarse:
        return "no ditch reaches below the floor"
    drains = c.signs["drain_in_pool_m"] >= 0.5 * c.signs["ditch_in_pool_m"]
    if beside_road and not drains and depth < s.roadside_depth_m:
        return "held by road fill, drained by the ditch beside the road"
    return _passing(c, depth, below + 0.1 * coarse, s) if c.upstream_m > s.upstream_m else None


def _woods(c: Candidate, main: Ditch | None, s: SiteSettings) -> str | None:
    """In woods and yards a line must be listed, no roadside, and its banks climb: those of tracks and hedges do not.

    Most of the ways out must run along listed lines, too: plugs on faint ones would be guesses.
    """
    proven = (
        main is not None
        and main.sure
        and main.kind in ("ditch", "straightened stream")
        and main.bank_climb_m >= s.weak_climb_m
        and c.signs["listed_cuts"] > 0.5
    )
    if c.signs["rough_ground"] and not proven:
        return "woods, yards or tracks: rough ground full of faint lines, and none is proven to be a drain"
    return None


def _passing(c: Candidate, depth: float, below: float, s: SiteSettings) -> str | None:
    """A ditch that comes from above runs past many hollows that it did not drain."""
    if depth < s.passing_depth_m:
        return "a shallow strip along a passing ditch"
    pit = depth > s.pit_ratio * c.signs["half_width_m"]
    if pit and c.signs["pool_m2"] < s.passing_area_m2 and below < 2 * s.bed_below_m:
        return "a small hollow beside a passing ditch that does not reach below its floor: a pond or pit"
    return None
