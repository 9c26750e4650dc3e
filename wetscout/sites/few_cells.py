"""Pools that are small or shallow for the cells they are seen in: what makes up for it."""

from __future__ import annotations

from wetscout.records import Candidate, Ditch
from wetscout.settings.sites import SiteSettings


def few_cells(area_m2: float, depth_m: float, cell_m: float, s: SiteSettings) -> tuple[bool, bool]:
    """Whether a pool is small, and whether it is shallow, for the cells it is seen in.

    Parameters
    ----------
    area_m2, depth_m : float
        Of the pool [m2], [m].
    cell_m : float
        Cell size [m].
    s : SiteSettings

    Returns
    -------
    small, shallow : bool
        320 m2 are 80 cells of 2 m; a wide pool is seen in many cells, however shallow.
    """
    small = area_m2 < min(s.min_area_m2 * max(cell_m, 1.0) ** 2, s.coarse_area_m2)
    shallow = depth_m < s.offer_depth_m * min(max(cell_m, 1.0), 2.0)
    return small, shallow and (cell_m <= s.fine_cell_m or area_m2 < s.coarse_wide_m2)


def why_small(c: Candidate, main: Ditch | None, cell_m: float, s: SiteSettings) -> str | None:
    """Coarse cells show small and shallow hollows that are none: there the drain must be beyond doubt.

    A strip along a passing ditch is no basin: small pools must be compact as well, and what is dug is ditch, not pool.

    Parameters
    ----------
    c : Candidate
    main : Ditch or None
        Line at the first cut.
    cell_m : float
        [m].
    s : SiteSettings

    Returns
    -------
    str or None
        What speaks against it.
    """
    area, depth = c.signs["pool_m2"], c.spill_m - c.floor_m
    coarse = cell_m > s.fine_cell_m
    small, shallow = few_cells(area * (1.0 - c.signs["dug_share"]) if coarse else area, depth, cell_m, s)
    if coarse and (small or shallow):
        proven, drawn, undug = _proven(c, main, s), _drawn(c, main, cell_m, s), _undug(c, main, cell_m, s)
        compact = area >= s.min_area_m2 and area <= s.compact * c.signs["half_width_m"] ** 2
        small &= not (drawn or (undug and _compact(c, cell_m, s)) or (proven and compact) or _wide(c, main, s))
        shallow &= not ((proven or drawn or undug) and depth >= s.coarse_depth_m)
    if small:
        return "too small for this cell size"
    return "too shallow for this DEM" if shallow else None


def _drawn(c: Candidate, main: Ditch | None, cell_m: float, s: SiteSettings) -> bool:
    """Whether a listed, straight ditch begins or ends in a compact pool and is cut well below its spill at the rim.

    In cells of 3 m no bed need show below the floor: of 38 pools there turned down for few cells alone 31 were drained
    basins, six overlapped one and one was nothing (invented ground).
    """
    listed = main is not None and main.sure and main.kind == "ditch" and main.straightness >= s.woods_straight
    cut = c.signs["listed_cuts"] > 0.5 and c.signs["cut_depth_m"] >= s.plain_cut_m
    own = c.signs["dug_share"] <= s.dug_share and not c.signs["rough_ground"] and c.signs["drain_in_pool_m"] > 0.0
    return bool(listed and cut and own and _compact(c, cell_m, s) and not _boxed(c, s))


def _compact(c: Candidate, cell_m: float, s: SiteSettings) -> bool:
    """Whether a pool is no strip; half widths are known to half a cell."""
    return bool(c.signs["pool_m2"] <= s.compact * (c.signs["half_width_m"] + 0.5 * cell_m) ** 2)


def _undug(c: Candidate, main: Ditch | None, cell_m: float, s: SiteSettings) -> bool:
    """Whether little of it is dug, on smooth ground, and the rim is cut by more than noise in cells of 3 m could feign.

    Of 52 pools turned down for few cells alone at 2 and 3 m (145 invented squares) 40 were drained basins, eleven
    overlapped one and one was nothing.
    """
    plain = main is not None and main.kind != "natural stream" and not c.signs["rough_ground"] and not _boxed(c, s)
    cut = c.signs["cut_depth_m"] >= s.plain_cut_m and c.signs["dug_share"] <= s.known_dug
    return bool(plain and cut and cell_m <= s.undug_cell_m)


def _wide(c: Candidate, main: Ditch | None, s: SiteSettings) -> bool:
    """Whether a drain begins in a hollow that reaches far enough from its shore to be more than a strip.

    Half of 0.1 ha counts as dug where a ditch of 3 m is seen in cells of 3 m, and is basin all the same.
    """
    if main is None or main.kind == "natural stream" or c.signs["rough_ground"] or _boxed(c, s):
        return False
    far = c.signs["half_width_m"] >= s.coarse_half_m and c.signs["dug_share"] <= s.dug_share
    deep = c.spill_m - c.floor_m >= s.weak_depth_m and c.signs["cut_depth_m"] >= s.plain_cut_m
    ditch = (main.sure or main.bank_climb_m >= s.weak_climb_m) and c.signs["ditch_in_pool_m"] > 0.0
    return bool(far and deep and ditch and c.upstream_m <= s.coarse_upstream_m)


def _boxed(c: Candidate, s: SiteSettings) -> bool:
    """Whether the sides are a pit's, which keeps its flat floor in coarse cells though its sides are less steep."""
    side, share, half = c.signs["side_slope"], c.signs["side_share"], c.signs["half_width_m"]
    return bool(side * half > s.pit_side * c.signs["side_depth_m"] and share < s.coarse_share)


def _proven(c: Candidate, main: Ditch | None, s: SiteSettings) -> bool:
    """Whether a listed ditch, or one with the best sign, cuts rim and floor by more than coarse cells could feign.

    Cells average bed and banks, so a bed shows too high in them and never too low.
    """
    if main is None or c.signs["rough_ground"] or _boxed(c, s):
        return False
    below = c.floor_m - c.signs["bed_in_pool_m"]
    listed = main.sure and main.kind in ("ditch", "straightened stream") and c.signs["listed_cuts"] > 0.5
    cut = c.signs["cut_depth_m"] >= s.plain_cut_m and below >= s.bed_below_m
    return cut and (listed or climbs(c, main, below, s))


def climbs(c: Candidate, main: Ditch | None, below: float, s: SiteSettings) -> bool:
    """The best sign, which outranks length and listing: a straight bed below the floor whose banks climb downstream.

    Parameters
    ----------
    c : Candidate
    main : Ditch or None
        Line at the first cut.
    below : float
        How far its bed lies below the floor [m].
    s : SiteSettings

    Returns
    -------
    bool
    """
    return (
        main is not None
        and main.kind == "ditch"
        and main.bank_climb_m >= s.weak_climb_m
        and main.straightness >= s.known_straight
        and below >= s.bed_below_m
        and c.signs["dug_share"] <= s.known_dug
    )
