"""The order of the sites: by score, with two rules that no score can buy off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from wetscout.ranking.score import merit, passes_through, score
from wetscout.ranking.words import cautions, reasons, work
from wetscout.records import Site
from wetscout.settings.ranking import RankingSettings


@dataclass(frozen=True)
class _Entry:
    """A site on its way to a rank; `folded_under` names the site that took its ditch's place."""

    site: Site
    score: float
    folded_under: str | None = None


def rank(sites: tuple[Site, ...], settings: RankingSettings) -> tuple[Site, ...]:
    """Rank sites and write down why.

    A site whose ditch passes through does not rank in the first third while another site is left for the place; among
    the first `one_per_ditch_ranks` each ditch appears once while a site on another ditch is left that may stand there.
    Sites of low confidence come after all others that may stand in a place.

    Parameters
    ----------
    sites : tuple of Site
        In any order; the answer does not depend on it.
    settings : RankingSettings
        Weights, bounds and limits.

    Returns
    -------
    tuple of Site
        By rank; `values` gains `score` (0-100), `rank` (from 1), `reasons`, `cautions` and `work`.
    """
    entries = [_Entry(site, score(site, settings)) for site in sites]
    entries.sort(key=lambda entry: (_faint(entry.site), -entry.score, -merit(entry.site, settings), entry.site.site_id))
    ranked = []
    for position, entry in enumerate(_places(entries, settings), start=1):
        site = entry.site
        words = {
            "score": entry.score,
            "rank": position,
            "reasons": reasons(site, settings, entry.folded_under),
            "cautions": cautions(site, settings),
            "work": work(site),
        }
        ranked.append(replace(site, values={**site.values, **words}))
    return tuple(ranked)


def ditch_ids(site: Site) -> frozenset[int]:
    """Name the ditches that drain a site.

    Parameters
    ----------
    site : Site
        With `_ditch_ids` among its values, or plugs that name their ditch.

    Returns
    -------
    frozenset of int
        Empty when no ditch is known.
    """
    listed = site.values.get("_ditch_ids")
    if listed is None:
        listed = [plug.ditch_id for plug in site.plugs]
    return frozenset(int(number) for number in listed if number is not None)


def _places(entries: Sequence[_Entry], settings: RankingSettings) -> list[_Entry]:
    """Fill the places from first to last, each with the best entry the two rules let stand there."""
    waiting = list(entries)
    first_third = -(-len(waiting) // 3)
    taken: dict[int, str] = {}
    placed: list[_Entry] = []
    while waiting:
        easy = len(placed) < first_third
        one_each = len(placed) < settings.one_per_ditch_ranks
        chosen = _choose(waiting, easy, one_each, taken)
        entry = waiting.pop(chosen)
        placed.append(entry)
        for ditch in ditch_ids(entry.site):
            taken.setdefault(ditch, entry.site.site_id)
        if one_each:
            waiting = [_fold(other, taken) for other in waiting]
    return placed


def _choose(waiting: Sequence[_Entry], easy: bool, one_each: bool, taken: dict[int, str]) -> int:
    """Index of the entry for the next place.

    Where both rules cannot hold, other people's water outweighs variety: a second site on one ditch comes first.
    """
    rule_sets = ((easy, one_each), (easy, False), (False, one_each), (False, False))
    for no_passing, no_second in rule_sets:
        for index, entry in enumerate(waiting):
            if no_passing and passes_through(entry.site):
                continue
            if no_second and any(ditch in taken for ditch in ditch_ids(entry.site)):
                continue
            return index
    return 0


def _faint(site: Site) -> bool:
    """Whether little says that a drain was dug here."""
    return site.values.get("confidence") == "low"


def _fold(entry: _Entry, taken: dict[int, str]) -> _Entry:
    """Note under which site an entry is folded, once."""
    if entry.folded_under is not None:
        return entry
    owners = sorted(taken[ditch] for ditch in ditch_ids(entry.site) if ditch in taken)
    return replace(entry, folded_under=owners[0]) if owners else entry
