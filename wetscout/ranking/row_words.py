"""What is to be said of sites that drain one to the next."""

from __future__ import annotations

from wetscout.ranking.phrases import say_area, say_level
from wetscout.ranking.score import known
from wetscout.records import Site

# so many gains are read out; the table `chains` has all
_SPOKEN = 4

_ON_ABOVE = {
    "reaches its plug": "its pool stands against the plug of the site above ({ids})",
    "backs into its pool": "its plug backs water up into the site above ({ids})",
    "drowns its plug": "its pool is as high as that of the site above ({ids}) and drowns that plug: one plug may do",
}
_ON_THIS = {
    "backs into its pool": "a plug at the site below ({ids}) backs water up into this one",
    "drowns its plug": "a plug at the site below ({ids}) drowns the plug here: look there first",
}


def in_a_row(site: Site) -> str:
    """Say where a site stands in a row of sites and what the row brings.

    Parameters
    ----------
    site : Site
        With `chain_order`, `chain_n` and `_chain_gain_m2` where it is one of a row.

    Returns
    -------
    str
        Empty for a site that stands alone.
    """
    count, place = site.values.get("chain_n"), site.values.get("chain_order")
    if not count or not place:
        return ""
    said = f"number {place} of {count} down one way of water"
    gains = tuple(site.values.get("_chain_gain_m2") or ())
    if not gains:
        return said
    few = [*range(1, min(len(gains), _SPOKEN) + 1)]
    if len(gains) > _SPOKEN:
        few[-1] = len(gains)
    numbers = " / ".join(str(k) for k in few)
    return f"{said}, the best {numbers} of them bring {' / '.join(say_area(gains[k - 1]) for k in few)}"


def along_the_water(site: Site) -> list[str]:
    """Say what a site's pool does to the site above, what the site below does to it, and which steps lie near.

    Parameters
    ----------
    site : Site
        With `above_effect`, `below_id` and their working values, `step_below_m`, `step_above_m`.

    Returns
    -------
    list of str
        Empty where nothing is felt.
    """
    above, below = str(site.values.get("above_effect")), str(site.values.get("_below_effect"))
    parts = []
    if above in _ON_ABOVE:
        parts.append(_ON_ABOVE[above].format(ids=", ".join(site.values.get("_above_ids") or ())))
    if below in _ON_THIS:
        parts.append(_ON_THIS[below].format(ids=site.values.get("below_id")))
    step = known(site.values, "step_below_m")
    if step is not None:
        parts.append(
            f"the bed drops by {say_level(step)} in one step below the plug: if it is a head cut, erosion can run up "
            "to it; look, and secure it first"
        )
    step = known(site.values, "step_above_m")
    if step is not None:
        parts.append(
            f"the bed drops by {say_level(step)} in one step above the pool: if it is a head cut, it brings soil"
        )
    return parts


_UNSEEN = {
    "smooth filled-in ground": "part of this basin lies on smooth filled-in survey ground: nobody measured it there",
    "flat facets": "part of this basin lies on flat facets between few survey points: the ground there is a guess",
    "step between surveys": "a step between two surveys runs through this basin: levels may be off by the step",
}


def on_unseen_ground(site: Site) -> list[str]:
    """Say which faults of the survey lie in the pool.

    Parameters
    ----------
    site : Site
        With `survey_flags`.

    Returns
    -------
    list of str
        Water at survey is told elsewhere.
    """
    flags = str(site.values.get("survey_flags") or "")
    return [words for flag, words in _UNSEEN.items() if flag in flags]
