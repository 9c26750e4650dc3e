"""Score what a screen offers against the transplanted truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .cutter import Transplant, Truth

MATCH_IOU = 0.5  # issue 2, Must hold 4
SPILL_WITHIN_M = 0.15  # issue 2, Must hold 4
PLUG_WITHIN_M = 15.0  # issue 2, Must hold 2


@dataclass(frozen=True)
class Found:
    """One basin a screen offers: pool window, level, plug points (row, col) in cells."""

    row0: int
    col0: int
    mask: NDArray[np.bool_]
    spill_m: float
    plugs: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Match:
    """A drained basin of the truth beside the offer that overlaps it best."""

    truth: Truth
    iou: float
    found: int | None
    spill_error_m: float
    plug_m: float

    @property
    def hit(self) -> bool:
        """Found: the pools overlap by half or more of their union."""
        return self.iou >= MATCH_IOU


@dataclass(frozen=True)
class Score:
    """Matches of the drained basins, and the offers that lie on nothing we drained (indices into `found`)."""

    matches: tuple[Match, ...]
    on_whole: tuple[int, ...]
    elsewhere: tuple[int, ...]

    def of(self, low_m2: float = 0.0, high_m2: float = np.inf) -> list[Match]:
        """Matches whose true pool has an area in [low, high) [m2]."""
        return [m for m in self.matches if low_m2 <= m.truth.area_m2 < high_m2]


def found_of(screen: Any) -> list[Found]:
    """The sites of a `wetscout.records.Screen` as `Found`."""
    out = []
    for site in screen.sites:
        plugs = tuple((float(np.mean(p.row)), float(np.mean(p.col))) for p in site.plugs)
        level = float(site.values["spill_m"])
        out.append(Found(site.pool.row0, site.pool.col0, np.asarray(site.pool.mask, dtype=bool), level, plugs))
    return out


def iou(pool: NDArray[np.bool_], one: Found) -> float:
    """Overlap of a pool and an offer: cells in both over cells in either."""
    rows, cols = one.mask.shape
    window = pool[one.row0 : one.row0 + rows, one.col0 : one.col0 + cols]
    both = int((window & one.mask).sum())
    return both / (int(pool.sum()) + int(one.mask.sum()) - both)


def _touches(pool: NDArray[np.bool_], one: Found) -> bool:
    """True when an offer is about this pool: an overlap of 0.15 or more (a basin seven times larger is another one)."""
    return iou(pool, one) >= 0.15


def _plug_m(truth: Truth, one: Found, cell_m: float) -> float:
    """Least distance [m] from a plug to the stretch of ditch that goes through the rim; inf without plugs."""
    if not one.plugs or not len(truth.rim_row):
        return float("inf")
    at = np.array(one.plugs)
    far = np.hypot(at[:, :1] - truth.rim_row[None, :], at[:, 1:] - truth.rim_col[None, :])
    return float(far.min()) * cell_m


def score_transplant(made: Transplant, found: Sequence[Found]) -> Score:
    """Match offers to the drained basins, best overlap first, each offer once.

    Parameters
    ----------
    made : Transplant
    found : sequence of Found

    Returns
    -------
    Score
        Offers that cover a basin left whole are in `on_whole`; those that match no drained basin and touch none
        that is `drained` or `partly` are in `elsewhere` (or `on_whole`).
    """
    drained = [t for t in made.truths if t.state == "drained"]
    pairs = [(iou(t.pool, f), i, k) for i, t in enumerate(drained) for k, f in enumerate(found)]
    match: dict[int, tuple[float, int]] = {}
    taken: set[int] = set()
    for overlap, i, k in sorted(pairs, key=lambda p: (-p[0], p[1], p[2])):
        if overlap > 0 and i not in match and k not in taken:
            match[i] = (overlap, k)
            taken.add(k)
    rows = []
    for i, truth in enumerate(drained):
        overlap, k = match.get(i, (0.0, None))
        if k is None:
            rows.append(Match(truth, 0.0, None, float("nan"), float("inf")))
        else:
            one = found[k]
            rows.append(Match(truth, overlap, k, one.spill_m - truth.spill_m, _plug_m(truth, one, made.cell_m)))
    hits = {m.found for m in rows if m.hit}
    whole = [t.pool for t in made.truths if t.state == "whole"]
    known = [t.pool for t in made.truths if t.state != "whole"]
    on_whole, elsewhere = [], []
    for k, one in enumerate(found):
        if k in hits:
            continue
        if any(_touches(p, one) for p in whole):
            on_whole.append(k)
        elif not any(_touches(p, one) for p in known):
            elsewhere.append(k)
    return Score(tuple(rows), tuple(on_whole), tuple(elsewhere))


def offered_of(made: Transplant, found: Sequence[Found]) -> list[int]:
    """Which of the basins of the truth (by number) are offered on the *untouched* DEM: must be none.

    Parameters
    ----------
    made : Transplant
    found : sequence of Found
        What a screen of `made.untouched` offers.

    Returns
    -------
    list of int
    """
    return [i for i, t in enumerate(made.truths) if any(_touches(t.pool, f) for f in found)]


def report(name: str, score: Score) -> str:
    """One line for developers: shares found, spill and plug errors, false offers."""
    parts = [name]
    for title, low, high in ((">=0.1 ha", 1000.0, np.inf), ("0.04-0.1 ha", 0.0, 1000.0)):
        rows = score.of(low, high)
        hits = [m for m in rows if m.hit]
        level = sum(abs(m.spill_error_m) <= SPILL_WITHIN_M for m in hits)
        plug = sum(m.plug_m <= PLUG_WITHIN_M for m in hits)
        parts.append(f"{title}: found {len(hits)}/{len(rows)}, spill {level}/{len(hits)}, plug {plug}/{len(hits)}")
    parts.append(f"offered though whole {len(score.on_whole)}, elsewhere {len(score.elsewhere)}")
    return " | ".join(parts)
