"""The score of one site: six criteria, each 0 to 1, weighed and added."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from wetscout.records import Site
from wetscout.settings.ranking import RankingSettings

# Marks where a value is unknown: neither a merit nor a fault.
UNKNOWN = 0.5


def known(values: Mapping[str, Any], key: str) -> float | None:
    """Read a number that may be missing, None or NaN.

    Parameters
    ----------
    values : mapping
        Fields by name.
    key : str
        Name of the field.

    Returns
    -------
    float or None
        The number in the field's own unit; None when it is unknown.
    """
    value = values.get(key)
    if value is None or not math.isfinite(float(value)):
        return None
    return float(value)


def earth_m3(site: Site) -> float | None:
    """Add up the earth of a site's plugs.

    Parameters
    ----------
    site : Site
        Its plugs carry `fill_m3`.

    Returns
    -------
    float or None
        Earth [m3], compacted in place; None when a plug's is unknown or there is no plug.
    """
    fills = [known(plug.values, "fill_m3") for plug in site.plugs]
    if not fills or any(fill is None for fill in fills):
        return None
    return math.fsum(fill for fill in fills if fill is not None)


def passes_through(site: Site) -> bool:
    """Say whether a site's ditch also carries water from above.

    Parameters
    ----------
    site : Site
        A basin offered for restoration.

    Returns
    -------
    bool
        True for `drain_position` = `passes through`.
    """
    return bool(site.values.get("drain_position") == "passes through")


def rough_ground(site: Site) -> bool:
    """Say whether the ground in and around a site looks like woods, yards or built-up ground.

    Parameters
    ----------
    site : Site
        A basin offered for restoration; `_signs` among its values may hold `rough_ground`.

    Returns
    -------
    bool
        False where nothing was measured.
    """
    return bool((site.values.get("_signs") or {}).get("rough_ground", 0.0))


def little_for_each_cut(site: Site, settings: RankingSettings) -> bool:
    """Say whether several cuts have to be closed for little water each.

    Parameters
    ----------
    site : Site
        A basin offered for restoration.
    settings : RankingSettings
        `lead_gain_per_cut_m2`.

    Returns
    -------
    bool
        False for one cut, and where the gain or the cuts are unknown.
    """
    gain, cuts = known(site.values, "gain_m2"), known(site.values, "cuts_n")
    return gain is not None and cuts is not None and cuts > 1 and gain < settings.lead_gain_per_cut_m2 * cuts


def waits(site: Site, settings: RankingSettings) -> bool:
    """Say whether a site should wait for better ones: low confidence, in woods or yards, or many cuts for little.

    Parameters
    ----------
    site : Site
        A basin offered for restoration.
    settings : RankingSettings
        `lead_gain_per_cut_m2`.

    Returns
    -------
    bool
    """
    return site.values.get("confidence") == "low" or rough_ground(site) or little_for_each_cut(site, settings)


def criteria(site: Site, settings: RankingSettings) -> dict[str, float]:
    """Mark a site on every criterion.

    Parameters
    ----------
    site : Site
        A basin offered for restoration.
    settings : RankingSettings
        Where marks begin and end.

    Returns
    -------
    dict of str to float
        Marks 0 to 1 by criterion: `gain`, `confidence`, `starts_here`, `few_cuts`, `catchment`, `earth`.
    """
    gain = known(site.values, "gain_m2")
    return {
        "gain": _rising(gain, settings.gain_full_m2),
        "confidence": {
            "high": 1.0,
            "medium": settings.confidence_medium,
            "low": settings.confidence_low,
        }.get(str(site.values.get("confidence")), UNKNOWN),
        "starts_here": {"starts here": 1.0, "passes through": 0.0}.get(str(site.values.get("drain_position")), UNKNOWN),
        "few_cuts": 1.0 / max(1.0, known(site.values, "cuts_n") or float(len(site.plugs) or 1)),
        "catchment": _between(known(site.values, "catchment_ratio"), settings.ratio_low, settings.ratio_high),
        "earth": _rising(_won_per_earth(site, gain), settings.earth_full_m2_per_m3),
    }


def score(site: Site, settings: RankingSettings) -> float:
    """Score a site from 0 (leave it) to 100 (drive there first).

    Parameters
    ----------
    site : Site
        A basin offered for restoration.
    settings : RankingSettings
        Weights, bounds and the two limits (edge, passing ditch).

    Returns
    -------
    float
        0 to 100, one decimal.
    """
    value = merit(site, settings)
    if passes_through(site):
        value = min(value, settings.passing_score_max)
    return round(value, 1)


def merit(site: Site, settings: RankingSettings) -> float:
    """The score before the cap of passing ditches: sites that meet at the cap are still told apart by it.

    Parameters
    ----------
    site : Site
        A basin offered for restoration.
    settings : RankingSettings
        Weights and the edge factor.

    Returns
    -------
    float
        0 to 100.
    """
    marks = criteria(site, settings)
    weights = {name: float(getattr(settings, f"weight_{name}")) for name in marks}
    total = math.fsum(weights.values())
    if total == 0.0:
        return 0.0
    value = 100.0 * math.fsum(weights[name] * marks[name] for name in marks) / total
    if site.values.get("edge"):
        value *= settings.edge_factor
    return value


def _rising(value: float | None, full: float) -> float:
    """Square root up to full marks: the first tenth of a hectare counts more than the tenth one."""
    if value is None:
        return UNKNOWN
    return math.sqrt(min(1.0, max(0.0, value) / full))


def _between(value: float | None, low: float, high: float) -> float:
    """Full marks between two bounds, falling off in proportion outside."""
    if value is None:
        return UNKNOWN
    if value < low:
        return max(0.0, value) / low
    return 1.0 if value <= high else high / value


def _won_per_earth(site: Site, gain_m2: float | None) -> float | None:
    """Area won per m3 of earth, from the plugs or from the site's own field."""
    earth = earth_m3(site)
    if earth is not None and earth > 0.0 and gain_m2 is not None:
        return gain_m2 / earth
    return known(site.values, "pool_m2_per_fill_m3")
