"""Why a site ranks where it does, what to mind, and what the work is: sentences to read out to an owner.

Levels are spoken to 0.05 m, areas and earth to two figures; full digits stand in the file's number fields only.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from wetscout.ranking.phrases import say_area, say_level, say_number
from wetscout.ranking.row_words import along_the_water, in_a_row, on_unseen_ground
from wetscout.ranking.score import earth_m3, known, little_for_each_cut, passes_through, rough_ground
from wetscout.records import Site
from wetscout.settings.ranking import RankingSettings
from wetscout.units import ACRE_M2, YARD3_M3

LOCATE = "call the local utility locate service before anyone digs"
LAW = (
    "drainage law, neighbours' rights and permits go by local codes and licensed practice; "
    "this is a screening from elevation, not a survey or a design"
)


def reasons(site: Site, settings: RankingSettings, folded_under: str | None = None) -> str:
    """Say what speaks for a site and against it.

    Parameters
    ----------
    site : Site
        A basin offered for restoration.
    settings : RankingSettings
        Bounds of the criteria.
    folded_under : str, optional
        Site on the same ditch that ranks before it.

    Returns
    -------
    str
        Phrases parted by "; ", the weightiest first.
    """
    parts = [_position(site, settings), _price(site), _depth(site), _cuts(site), _catchment(site, settings)]
    parts.append(in_a_row(site))
    confidence = site.values.get("confidence")
    drained_by = site.values.get("drained_by")
    if confidence and drained_by:
        parts.append(f"{confidence} confidence that it was drained this way ({drained_by})")
    if rough_ground(site):
        parts.append("rough ground full of faint lines around it, ranked after clearer places")
    if little_for_each_cut(site, settings):
        parts.append("little water for so many cuts, ranked after better places")
    if folded_under is not None:
        parts.append(f"same ditch as site {folded_under}, judge the two together")
    return "; ".join(part for part in parts if part)


def cautions(site: Site, settings: RankingSettings) -> str:
    """Say what can go wrong or is not known.

    Parameters
    ----------
    site : Site
        A basin offered for restoration.
    settings : RankingSettings
        Bounds of the criteria.

    Returns
    -------
    str
        Phrases parted by "; "; the last two stand under every site.
    """
    values = site.values
    parts = []
    if passes_through(site):
        parts.append("the ditch carries other people's water: closing it backs water up onto land upstream")
    parts.extend(along_the_water(site))
    parts.extend(on_unseen_ground(site))
    if values.get("edge"):
        parts.append("touches an edge or hole of the elevation data: level, area and volume are bounds, not values")
    water = known(values, "water_at_survey_m2")
    if water:
        parts.append(
            f"{say_area(water)} lay under water at survey: ground there is unknown, depth and volume are the least"
        )
    if values.get("drained_by") == "ditch under road" or values.get("_under_road"):
        parts.append("a road is in it or beside it: ask the road authority, look at road level and culvert")
    ratio = known(values, "catchment_ratio")
    if ratio is not None and ratio > settings.ratio_high:
        parts.append("a large catchment for the pool: flow through it may be more than a plug can stand")
    if ratio is not None and ratio < settings.ratio_low:
        parts.append("a small catchment for the pool: rain off the land may not fill it")
    if rough_ground(site):
        parts.append("woods or yards around, where tracks and garden hollows look like ditches: look at imagery first")
    if values.get("confidence") == "low":
        parts.append("look before you believe it: the signs in the ground are weak")
    parts.append("buried pipe does not show in elevation and may still drain it")
    return "; ".join([*parts, LOCATE, LAW])


def work(site: Site) -> str:
    """Say what would have to be built.

    Parameters
    ----------
    site : Site
        With its plugs.

    Returns
    -------
    str
        One sentence for each plug and one for the sum.
    """
    if not site.plugs:
        return "No plug could be placed; look for the way out on the ground."
    sentences = [_plug(plug.values, number, len(site.plugs)) for number, plug in enumerate(site.plugs, start=1)]
    earth = earth_m3(site)
    spill = known(site.values, "spill_m")
    gain = known(site.values, "gain_m2")
    if earth is not None and gain is not None:
        sentences.append(
            f"About {say_number(earth)} m3 ({say_number(earth / YARD3_M3)} yd3) of compacted earth in all, "
            f"for about {say_area(gain)} ({say_number(gain / ACRE_M2)} ac) of ground wet again"
            + (f" up to {say_level(spill)}." if spill is not None else ".")
        )
    return " ".join(sentences)


def _plug(values: Mapping[str, Any], number: int, count: int) -> str:
    """One plug in words."""
    which = "Close the cut" if count == 1 else f"Close cut {number} of {count}"
    sizes = []
    for key, words in (("across_m", "across the ditch"), ("along_m", "along it")):
        size = known(values, key)
        if size is not None:
            sizes.append(f"{say_number(size)} m {words}")
    height = known(values, "height_m")
    if height is not None:
        sizes.append(f"{say_level(height)} high over the bed")
    return f"{which} at the natural rim" + (f": about {', '.join(sizes)}." if sizes else ".")


def _position(site: Site, settings: RankingSettings) -> str:
    """Whether the ditch starts here, and how much ditch enters from above."""
    upstream = known(site.values, "upstream_ditch_m")
    entering = "" if upstream is None else f"about {say_number(upstream)} m of ditch enters from above"
    if passes_through(site):
        if upstream is not None and upstream <= settings.lone_upstream_m:
            entering = "from where is not seen"
        return "ditch passes through" + (f", {entering}" if entering else "")
    if site.values.get("drain_position") == "starts here":
        if upstream is not None and upstream <= settings.lone_upstream_m:
            return "ditch starts here, nobody upstream"
        return "ditch starts here" + (f", but {entering}" if entering else "")
    return "where the ditch starts is not known"


def _price(site: Site) -> str:
    """Earth for area, the trade's first question."""
    gain = known(site.values, "gain_m2")
    earth = earth_m3(site)
    if gain is None:
        return ""
    if earth is None:
        return f"{say_area(gain)} wet again, earth not known"
    return f"about {say_number(earth)} m3 of earth for {say_area(gain)}"


def _depth(site: Site) -> str:
    """Depth of the pool and level lost."""
    depth = known(site.values, "depth_max_m")
    lost = known(site.values, "lost_m")
    parts = []
    if depth is not None:
        parts.append(f"up to {say_level(depth)} deep")
    if lost is not None:
        parts.append(f"drained {say_level(lost)} below its rim")
    return ", ".join(parts)


def _cuts(site: Site) -> str:
    """How many cuts have to be closed."""
    cuts = known(site.values, "cuts_n")
    if cuts is None:
        return ""
    return "one cut to close" if cuts <= 1 else f"{cuts:.0f} cuts, all must be closed"


def _catchment(site: Site, settings: RankingSettings) -> str:
    """The catchment in words."""
    ratio = known(site.values, "catchment_ratio")
    if ratio is None:
        return ""
    said = f"catchment {say_number(ratio)} times the pool"
    if ratio < settings.ratio_low:
        return f"{said}, little"
    return f"{said}, much" if ratio > settings.ratio_high else f"{said}, fitting"
