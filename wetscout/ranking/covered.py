"""The list of covered drains: its own order after all open drains, and its own words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from wetscout.ranking.phrases import say_area, say_level, say_number
from wetscout.ranking.score import known, passes_through, score
from wetscout.ranking.words import LAW, LOCATE
from wetscout.records import Site
from wetscout.records_covered import Covered, PipeMouth, Zone
from wetscout.settings.ranking import RankingSettings
from wetscout.units import ACRE_M2

OPEN, COVERED = "open drains", "covered drains"
# a trench this deep needs protection and a ladder under United States rules (29 CFR 1926.652 and 1926.651: 5 ft, 4 ft)
_DEEP_M, _LADDER_M = 1.5, 1.2
_ORDER = {"high": 0, "medium": 1, "low": 2}


def is_covered(site: Site) -> bool:
    """Say whether a site stands on the list of covered drains.

    Parameters
    ----------
    site : Site

    Returns
    -------
    bool
    """
    return site.values.get("list") == COVERED


def rank_covered(sites: Sequence[Site], settings: RankingSettings, first: int) -> tuple[Site, ...]:
    """Order the covered drains by confidence, then score; ranks go on after the open drains.

    Parameters
    ----------
    sites : sequence of Site
        In any order; the answer does not depend on it.
    settings : RankingSettings
    first : int
        Rank of the first of them.

    Returns
    -------
    tuple of Site
        With `score`, `rank`, `reasons`, `cautions` and `work`.
    """
    scored = [(score(site, settings), site) for site in sites]
    scored.sort(key=lambda e: (_ORDER.get(str(e[1].values.get("confidence")), 3), -e[0], e[1].site_id))
    return tuple(
        replace(
            site,
            values={
                **site.values,
                "score": value,
                "rank": place,
                "reasons": _reasons(site),
                "cautions": _cautions(site, settings),
                "work": _work(site),
            },
        )
        for place, (value, site) in enumerate(scored, start=first)
    )


def _reasons(site: Site) -> str:
    v = site.values
    covered: Covered = v["_covered"]
    gain, depth = known(v, "gain_m2"), known(v, "depth_max_m")
    parts = [f"a closed hollow of {say_area(gain or 0.0)}, up to {say_level(depth or 0.0)} deep, that may be dry"]
    parts += _evidence(covered.zone)
    if covered.head:
        parts.append("an open ditch begins abruptly outside and points at it")
    if covered.lines and covered.lines[0].form != "route":
        line = covered.lines[0]
        parts.append(
            f"a faint {line.form} of about {say_number(abs(line.height_m) * 100)} cm leads from it towards the ditch, "
            f"strength {line.strength:.1f} of 1"
        )
    if v.get("_graded") and covered.rim_dip_m is not None:
        parts.append(f"the rim on that line lies {say_level(covered.rim_dip_m)} lower than beside it")
    if covered.mouths:
        parts.append(_where(covered.mouths[0]))
    else:
        parts.append("no open ditch within reach lies low enough for its mouth")
    parts.append(f"{v.get('confidence')} confidence ({v.get('drained_by')})")
    return "; ".join(parts)


def _evidence(zone: Zone) -> list[str]:
    """What soil and cover say, in words; unknown is said too."""
    parts = []
    if zone.hydric_pct is not None:
        parts.append(f"soil map: {zone.hydric_pct:.0f} % hydric")
    elif zone.wet_soil is not None:
        parts.append(f"soil map: {100 * zone.wet_soil:.0f} % of it poorly drained")
    else:
        parts.append("soils unknown")
    if zone.farmed is None:
        parts.append("land cover unknown")
    else:
        parts.append(f"{100 * zone.farmed:.0f} % under crops or hay")
        if zone.wetland is not None:
            parts.append(f"{100 * zone.wetland:.0f} % mapped as wetland or water")
    return parts


def _where(mouth: PipeMouth) -> str:
    place = {"ditch head": "the head of the open ditch", "stream bank": "the bank of the stream"}.get(
        mouth.kind, "the bank of the open ditch"
    )
    return (
        f"look in {place} about {say_number(mouth.distance_m)} m away, about {say_level(mouth.depth_to_dig_m)} below "
        "the bank top"
    )


def _work(site: Site) -> str:
    v = site.values
    covered: Covered = v["_covered"]
    parts = ["First find the pipe: there may be none."]
    if covered.mouths:
        mouth = covered.mouths[0]
        parts.append(f"For its mouth, {_where(mouth)}, near level {say_level(mouth.level_m)}.")
    if covered.main_from:
        parts.append(
            "It may carry water of land upstream: reroute that in solid pipe around the pool, do not break it."
        )
    else:
        parts.append(
            "If it drains this hollow alone: dig it out where it passes the rim, for a length that the local standard "
            "gives, take the envelope too, close the ends, and backfill in compacted layers."
        )
    spill, gain = known(v, "spill_m"), known(v, "gain_m2")
    if spill is not None and gain is not None:
        parts.append(
            f"The ground as it is holds about {say_area(gain)} ({say_number(gain / ACRE_M2)} ac) "
            f"up to {say_level(spill)}."
        )
    beside = known(v, "rim_beside_m")
    if beside is not None and spill is not None and beside > spill:
        parts.append(
            f"Option, rebuild the rim: it looks graded down on that line; on either side it stands near "
            f"{say_level(beside)}. The numbers here are for the rim as it is."
        )
    return " ".join(parts)


def _cautions(site: Site, settings: RankingSettings) -> str:
    v = site.values
    covered: Covered = v["_covered"]
    parts = ["elevation does not show pipes: this is a suspicion to be looked into, not a finding"]
    if covered.main_from:
        parts.append(f"{covered.main_from}: it may carry water of land upstream; reroute in solid pipe, do not break")
    elif passes_through(site):
        parts.append("it may carry water of land upstream; reroute in solid pipe, do not break")
    else:
        parts.append("ask who else drains into the pipe before it is broken")
    deepest = max((m.deepest_cut_m for m in covered.mouths), default=0.0)
    dig = max([deepest, *(m.depth_to_dig_m for m in covered.mouths[:1])])
    if dig >= _DEEP_M:
        parts.append(
            f"digging up to about {say_level(dig)} deep: trenches need protection and a competent person on site"
        )
    elif dig >= _LADDER_M:
        parts.append(f"digging up to about {say_level(dig)} deep: mind trench rules, a ladder and the spoil kept back")
    else:
        parts.append("trenches cave in: go by local trench rules")
    if v.get("edge"):
        parts.append("touches an edge or hole of the elevation data: level, area and volume are bounds, not values")
    water = known(v, "water_at_survey_m2")
    if water:
        parts.append(f"{say_area(water)} lay under water at survey: it may not be drained at all")
    if v.get("confidence") == "low":
        parts.append("look before you believe it: the signs are weak")
    ratio = known(v, "catchment_ratio")
    if ratio is not None and ratio < settings.ratio_low:
        parts.append("a small catchment for the pool: rain off the land may not fill it")
    return "; ".join([*parts, LOCATE, LAW])
