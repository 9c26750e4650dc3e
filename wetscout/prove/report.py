"""Scores of many landscapes put together, and printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wetscout.prove.report_covered import (
    ChainReport,
    CoveredReport,
    chain_lines,
    covered_lines,
    covered_wrong,
    pool_chains,
    pool_covered,
)
from wetscout.prove.report_covered import percent as _percent
from wetscout.prove.report_covered import share as _share
from wetscout.prove.score import CLASSES, LEAST_M2, Hit, Score

_PLUG_M = 15.0
_STANDS_M = (0.02, 0.05)
_CLASS_TITLES = {
    "main": "basins of 0.1 ha and 0.3 m or more",
    "small": "basins of 0.04-0.1 ha, 0.3 m or deeper",
    "shallow": "basins 0.15-0.3 m deep, 0.1 ha or larger",
    "small and shallow": "basins of 0.04-0.1 ha and 0.15-0.3 m",
}


@dataclass(frozen=True)
class Report:
    """All numbers of a run; shares 0-1, NaN where nothing was there to be counted.

    Attributes
    ----------
    scores : tuple of Score
    recall : dict of str to (hit, drained)
        By size class.
    precision, precision_large : float
        Hits of the main class over hits + false sites; the second counts only false sites of 0.1 ha and more.
    hits, false_sites, false_large : int
        Of the main class; all false sites; those of 0.1 ha and more.
    spill_bias_m, spill_median_m, spill_p90_m, spill_within : float
        Median error, median and 90 % of its size [m]; share within 0.15 m. Main class.
    volume_median : float
        Median of the size of the relative error.
    plug_within, first_plug_within, ways_plugged : float
        Share of plugs within 15 m of a true rim crossing; of the first plug of each site; of the true ways out with a
        plug within 15 m.
    stands_within, stands_within_wide : float
        Of the main class: once the plugs are put into the true ground, the water stands within 0.02 m, 0.05 m of the
        level told.
    undrained_km2, undrained_false : float, int
        Landscapes without a drained basin: area and false sites.
    with_maps, terrain_alone : CoveredReport
        Covered drains, with soils and land cover and without, on squares that have some.
    pipeless_km2, pipeless_false : float, int
        Squares without covered drains: area, and sites offered as such, maps given.
    chains : ChainReport
    """

    scores: tuple[Score, ...]
    recall: dict[str, tuple[int, int]]
    precision: float
    precision_large: float
    hits: int
    false_sites: int
    false_large: int
    spill_bias_m: float
    spill_median_m: float
    spill_p90_m: float
    spill_within: float
    volume_median: float
    plug_within: float
    first_plug_within: float
    ways_plugged: float
    stands_within: float
    stands_within_wide: float
    undrained_km2: float
    undrained_false: int
    with_maps: CoveredReport
    terrain_alone: CoveredReport
    pipeless_km2: float
    pipeless_false: int
    chains: ChainReport


def pool_scores(scores: Sequence[Score]) -> Report:
    """Put the scores of several landscapes together, every basin counting alike.

    Parameters
    ----------
    scores : sequence of Score

    Returns
    -------
    Report
    """
    recall = {}
    for name, _, _ in CLASSES:
        hit = sum(h.size == name for s in scores for h in s.hits)
        recall[name] = (hit, hit + sum(m.size == name for s in scores for m in s.missed))
    hits = [h for s in scores for h in s.hits if h.size == "main"]
    wrong = [f for s in scores for f in s.false_sites]
    large = sum(f.pool_m2 >= LEAST_M2 for f in wrong)
    bare = [s for s in scores if not s.any_drained]
    error = np.array([h.spill_error_m for h in hits])
    off = np.abs([h.stands_off_m for h in hits if not np.isnan(h.stands_off_m)])
    plugs, first, ways = _plug_shares(hits)
    return Report(
        scores=tuple(scores),
        recall=recall,
        precision=_share(len(hits), len(hits) + len(wrong)),
        precision_large=_share(len(hits), len(hits) + large),
        hits=len(hits),
        false_sites=len(wrong),
        false_large=large,
        spill_bias_m=_quantile(error, 0.5),
        spill_median_m=_quantile(np.abs(error), 0.5),
        spill_p90_m=_quantile(np.abs(error), 0.9),
        spill_within=_share(int((np.abs(error) <= 0.15).sum()), error.size),
        volume_median=_quantile(np.array([h.volume_error for h in hits]), 0.5),
        plug_within=plugs,
        first_plug_within=first,
        ways_plugged=ways,
        stands_within=_share(int((off <= _STANDS_M[0]).sum()), off.size),
        stands_within_wide=_share(int((off <= _STANDS_M[1]).sum()), off.size),
        undrained_km2=sum(s.area_km2 for s in bare),
        undrained_false=sum(len(s.false_sites) for s in bare),
        with_maps=pool_covered([s.buried for s in scores if s.bare is not None]),
        terrain_alone=pool_covered([s.bare for s in scores if s.bare is not None]),
        pipeless_km2=sum(s.area_km2 for s in scores if s.bare is None),
        pipeless_false=sum(len(s.buried.false_sites) for s in scores if s.bare is None),
        chains=pool_chains([s.chains for s in scores]),
    )


def _quantile(values: np.ndarray, q: float) -> float:
    return float(np.quantile(values, q)) if values.size else float("nan")


def _plug_shares(hits: list[Hit]) -> tuple[float, float, float]:
    """Shares of plugs, first plugs and ways out; a site on a cut basin without any plug counts as one missed."""
    cut = [h for h in hits if h.ways]
    every = [far for h in cut for far in (h.plug_m or (np.inf,))]
    first = [h.plug_m[0] if h.plug_m else np.inf for h in cut]
    return (
        _share(sum(far <= _PLUG_M for far in every), len(every)),
        _share(sum(far <= _PLUG_M for far in first), len(first)),
        _share(sum(h.ways_plugged for h in cut), sum(h.ways for h in cut)),
    )


def lines_of(report: Report, wrong: int = 40) -> list[str]:
    """Print a report as plain lines.

    Parameters
    ----------
    report : Report
    wrong : int
        How many false sites and how many missed basins are listed.

    Returns
    -------
    list of str
    """
    r = report
    km2 = sum(s.area_km2 for s in r.scores)
    out = [f"{len(r.scores)} invented landscapes, {km2:.1f} km2"]
    for name, (hit, of) in r.recall.items():
        out.append(
            f"found, {_CLASS_TITLES[name]}: {hit} of {of} drained ({_percent(hit / of if of else float('nan'))})"
        )
    out += [
        f"precision: {r.hits} right, {r.false_sites} false ({_percent(r.precision)});"
        f" counting false sites of 0.1 ha and more: {r.false_large} ({_percent(r.precision_large)})",
        f"spill level: bias {r.spill_bias_m:+.3f} m, median error {r.spill_median_m:.3f} m, 90 % within"
        f" {r.spill_p90_m:.3f} m; within 0.15 m {_percent(r.spill_within)}",
        f"volume: median error {_percent(r.volume_median)}",
        f"plugs within 15 m of a true rim crossing: {_percent(r.plug_within)};"
        f" first plug of each site {_percent(r.first_plug_within)};"
        f" true ways out with a plug {_percent(r.ways_plugged)}",
        f"with the plugs in, water stands within 0.02 m of the level told: {_percent(r.stands_within)}; within 0.05 m"
        f" {_percent(r.stands_within_wide)}",
    ]
    if r.undrained_km2:
        per = r.undrained_false * 4.0 / r.undrained_km2
        out.append(
            f"landscapes without a drained basin: {r.undrained_false} false sites in {r.undrained_km2:.1f} km2"
            f" ({per:.1f} in 4 km2)"
        )
    out += covered_lines("covered drains, soils and land cover given", r.with_maps)
    out += covered_lines("covered drains, terrain alone", r.terrain_alone)
    if r.pipeless_false:
        out.append(
            f"squares without covered drains: {r.pipeless_false} sites offered as such in {r.pipeless_km2:.1f} km2,"
            " soils and land cover given"
        )
    out += chain_lines(r.chains)
    out += _by_kind(r)
    out += _wrong(r, wrong)
    return out + covered_wrong([s.buried for s in r.scores], wrong)


def _by_kind(report: Report) -> list[str]:
    out = ["by landscape (main size class):"]
    for s in report.scores:
        one = pool_scores([s]) if len(report.scores) > 1 else report
        hit, of = one.recall["main"]
        out.append(
            f"  {s.kind}, seed {s.seed}, {s.cell_m:g} m: found {hit} of {of}, false {one.false_sites}, neither way"
            f" {s.neither}, spill 90 % {one.spill_p90_m:.2f} m, plugs {_percent(one.plug_within)}"
        )
    return out


def _wrong(report: Report, limit: int) -> list[str]:
    bad = [(s, f) for s in report.scores for f in s.false_sites]
    out = [f"false sites ({len(bad)}):"] if bad else []
    out += [
        f"  {s.kind}, seed {s.seed}: row {f.row:.0f} col {f.col:.0f}, {f.pool_m2:.0f} m2: {f.why}"
        for s, f in bad[:limit]
    ]
    left = [(s, m) for s in report.scores for m in s.missed]
    out += [f"missed drained basins ({len(left)}):"] if left else []
    out += [
        f"  {s.kind}, seed {s.seed}: row {m.row:.0f} col {m.col:.0f}, {m.area_m2:.0f} m2, {m.depth_m:.2f} m ({m.size}),"
        f" drained by {m.drained_by or '?'}, best IoU {m.best_iou:.2f}"
        for s, m in left[:limit]
    ]
    return out
