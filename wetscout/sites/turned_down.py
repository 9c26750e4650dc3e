"""Why a cut basin is not offered: what invented landscapes and real ground showed to be no basin."""

from __future__ import annotations

import numpy as np

from wetscout.records import COARSE_BED, Candidate, Ditch
from wetscout.settings.sites import SiteSettings
from wetscout.sites.few_cells import climbs, why_small
from wetscout.sites.passed_by import passed_by

# basins deeper than this stay drained in the main where silt has lifted the bed a little above the floor [m]
SILTED_FROM_M = 0.3
# the end of a line lies in a pool by chance up to here [cells]
TOUCH_CELLS = 2.5
PASSED_BY = "a ditch runs past behind fill, and only a pipe that nobody saw would lead to it"
PLUGGED = "earth fills the ditch at the rim: plugged already, or a crossing whose pipe is not known"


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
    if why := _ways(c, main, cell_m, s):
        return why
    if why := why_small(c, main, cell_m, s):
        return why
    if why := _shape(c, main, cell_m, s) or _stream(c, main, cell_m, s) or _ditch(c, main, cell_m, s):
        return why
    if why := _woods(c, main, s):
        return why
    return PASSED_BY if passed_by(c, main, cell_m) else None


def _ways(c: Candidate, main: Ditch | None, cell_m: float, s: SiteSettings) -> str | None:
    """There must be a way out that is open and along a ditch; what was dug so deep is seen.

    Of 15 invented sites without a listed ditch those in gullies had cuts of 1.8 to 3.6 m, and 0.33-0.59 of their pool
    lay in the gully, taken for a ditch; the others had cuts of 1.1 m at most, or 2.1 m and 0.06. Of two later ones with
    cuts of 1.8 and 2.2 m, both drained, 0.23 was dug in cells of 1 m and 0.38 in cells of 2 m.
    """
    if not c.cuts:
        return "no way out below the spill was found"
    if c.signs["filled_share"] > 0.0 and c.signs["open_ditches"] <= 0.0:
        return PLUGGED
    if all(cut.ditch_id is None for cut in c.cuts):
        return "held by road fill only: no ditch runs through the rim"
    unlisted = c.signs["listed_cuts"] <= 0.0 and not (main is not None and main.sure)
    if (
        unlisted
        and c.signs["cut_depth_m"] > s.unlisted_cut_m
        and c.signs["dug_share"] > s.unlisted_dug * max(cell_m, 1.0)
    ):
        return "a deep cut with no clear ditch in it: a gully or a valley, not a drained basin"
    return None


def _shape(c: Candidate, main: Ditch | None, cell_m: float, s: SiteSettings) -> str | None:
    """Pits, ponds and channels told by the shape of their pool."""
    half, area, dug = c.signs["half_width_m"], c.signs["pool_m2"], c.signs["dug_share"]
    narrow = half < s.half_width_m or (half < 1.5 * s.half_width_m and area > s.slim * half * half)
    most_dug = dug > s.dug_share and (half < 1.3 * s.half_width_m or area > s.dug_slim * half * half)
    # a drain that runs well into the pool was dug for it; an arm or a swale has one along its whole length, or none
    length = area / max(2.0 * half, 1.0)
    entered = 0.5 * half <= c.signs["drain_in_pool_m"] <= s.arm_along * length
    entered = entered and (area <= 1.5 * s.arm * half * half or _led_in(main, s))
    tests = (
        (
            area > s.arm * half * half and half < 5 * s.half_width_m and not entered and not _swale(c, main, s),
            "long and narrow: an old river arm or a channel, not a basin",
        ),
        (narrow or most_dug or dug > s.all_dug, "the pool is a channel, not a basin"),
        (
            c.signs["deep_half_m"] < s.deep_half_m,
            "only a strip as wide as a ditch is deep: a piece of a ditch or the edge of a pond, not a basin",
        ),
        (_beside(c, s), "a strip of ground along a passing ditch: held by the bank beside it, not a basin"),
        (c.today_m < c.floor_m - 0.05 * (c.spill_m - c.floor_m), "the floor itself is dug out"),
        (_pit(c, cell_m, s), "steep sides all round: a dug pond, a pit or a channel, not a wetland basin"),
    )
    return next((why for failed, why in tests if failed), None)


def _beside(c: Candidate, s: SiteSettings) -> bool:
    """A pool that is mostly the ditch that runs along all of it, on shores that are banks."""
    along = c.signs["ditch_in_pool_m"] >= s.strip_ditch * c.signs["half_width_m"]
    return bool(along and c.signs["dug_share"] >= s.strip_dug and c.signs["shore_slope"] >= s.strip_shore)


def _swale(c: Candidate, main: Ditch | None, s: SiteSettings) -> bool:
    """Swales between ridges are long too; their shores are flat, and a ditch with climbing banks cuts an end."""
    return (
        main is not None
        and main.sure
        and main.kind == "ditch"
        and main.straightness >= s.known_straight
        and main.bank_climb_m >= max(2 * s.weak_climb_m, 0.5 * (c.spill_m - c.floor_m))
        and c.signs["shore_slope"] <= s.swale_shore
    )


def _led_in(main: Ditch | None, s: SiteSettings) -> bool:
    """The way out of an arm winds as the arm did: a straight ditch with climbing banks was dug, however long a pool."""
    straight = main is not None and main.kind == "ditch" and main.straightness >= s.known_straight
    return main is not None and straight and main.bank_climb_m >= s.weak_climb_m


def _stream(c: Candidate, main: Ditch | None, cell_m: float, s: SiteSettings) -> str | None:
    """Where the water leaves by a stream, something dug must lead to it from well inside the pool.

    A pool in which a stream runs on and on is its channel or its valley, whatever small ditch joins it there.
    """
    if c.signs["stream_share"] >= s.stream_share:
        return "most of it lies between the banks of a stream or a wide old ditch: a channel, not a basin"
    runs = c.signs["stream_in_pool_m"]
    if runs >= s.stream_pool_m and runs > s.stream_over * c.signs["drain_in_pool_m"]:
        return "a stream runs through it: its channel or its valley, not a drained basin"
    stream = main is not None and main.kind == "natural stream" and main.row.size * cell_m >= s.stream_m
    if not stream or c.signs["drain_in_pool_m"] >= 0.5 * c.signs["half_width_m"]:
        return None
    return "a stream runs out and no ditch leads to it: a valley or its flood plain, not a drained basin"


def _pit(c: Candidate, cell_m: float, s: SiteSettings) -> bool:
    """Dug sides are steep, and steep for the depth: a pit has a flat floor, a hollow of ice or wind is a bowl.

    Large hollows between knolls have flat floors and steep shores of their own. Where a pool spreads over the edge of a
    pit its shore is flat; halfway down it is as steep as it was dug.
    """
    slope, half = c.signs["shore_slope"], c.signs["half_width_m"]
    bowl = slope * half / max(c.spill_m - c.floor_m, 0.01)
    below = c.floor_m - c.signs["bed_in_pool_m"]
    side, depth = c.signs["side_slope"], c.signs["side_depth_m"]
    boxed = s.boxed((side, c.signs["side_share"], depth), half, cell_m)
    # a shore alone misleads where the pool ends in a steep bank of a stream on one side
    dug_side = side * half > s.pit_side * depth
    if c.signs["pool_m2"] < s.side_area_m2 and (boxed or (side > s.side_steep and depth > s.side_deep * half)):
        return True
    return bool(
        slope > s.pit_slope
        or (slope > s.pit_from and bowl > s.pit_bowl and c.signs["pool_m2"] < s.pit_area_m2 and dug_side)
        or (slope > s.shore_slope and not below >= 2 * s.bed_below_m)
    )


def _ditch(c: Candidate, main: Ditch | None, cell_m: float, s: SiteSettings) -> str | None:
    """What drains it must cut the rim, and the rim must be ground."""
    coarse = max(cell_m - 1.0, 0.0)
    # the end of a faint line may touch any pool, by two cells where they are wide
    touch = max(s.touch_m, TOUCH_CELLS * cell_m) if c.signs["listed_cuts"] <= 0.0 else 0.01
    none = c.signs["ditch_in_pool_m"] < touch
    # a pipe out of a pool in which nothing was dug needs a road to lie under: guessed from the low of a whole hollow
    # into a ditch 5 m beyond its rim made a site of it. Of some 1190 right sites on 100 squares none has such a way out
    led = _led(c, main) and max(c.signs["road_at_cut"], c.signs["named_at_cut"]) > 0.0
    reached = not none or led or _leaves(c, main, s)
    if not reached or c.signs["cut_depth_m"] < s.cut_depth_m - 0.07 * coarse:
        return "no ditch enters the pool, or the way out is hardly cut"
    drains = c.signs["drain_in_pool_m"] >= s.unheld_drain * c.signs["ditch_in_pool_m"] or _crosses(c, s)
    if c.signs["unheld_m"] > (s.unheld_most_m if drains else s.unheld_m):
        return "held by a road strip or a channel only: the ground behind it lies lower"
    below = c.floor_m - c.signs["bed_in_pool_m"]
    why = _faint(c, main, (below, cell_m), s) or _depth(c, main, (below + COARSE_BED * coarse, COARSE_BED * coarse), s)
    if why or c.upstream_m <= s.upstream_m:
        return why
    return _passing(c, c.spill_m - c.floor_m, below + COARSE_BED * coarse, s)


def _leaves(c: Candidate, main: Ditch | None, s: SiteSettings) -> bool:
    """Whether a listed ditch whose banks climb begins at the rim: what leads to it from the floor has silted up."""
    dug = main is not None and main.sure and main.kind == "ditch" and main.bank_climb_m >= 2 * s.weak_climb_m
    cut = c.signs["listed_cuts"] > 0.5 and c.signs["cut_depth_m"] >= s.plain_cut_m
    return dug and cut and bool(c.cuts) and c.cuts[0].ditch_id is not None


def _crosses(c: Candidate, s: SiteSettings) -> bool:
    """Whether the ditch only comes in over the shore; one beside a road runs along it."""
    return bool(c.signs["ditch_in_pool_m"] <= s.crossing_reach * c.signs["half_width_m"])


def _faint(c: Candidate, main: Ditch | None, at: tuple[float, float], s: SiteSettings) -> str | None:
    """A line that is not listed must prove itself by its depth or its banks."""
    below, cell_m = at
    reaches = min(0.5 * c.signs["half_width_m"], s.reach_into_m)
    proven = c.signs["sure_in_pool_m"] >= reaches or climbs(c, main, below, s) or _deep(c, main, at, s)
    proven = proven or _dug_for(c, main, s)
    if cell_m > s.fine_cell_m and not proven:
        return "at this cell size only faint lines enter the pool, and most of those are no drains"
    drains = c.signs["drain_in_pool_m"] >= 0.5 * c.signs["ditch_in_pool_m"]
    faint = main is None or (not main.sure and main.bank_climb_m < s.weak_climb_m)
    deep = below >= (1.5 if drains else 3.0) * s.bed_below_m
    small = c.spill_m - c.floor_m < s.weak_depth_m or c.signs["pool_m2"] < s.weak_area_m2
    if faint and small and not deep and not _plain(c, main, below, s):
        return "small, and little says that a drain was dug here"
    return None


def _deep(c: Candidate, main: Ditch | None, at: tuple[float, float], s: SiteSettings) -> bool:
    """Furrows, rides and tracks are not cut through rim and floor of a basin; a short or blurred line of a drain is.

    Where a ditch is led under a road at the rim, its bed beyond the road counts.
    """
    below, cell_m = at
    if _led(c, main):
        below = float(np.fmax(below, c.floor_m - c.signs["bed_at_cut_m"]))
    cut = c.signs["cut_depth_m"] >= s.plain_cut_m and below + COARSE_BED * (cell_m - 1.0) >= s.bed_below_m
    return main is not None and cut and c.signs["dug_share"] <= s.known_dug and not c.signs["rough_ground"]


def _plain(c: Candidate, main: Ditch | None, below: float, s: SiteSettings) -> bool:
    """Banks of a shallow basin climb little: a straight line cut well below spill and floor is plain all the same."""
    return (
        main is not None
        and main.kind == "ditch"
        and main.straightness >= s.known_straight
        and below >= (s.bed_least_m if _begins(c, s) else s.bed_below_m)
        and c.signs["cut_depth_m"] >= s.plain_cut_m
    )


def _begins(c: Candidate, s: SiteSettings) -> bool:
    """Whether a ditch begins in this pool and cuts its rim: dug for it, though the bed may stop above its floor."""
    drains = c.signs["drain_in_pool_m"] >= 0.5 * c.signs["ditch_in_pool_m"] > 0.0
    return bool(drains and c.upstream_m <= s.upstream_m and c.signs["cut_depth_m"] >= s.plain_cut_m)


def _dug_for(c: Candidate, main: Ditch | None, s: SiteSettings) -> bool:
    """Whether a ditch that is listed, or whose banks climb, begins in this pool, most of which is not dug."""
    dug = main is not None and main.kind == "ditch" and (main.sure or main.bank_climb_m >= 2 * s.weak_climb_m)
    begins = _begins(c, s) or (_leaves(c, main, s) and c.signs["drain_in_pool_m"] > 0.0)
    return dug and begins and c.signs["dug_share"] <= s.known_dug and not c.signs["rough_ground"]


def _led(c: Candidate, main: Ditch | None) -> bool:
    """Whether a ditch leads away under a road at the rim: it need not be seen in the pool."""
    dug = main is not None and main.kind in ("ditch", "straightened stream") and main.sure
    return bool(dug and c.cuts and c.cuts[0].under_road)


def _depth(c: Candidate, main: Ditch | None, at: tuple[float, float], s: SiteSettings) -> str | None:
    """A drain had to be dug deeper than the deepest part of the wetland; a roadside ditch only passes by."""
    below, coarse_m = at
    half = c.spill_m - c.today_m < s.lost_share * (c.spill_m - c.floor_m)
    if half and max(c.signs["drain_in_pool_m"], c.signs["sure_in_pool_m"]) <= 0.0:
        # held back by road fill, with a short piece of roadside ditch
        return "no ditch reaches below the floor"
    beside_road = main is not None and main.kind == "roadside"
    # climbing banks outrank listing
    known = main is not None and (main.sure or (main.kind == "ditch" and main.bank_climb_m >= 2 * s.weak_climb_m))
    dug = main is not None and main.kind in ("ditch", "straightened stream")
    led = _led(c, main)
    weak = (c.signs["sure_in_pool_m"] <= 0 and not led) or not known or beside_road
    if led:
        below = float(np.fmax(below, c.floor_m - c.signs["bed_at_cut_m"] + coarse_m))
    least = s.bed_below_m if weak else s.bed_least_m
    if dug:
        least -= s.silt_share * max(0.0, c.spill_m - c.floor_m - SILTED_FROM_M)
    # an outlet deepened just to the floor is crooked and blunt; in cells of 2 m and more nearly all lines are
    unclear = main is not None and main.kind == "unclear" and coarse_m <= COARSE_BED * (s.fine_cell_m - 1.0)
    if below < least and not ((dug or unclear) and _begins(c, s)):
        return "no ditch reaches below the floor"
    drains = c.signs["drain_in_pool_m"] >= 0.5 * c.signs["ditch_in_pool_m"] or _crosses(c, s)
    if beside_road and not drains and c.spill_m - c.floor_m < s.roadside_depth_m:
        return "held by road fill, drained by the ditch beside the road"
    return None


def _woods(c: Candidate, main: Ditch | None, s: SiteSettings) -> str | None:
    """In woods and yards a line must be listed, no roadside, and its banks climb: those of tracks and hedges do not.

    Most of the ways out must run along listed lines, too, and closing them must close the pool: plugs on faint lines
    would be guesses. A line that winds much is a brook, one with water from above where it winds at all.
    """
    straight = s.known_straight if c.upstream_m > s.upstream_m else s.woods_straight
    brook = main is not None and main.straightness < straight
    proven = (
        main is not None
        and main.sure
        and main.kind in ("ditch", "straightened stream")
        and main.bank_climb_m >= s.weak_climb_m
        and c.signs["listed_cuts"] > 0.5
        and c.closes
        and not brook
    )
    if c.signs["rough_ground"] and not proven:
        return "woods, yards or tracks: rough ground full of faint lines, and none is proven to be a drain"
    return None


def _passing(c: Candidate, depth: float, below: float, s: SiteSettings) -> str | None:
    """A ditch that comes from above runs past many hollows that it did not drain."""
    half = c.signs["half_width_m"]
    pit = depth > s.pit_ratio * half and c.signs["shore_slope"] * half > s.passing_bowl * depth
    if pit and c.signs["pool_m2"] < s.passing_area_m2 and below < 2 * s.bed_below_m:
        return "a small hollow beside a passing ditch that does not reach below its floor: a pond or pit"
    return None
