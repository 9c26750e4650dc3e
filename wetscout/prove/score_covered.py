"""Scoring of covered drains: sites offered as drained by a pipe, against the pipes of the landscape.

Rules
1. Only sites whose `drained_by` is a word for covered drains are looked at; open drains are scored by `score`.
2. A site matches a covered drain when its pool overlaps that of any nested basin the drain empties by IoU >= 0.5. Of
   several drains it takes the best. A second site on one drain is false.
3. Basins with less than 0.15 m of closed depth left or under 0.04 ha, at the raster's border, or lowered by an open
   ditch too, count neither way. So do sites that lie by half or more in a wetland ploughed in dry years, or in a hollow
   without a drain within a larger drained basin: no map and no terrain tells them from drained ones.
4. Every other site is false: on a wetland, on a dry hollow, on a basin with an open drain, on nothing.
5. As with open drains (rule 6 of `score`), what lies in a basin that was found is not missed: a drain that empties the
   basin of a site found for another drain, and one whose hollow and mouth both lie in a drained basin that an open site
   was found for. With that one closed its pipe leads from water to water.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wetscout.prove.found import Found, inside, iou, overlap
from wetscout.prove.landscape import Landscape, TrueBasin, TrueCovered

IOU = 0.5
LEAST_M2, LEAST_DEPTH_M = 400.0, 0.15


@dataclass(frozen=True)
class CoveredHit:
    """A site on a basin emptied by a covered drain.

    `mouth_m` is how far the first mouth offered lies from the true one, `any_mouth_m` the nearest of those offered [m];
    infinite where none was offered.
    """

    found: int
    covered_id: int
    iou: float
    spill_error_m: float
    mouth_m: float
    any_mouth_m: float
    confidence: str
    drained_by: str


@dataclass(frozen=True)
class CoveredMissed:
    """A covered drain nobody offered: place [cells], size, what could have shown it, and the best overlap."""

    covered_id: int
    row: float
    col: float
    area_m2: float
    depth_m: float
    signs: str
    best_iou: float


@dataclass(frozen=True)
class CoveredFalse:
    """A site offered as drained by a pipe that is not: place [cells], pool [m2], and what stands there."""

    found: int
    row: float
    col: float
    pool_m2: float
    confidence: str
    why: str


@dataclass(frozen=True)
class CoveredScore:
    """Covered drains of one landscape scored; `above_low` counts sites with more than low confidence."""

    kind: str
    seed: int
    hits: tuple[CoveredHit, ...]
    false_sites: tuple[CoveredFalse, ...]
    missed: tuple[CoveredMissed, ...]
    neither: int
    above_low: int


def score_covered(landscape: Landscape, found: Sequence[Found]) -> CoveredScore:
    """Score what was offered as drained by covered pipes.

    Parameters
    ----------
    landscape : Landscape
    found : sequence of Found
        All sites; those with open drains are passed over.

    Returns
    -------
    CoveredScore
    """
    offers = [i for i, f in enumerate(found) if f.covered]
    picks = {i: _pick(found[i], landscape) for i in offers}
    best: dict[int, float] = {}
    for number, share in picks.values():
        best[number] = max(best.get(number, 0.0), share)
    taken: set[int] = set()
    hits: list[CoveredHit] = []
    wrong: list[CoveredFalse] = []
    neither = 0
    for i in sorted(offers, key=lambda k: (-picks[k][1], k)):
        number, share = picks[i]
        if share < IOU:
            why = _no_drain(found[i], landscape)
            if why:
                wrong.append(_false(i, found[i], landscape, why))
            else:
                neither += 1
        elif number in taken:
            wrong.append(_false(i, found[i], landscape, "second offer on one covered drain"))
        else:
            taken.add(number)
            true = landscape.covered[number]
            if counts(true):
                hits.append(_hit(i, found[i], landscape, true, share))
            else:
                neither += 1
    # two pipes out of nested basins that were filled to one: it is found once
    once = [landscape.covered[n].pool for n in sorted(taken) if n >= 0]
    stands_for = [found[i] for i in offers if picks[i][1] >= IOU]
    under = _found_open(found, landscape)
    missed = [
        _missed(c, best.get(c.covered_id, 0.0))
        for c in landscape.covered
        if counts(c)
        and c.covered_id not in taken
        and not any(iou(c.pool, pool) >= IOU for pool in once)
        and not any(_share(f, c, landscape) >= IOU for f in stands_for)
        and not any(_drowned(c, b) for b in under)
    ]
    above = sum(found[i].confidence not in ("", "low") for i in offers)
    return CoveredScore(landscape.kind, landscape.seed, tuple(hits), tuple(wrong), tuple(missed), neither, above)


def counts(c: TrueCovered) -> bool:
    """Whether a covered drain is scored.

    Parameters
    ----------
    c : TrueCovered

    Returns
    -------
    bool
    """
    return not c.at_edge and not c.cut_open and c.depth_m >= LEAST_DEPTH_M and c.area_m2 >= LEAST_M2


def _pick(found: Found, landscape: Landscape) -> tuple[int, float]:
    """The covered drain a site overlaps most, and the IoU; -1 and 0 for none."""
    best = (-1, 0.0)
    for c in landscape.covered:
        share = _share(found, c, landscape)
        if share > best[1]:
            best = (c.covered_id, share)
    return best


def _share(found: Found, c: TrueCovered, landscape: Landscape) -> float:
    """Best IoU of a site with a basin that a drain empties."""
    return max(iou(found.pool, landscape.basins[n].pool) for n in c.node_ids)


def _found_open(found: Sequence[Found], landscape: Landscape) -> list[TrueBasin]:
    """Openly drained basins that a site was found for."""
    sites = [f.pool for f in found if not f.covered]
    return [b for b in landscape.basins if b.drained and any(iou(pool, b.pool) >= IOU for pool in sites)]


def _drowned(c: TrueCovered, b: TrueBasin) -> bool:
    """Whether a hollow, all but its shore, and the mouth of its pipe lie in a basin."""
    rows, cols = np.array([c.mouth_row]), np.array([c.mouth_col])
    own = int(np.count_nonzero(c.pool.mask))
    return bool(inside(b.pool, rows, cols)[0]) and overlap(c.pool, b.pool) >= 0.9 * own


def _no_drain(found: Found, landscape: Landscape) -> str:
    """What stands where no covered drain is; empty when it counts neither way."""
    shares = [(iou(found.pool, b.pool), b) for b in landscape.basins]
    share, b = max(shares, key=lambda s: s[0], default=(0.0, None))
    if b is None or share <= 0:
        return "no basin of the truth here"
    if share >= IOU and (b.at_edge or b.partial):
        return ""
    own = int(np.count_nonzero(found.pool.mask))
    if any(_alike(other) and overlap(found.pool, other.pool) >= 0.5 * own for _, other in shares):
        return ""
    return f"{_state(b)} ({b.area_m2:.0f} m2, {b.depth_m:.2f} m), IoU {share:.2f}"


def _alike(b: TrueBasin) -> bool:
    """Whether a basin shows all that a drained one shows, without a drain."""
    return b.use == "farmed wetland" or (b.use == "drained" and not (b.drained or b.partial) and b.covered_id < 0)


def _state(b: TrueBasin) -> str:
    if b.covered_id >= 0:
        return "covered drain"
    if b.drained or b.partial:
        return f"basin drained by {b.drained_by}"
    return f"whole basin, {b.use or 'unknown use'}"


def _middle(found: Found) -> tuple[float, float]:
    r, c = np.nonzero(found.pool.mask)
    return float(found.pool.row0 + r.mean()), float(found.pool.col0 + c.mean())


def _false(number: int, found: Found, landscape: Landscape, why: str) -> CoveredFalse:
    row, col = _middle(found)
    area = float(np.count_nonzero(found.pool.mask)) * landscape.cell_m**2
    return CoveredFalse(number, row, col, area, found.confidence, why)


def _hit(number: int, found: Found, landscape: Landscape, true: TrueCovered, share: float) -> CoveredHit:
    far = [float(np.hypot(r - true.mouth_row, c - true.mouth_col)) * landscape.cell_m for r, c in found.mouths]
    return CoveredHit(
        found=number,
        covered_id=true.covered_id,
        iou=share,
        spill_error_m=found.spill_m - true.spill_m,
        mouth_m=far[0] if far else float("inf"),
        any_mouth_m=min(far, default=float("inf")),
        confidence=found.confidence,
        drained_by=found.drained_by,
    )


def _missed(c: TrueCovered, best: float) -> CoveredMissed:
    r, q = np.nonzero(c.pool.mask)
    shown = (
        (c.hydric_mapped, "hydric on the map"),
        (c.cropped, "cropped"),
        (c.has_ridge, "trench shows"),
        (c.rim_lowered_m >= 0.05, "rim graded"),
    )
    signs = ", ".join(word for seen, word in shown if seen) or "nothing shows"
    return CoveredMissed(
        c.covered_id, c.pool.row0 + float(r.mean()), c.pool.col0 + float(q.mean()), c.area_m2, c.depth_m, signs, best
    )
