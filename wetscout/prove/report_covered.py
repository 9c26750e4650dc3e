"""Scores of covered drains and of rows of basins put together, and printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from wetscout.prove.score_chains import ChainScore
from wetscout.prove.score_covered import CoveredScore

_MOUTH_M = 20.0


@dataclass(frozen=True)
class CoveredReport:
    """Covered drains of a run; shares 0-1, NaN where nothing was there to be counted.

    Attributes
    ----------
    drains, found, false_sites : int
        Drains that count; those found; sites that are none.
    recall, precision : float
    mouth_within, any_mouth_within : float
        Of those found: the first mouth offered lies within 20 m of the true one; any of those offered does.
    spill_median_m : float
        Median size of the error of the spill level [m].
    above_low : int
        Sites with more than low confidence.
    """

    drains: int
    found: int
    false_sites: int
    recall: float
    precision: float
    mouth_within: float
    any_mouth_within: float
    spill_median_m: float
    above_low: int


@dataclass(frozen=True)
class ChainReport:
    """Counts of `ChainScore` over a run, and their shares 0-1 (NaN for none)."""

    counts: ChainScore
    found: float
    order_right: float
    position_right: float
    chain_position_right: float
    several_closed: float


def share(part: int, whole: int) -> float:
    """Part over whole, NaN of nothing.

    Parameters
    ----------
    part, whole : int

    Returns
    -------
    float
    """
    return part / whole if whole else float("nan")


def percent(value: float) -> str:
    """Write a share in percent, a dash for NaN.

    Parameters
    ----------
    value : float
        0-1 or NaN.

    Returns
    -------
    str
    """
    return "-" if np.isnan(value) else f"{100 * value:.0f} %"


def pool_covered(scores: Sequence[CoveredScore]) -> CoveredReport:
    """Put the scores of covered drains together, every drain counting alike.

    Parameters
    ----------
    scores : sequence of CoveredScore

    Returns
    -------
    CoveredReport
    """
    hits = [h for s in scores for h in s.hits]
    wrong = sum(len(s.false_sites) for s in scores)
    drains = len(hits) + sum(len(s.missed) for s in scores)
    return CoveredReport(
        drains=drains,
        found=len(hits),
        false_sites=wrong,
        recall=share(len(hits), drains),
        precision=share(len(hits), len(hits) + wrong),
        mouth_within=share(sum(h.mouth_m <= _MOUTH_M for h in hits), len(hits)),
        any_mouth_within=share(sum(h.any_mouth_m <= _MOUTH_M for h in hits), len(hits)),
        spill_median_m=float(np.median([abs(h.spill_error_m) for h in hits])) if hits else float("nan"),
        above_low=sum(s.above_low for s in scores),
    )


def pool_chains(scores: Sequence[ChainScore]) -> ChainReport:
    """Add the counts of rows of basins.

    Parameters
    ----------
    scores : sequence of ChainScore

    Returns
    -------
    ChainReport
    """
    total = ChainScore(**{f.name: sum(getattr(s, f.name) for s in scores) for f in fields(ChainScore)})
    return ChainReport(
        counts=total,
        found=share(total.members_found, total.members),
        order_right=share(total.pairs_right, total.pairs),
        position_right=share(total.positions_right, total.positions),
        chain_position_right=share(total.chain_positions_right, total.chain_positions),
        several_closed=share(total.several_closed, total.several),
    )


def covered_lines(title: str, report: CoveredReport) -> list[str]:
    """Print the numbers of covered drains; nothing when there was neither a drain nor an offer.

    Parameters
    ----------
    title : str
    report : CoveredReport

    Returns
    -------
    list of str
    """
    r = report
    if not r.drains and not r.false_sites:
        return []
    return [
        f"{title}: found {r.found} of {r.drains} ({percent(r.recall)}), {r.false_sites} false (precision"
        f" {percent(r.precision)}); first mouth within 20 m {percent(r.mouth_within)}, any mouth"
        f" {percent(r.any_mouth_within)}; spill level median error {r.spill_median_m:.3f} m; more than low confidence:"
        f" {r.above_low} sites"
    ]


def chain_lines(report: ChainReport) -> list[str]:
    """Print the numbers of rows of basins.

    Parameters
    ----------
    report : ChainReport

    Returns
    -------
    list of str
    """
    c = report.counts
    out = []
    if c.members:
        out.append(
            f"basins in a row on one ditch: found {c.members_found} of {c.members} ({percent(report.found)}); next one"
            f" below named right {c.pairs_right} of {c.pairs} ({percent(report.order_right)}), by the ground without"
            f" plugs {c.ground_pairs_right} of {c.ground_pairs}"
        )
    if c.positions:
        out.append(
            f"drain starts here or passes through, right: {percent(report.position_right)} of {c.positions}; in rows"
            f" {percent(report.chain_position_right)} of {c.chain_positions}; by the ground without plugs"
            f" {c.ground_positions_right} and {c.ground_chain_positions_right}"
        )
    if c.several:
        out.append(
            f"rims with several cuts, no water leaves: {c.several_closed} of {c.several}"
            f" ({percent(report.several_closed)}), a plug within 15 m of each too: {c.several_each}"
        )
    return out


def covered_wrong(scores: Sequence[CoveredScore], limit: int) -> list[str]:
    """List false and missed covered drains.

    Parameters
    ----------
    scores : sequence of CoveredScore
    limit : int
        Lines of each sort.

    Returns
    -------
    list of str
    """
    bad = [(s, f) for s in scores for f in s.false_sites]
    out = [f"false covered drains ({len(bad)}):"] if bad else []
    out += [
        f"  {s.kind}, seed {s.seed}: row {f.row:.0f} col {f.col:.0f}, {f.pool_m2:.0f} m2, {f.confidence}: {f.why}"
        for s, f in bad[:limit]
    ]
    left = [(s, m) for s in scores for m in s.missed]
    out += [f"missed covered drains ({len(left)}):"] if left else []
    out += [
        f"  {s.kind}, seed {s.seed}: row {m.row:.0f} col {m.col:.0f}, {m.area_m2:.0f} m2, {m.depth_m:.2f} m, {m.signs},"
        f" best IoU {m.best_iou:.2f}"
        for s, m in left[:limit]
    ]
    return out
