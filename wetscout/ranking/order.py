"""The order of the sites: by score, with two rules that no score can buy off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from wetscout.ranking.covered import is_covered, rank_covered
from wetscout.ranking.score import merit, passes_through, score, waits
from wetscout.ranking.words import cautions, reasons, work
from wetscout.records import Site
from wetscout.settings.ranking import RankingSettings


@dataclass(frozen=True)
class _Entry:
    """A site on its way to a rank; `folded_under` names the site that took its ditch's place."""

    site: Site
    score: float
    waits: bool
    folded_under: str | None = None


def rank(sites: tuple[Site, ...], settings: RankingSettings) -> tuple[Site, ...]:
    """Rank sites and write down why.

    A site whose ditch passes through does not rank in the first third while another site is left outside it; among
    the first `one_per_ditch_ranks` each ditch appears once while a site on another ditch is left that may stand there.
    These two rules say which sites stand in the first third and among the first ten. In each of those parts clear sites
    come first: one of low confidence, in woods or yards, or with many cuts for little water holds its place in a part
    but not its front.
    Covered drains are a list of their own: their ranks go on after all open drains.

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
    covered = [site for site in sites if is_covered(site)]
    entries = [_Entry(site, score(site, settings), waits(site, settings)) for site in sites if not is_covered(site)]
    entries.sort(key=lambda entry: (entry.waits, -entry.score, -merit(entry.site, settings), entry.site.site_id))
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
    return (*ranked, *rank_covered(covered, settings, len(ranked) + 1))


def ditch_ids(site: Site) -> frozenset[int]:
    """Name the ditches that drain a site.

    Parameters
    ----------
    site : Site
        With `_cut_ditch_ids` among its values, or plugs that name their ditch. A ditch that only runs through the pool
        does not drain it.

    Returns
    -------
    frozenset of int
        Empty when no ditch is known.
    """
    listed = site.values.get("_cut_ditch_ids")
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
    return _clear_first(placed, first_third, settings.one_per_ditch_ranks)


def _clear_first(placed: Sequence[_Entry], first_third: int, one_each: int) -> list[_Entry]:
    """Order inside the parts whose members the rules have settled: clear sites first, in the first third those on
    ditches that start there before passing ones. Weak finds that keep a passing ditch out are not pushed to the front.
    """
    ends = sorted({0, min(first_third, len(placed)), min(one_each, len(placed)), len(placed)})
    out: list[_Entry] = []
    for a, b in pairwise(ends):
        order = _starting_first if b <= first_third else _unclear
        out += sorted(placed[a:b], key=order)
    return out


def _unclear(entry: _Entry) -> tuple[bool, bool]:
    return entry.waits, False


def _starting_first(entry: _Entry) -> tuple[bool, bool]:
    return entry.waits, passes_through(entry.site)


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


def _fold(entry: _Entry, taken: dict[int, str]) -> _Entry:
    """Note under which site an entry is folded, once."""
    if entry.folded_under is not None:
        return entry
    owners = sorted(taken[ditch] for ditch in ditch_ids(entry.site) if ditch in taken)
    return replace(entry, folded_under=owners[0]) if owners else entry
