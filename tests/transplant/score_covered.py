"""Score covered offers against the pipes laid into real ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .covered import CoveredTransplant, Truth
from .score import MATCH_IOU, Found, iou

WORDS = ("buried drain suspected", "ditch into covered pipe")
MOUTH_WITHIN_M = 20.0  # issue 3, Must hold 1


@dataclass(frozen=True)
class Offer:
    """One covered offer: where, how sure, its mouths (row, col) in cells, best first."""

    found: Found
    confidence: str
    mouths: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Score:
    """Counts of one transplant.

    Attributes
    ----------
    drained, found : int
        Basins with a pipe and enough depth left; those offered (IoU >= 0.5).
    mouth_m : tuple of float
        First mouth offered from the true one, a found basin each; infinite where none was [m].
    false_whole, false_open, elsewhere : int
        Offers on basins left whole, twice on one basin or with too little depth left not counted; offers that touch no
        basin of the truth: on real ground nobody knows what lies there.
    above_low : int
        Offers with more than low confidence.
    missed : tuple of Truth
    """

    drained: int
    found: int
    mouth_m: tuple[float, ...]
    false_whole: int
    elsewhere: int
    above_low: int
    missed: tuple[Truth, ...]


def offers_of(screen: Any) -> list[Offer]:
    """The covered offers of a `wetscout.records.Screen`."""
    out = []
    for site in screen.sites:
        if site.values["drained_by"] not in WORDS:
            continue
        mask = np.asarray(site.pool.mask, dtype=bool)
        found = Found(site.pool.row0, site.pool.col0, mask, float(site.values["spill_m"]))
        mouths = tuple((float(m.row), float(m.col)) for m in site.values["_covered"].mouths)
        out.append(Offer(found, str(site.values["confidence"]), mouths))
    return out


def score(made: CoveredTransplant, offers: Sequence[Offer]) -> Score:
    """Match offers to basins, best overlap first, each once.

    Parameters
    ----------
    made : CoveredTransplant
    offers : sequence of Offer

    Returns
    -------
    Score
    """
    pairs = [(iou(t.pool, o.found), i, k) for i, t in enumerate(made.truths) for k, o in enumerate(offers)]
    match: dict[int, int] = {}
    for overlap, i, k in sorted(pairs, key=lambda p: (-p[0], p[1], p[2])):
        if overlap >= MATCH_IOU and i not in match and k not in match.values():
            match[i] = k
    drained = [i for i, t in enumerate(made.truths) if t.scored]
    hits = [i for i in drained if i in match]
    far = []
    for i in hits:
        mouths, true = offers[match[i]].mouths, made.truths[i].mouth
        assert true is not None
        far.append(float(np.hypot(mouths[0][0] - true[0], mouths[0][1] - true[1])) * made.cell_m if mouths else np.inf)
    matched = {k: i for i, k in match.items()}
    whole = elsewhere = 0
    for k, offer in enumerate(offers):
        if k in matched:
            whole += made.truths[matched[k]].mouth is None
        elif not any(iou(t.pool, offer.found) >= 0.15 and t.mouth is not None for t in made.truths):
            touches = any(iou(t.pool, offer.found) >= 0.15 for t in made.truths)
            whole, elsewhere = whole + touches, elsewhere + (not touches)
    above = sum(o.confidence != "low" for o in offers)
    missed = tuple(made.truths[i] for i in drained if i not in match)
    return Score(len(drained), len(hits), tuple(far), whole, elsewhere, above, missed)


def line_of(name: str, scores: Sequence[Score]) -> str:
    """One line for developers."""
    drained, found = sum(s.drained for s in scores), sum(s.found for s in scores)
    mouths = [m for s in scores for m in s.mouth_m]
    near = sum(m <= MOUTH_WITHIN_M for m in mouths)
    whole, elsewhere = sum(s.false_whole for s in scores), sum(s.elsewhere for s in scores)
    return (
        f"{name}: found {found} of {drained}, mouth within {MOUTH_WITHIN_M:.0f} m {near} of {found}, on whole basins "
        f"{whole}, elsewhere {elsewhere}, precision {found / max(found + whole + elsewhere, 1):.2f}"
    )
