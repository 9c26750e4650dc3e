"""What a screen found, held against the truth.

A family is a drained hollow that lies in no drained one, with the hollows that share its floor: the drained ones in
it, and those round it that lost half their depth there (another floor of theirs may still hold water). A site that
overlaps one of these by half (IoU) finds the family; *same level* when that hollow spills no lower than the drained
one less 0.10 m. The outline of a hollow less full by 0.05 or 0.10 m is as good: where a thin sheet makes most of the
area, either is right. A site is false unless it overlaps some drained hollow by half, lies with 0.6 of its area in a
drained or partly drained one, overlaps one by 0.3, or overlaps by half a hollow that holds a drained one. Hollows
that touch the sheet's edge count neither way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import ndimage

from .dig import dense
from .flood import filled, pool_of
from .make import Other, pooled
from .specimens import HALF_M, Specimen
from .truth import EDGE_M, Truth

IOU = 0.5  # issue 2, Must hold 2
PLUG_M = 15.0  # issue 2, Must hold 2
LARGE_M2, DEEP_M = 1000.0, 0.3  # issue 2, Must hold 2
TOP_M2 = 40000.0  # larger families are printed on a line of their own
SMALL_M2, SHALLOW_M = 400.0, 0.15
SAME_LEVEL_M = 0.10
HALF_LOST = 0.5
UPSTREAM_M = 30.0  # a ditch that enters with less than this begins here
COVERED = ("ditch into covered pipe", "buried drain suspected")


@dataclass(frozen=True)
class Hit:
    """A family and the site that found it; errors against the matched hollow.

    `starts_here`: whether the site says rightly if a ditch enters from above; `cuts`: true ways out below the spill and
    those with a plug; `stands_m`: level of the water behind the site's plugs on the dug ground, less the site's spill.
    """

    truth: Truth
    matched: Truth | None
    site: int | None
    iou: float
    spill_error_m: float = float("nan")
    volume_error: float = float("nan")
    plugs_m: tuple[float, ...] = ()
    reason: str = ""
    starts_here: bool | None = None
    cuts: tuple[int, int] = (0, 0)
    stands_m: float = float("nan")

    @property
    def same_level(self) -> bool:
        """Found at the outermost drained level, one that spills within 0.10 m of it, or one round it."""
        return self.matched is not None and self.matched.spill_m >= self.truth.spill_m - SAME_LEVEL_M


@dataclass(frozen=True)
class False_:
    """A site on nothing that was drained: where, how large, what lies there."""

    site: int
    at: tuple[int, int]
    pool_m2: float
    lies_on: str


@dataclass(frozen=True)
class Figures:
    """Families and sites of one landscape."""

    kind: str
    seed: int
    cell_m: float
    km2: float
    families: tuple[Hit, ...]
    false: tuple[False_, ...]
    sites: int
    small_hits: int
    specimens: tuple[tuple[str, bool], ...] = ()

    def of(self, low_m2: float, high_m2: float, low_m: float, high_m: float) -> list[Hit]:
        """Families by area and depth, both half open."""
        return [h for h in self.families if low_m2 <= h.truth.area_m2 < high_m2 and low_m <= h.truth.depth_m < high_m]


def overlap(a: Any, b: Any) -> int:
    """Cells that two patches (row0, col0, mask) share."""
    r0, c0 = max(a.row0, b.row0), max(a.col0, b.col0)
    r1 = min(a.row0 + a.mask.shape[0], b.row0 + b.mask.shape[0])
    c1 = min(a.col0 + a.mask.shape[1], b.col0 + b.mask.shape[1])
    if r1 <= r0 or c1 <= c0:
        return 0
    one = a.mask[r0 - a.row0 : r1 - a.row0, c0 - a.col0 : c1 - a.col0]
    two = b.mask[r0 - b.row0 : r1 - b.row0, c0 - b.col0 : c1 - b.col0]
    return int((one & two).sum())


def iou(a: Any, b: Any) -> float:
    """Shared cells over cells of either."""
    both = overlap(a, b)
    return both / (int(a.mask.sum()) + int(b.mask.sum()) - both)


def _families(truths: Sequence[Truth]) -> list[tuple[Truth, list[Truth]]]:
    drained = {t.number: t for t in truths if t.state == "drained"}
    out = []
    for t in drained.values():
        if t.parent in drained or t.area_m2 < SMALL_M2 or t.depth_m < SHALLOW_M or t.edge:
            continue
        levels = [d for d in truths if d.floor_at == t.floor_at and (d.state == "drained" or d.lost >= HALF_LOST)]
        out.append((t, levels))
    return out


def _reason(screen: Any, truth: Truth) -> str:
    """Why a screen did not offer what lies there: the reason of what it turned down, or what it takes it for."""
    best = max(screen.not_offered, key=lambda b: iou(b.pool, truth), default=None)
    if best is not None and iou(best.pool, truth) >= 0.25:
        return f"turned down: {best.reason} (iou {iou(best.pool, truth):.2f})"
    site = max(screen.sites, key=lambda s: overlap(s.pool, truth), default=None)
    if site is not None and overlap(site.pool, truth):
        return f"offered otherwise: pool {site.values['pool_m2']:.0f} m2, iou {iou(site.pool, truth):.2f}"
    basin = max(screen.basins, key=lambda b: iou(b.pool, truth), default=None)
    if basin is not None and iou(basin.pool, truth) > 0.1:
        rim = basin.values.get("rim")
        level = basin.values["spill_m"]
        return f"basin seen (iou {iou(basin.pool, truth):.2f}, rim {rim}, spill {level:.2f}), not offered"
    if best is not None and overlap(best.pool, truth):
        return f"turned down: {best.reason} (iou {iou(best.pool, truth):.2f})"
    return "no natural basin there"


def _plugs(other: Other, truth: Truth, site: Any) -> tuple[float, ...]:
    """Distance [m] of every plug of a site to the nearest true crossing of the rim, in the order of the plugs."""
    if not truth.crossings:
        return ()
    at = np.vstack([np.stack([c.row, c.col], 1) for c in truth.crossings])
    where = [(p.values["_row"], p.values["_col"]) for p in site.plugs]
    return tuple(float(np.hypot(at[:, 0] - r, at[:, 1] - c).min()) * other.cell_m for r, c in where)


def _cuts(other: Other, truth: Truth, site: Any) -> tuple[int, int]:
    """True ways out (those within 15 m of each other are one), and how many of them have a plug within 15 m."""
    where = np.array([(p.values["_row"], p.values["_col"]) for p in site.plugs], float).reshape(-1, 2)
    ways: list[Any] = []
    closed = 0
    for c in truth.crossings:
        at = np.stack([c.row, c.col], 1)
        if c.entering or any(np.hypot(*(at[:, None] - w[None]).T).min() * other.cell_m < PLUG_M for w in ways):
            continue
        ways.append(at)
        near = np.hypot(*(at[:, None] - where[None]).T).min() if len(where) else np.inf
        closed += bool(near * other.cell_m <= PLUG_M)
    return len(ways), closed


def stands(other: Other, sites: Sequence[Any]) -> Any:
    """Brim-full water on the open, dug ground with the plugs of all sites built to their spill levels (1 m cells)."""
    z = other.open_ground.copy()
    for site in sites:
        for plug in site.plugs:
            row, col = (np.asarray(v, float) * other.cell_m + (other.cell_m - 1) / 2 for v in (plug.row, plug.col))
            line = dense(np.stack([row, col], 1), 0.25)
            cells = np.unique(np.rint(line).astype(int), axis=0)
            for a in range(-1, 2):
                for b in range(-1, 2):
                    r, c = (np.clip(cells[:, k] + (a, b)[k], 0, len(z) - 1) for k in (0, 1))
                    z[r, c] = np.maximum(z[r, c], float(site.values["spill_m"]))
    return filled(z)


def _thinner(other: Other, t: Truth) -> list[Truth]:
    """The same hollow 0.05 and 0.10 m less full: where a thin sheet makes most of the area, either outline is right."""
    if t.depth_m < DEEP_M:
        return []
    z = other.natural[: len(other.natural) // round(other.cell_m) * round(other.cell_m)]
    z = pooled(z[:, : len(z)], round(other.cell_m))
    floor = tuple(int(np.clip(round(v), 0, len(z) - 1)) for v in t.floor_at)
    out = []
    for less in (SAME_LEVEL_M / 2, SAME_LEVEL_M):
        pool = pool_of(z, (floor[0], floor[1]), t.spill_m - less)
        if pool.any():
            box = ndimage.find_objects(pool.astype(np.int8))[0]
            out.append(replace(t, row0=box[0].start, col0=box[1].start, mask=pool[box]))
    return out


def _find(other: Other, sites: Sequence[Any], screen: Any, truth: Truth, levels: list[Truth]) -> Hit:
    pairs = [(iou(s.pool, t), k, t) for k, s in enumerate(sites) for t in levels if overlap(s.pool, t)]
    best, k, t = max(pairs, key=lambda p: p[0], default=(0.0, None, None))
    if best < IOU:
        levels = _thinner(other, truth)
        pairs = [(iou(s.pool, t), k, t) for k, s in enumerate(sites) for t in levels if overlap(s.pool, t)]
        best, k, t = max([*pairs, (best, k, t)], key=lambda p: p[0])
    if k is None or t is None or best < IOU:
        return Hit(truth, None, None, best, reason=_reason(screen, truth))
    site = sites[k]
    v = site.values
    volume = float(v["volume_m3"]) / t.volume_m3 - 1
    right = (v.get("drain_position") == "starts here") == (t.upstream_m <= UPSTREAM_M)
    error, plugs = float(v["spill_m"]) - t.spill_m, _plugs(other, t, site)
    return Hit(truth, t, k, best, error, volume, plugs, "", right, _cuts(other, t, site))


def _at_sheet_edge(other: Other, pool: Any) -> bool:
    """Whether a site reaches so near to the sheet's edge that the truth there is not judged either."""
    gap = EDGE_M / 2 / other.cell_m
    rows, cols = pool.mask.shape
    last = len(other.z) - gap
    return pool.row0 < gap or pool.col0 < gap or pool.row0 + rows > last or pool.col0 + cols > last


def _allowed(other: Other, pool: Any) -> bool:
    """Whether a site that is no hit still is about something drained."""
    size = int(pool.mask.sum())
    if _at_sheet_edge(other, pool):
        return True
    changed = {t.number for t in other.truths if t.state != "whole"}
    holds = set()
    for t in other.truths:
        if t.number in changed:
            up = t.parent
            by = {x.number: x.parent for x in other.truths}
            while up in by:
                holds.add(up)
                up = by[up]
    for t in other.truths:
        both = overlap(pool, t)
        if not both:
            continue
        same = both / (size + int(t.mask.sum()) - both)
        if t.number in changed and (both >= 0.6 * size or same >= 0.3):
            return True
        if (t.number in holds and same >= IOU) or (t.edge and both >= 0.3 * size):
            return True
    return False


def _specimen_at(other: Other, pool: Any) -> Specimen | None:
    """The specimen in whose square the middle of a pool lies."""
    rr, cc = np.nonzero(pool.mask)
    r, c = (pool.row0 + float(np.median(rr))) * other.cell_m, (pool.col0 + float(np.median(cc))) * other.cell_m
    near = (s for s in other.specimens if max(abs(s.at[0] - r), abs(s.at[1] - c)) <= HALF_M)
    return next(near, None)


def _lies_on(other: Other, pool: Any) -> str:
    on = [(iou(pool, t), t) for t in other.truths if overlap(pool, t)]
    if not on and (thing := _specimen_at(other, pool)) is not None:
        return f"a specimen: {thing.kind}"
    if not on:
        r, c = pool.row0 + pool.mask.shape[0] / 2, pool.col0 + pool.mask.shape[1] / 2
        near = any(np.hypot(a - r * other.cell_m, b - c * other.cell_m) < 25 for a, b in other.plan.ponds)
        return "a dug pond" if near else "no hollow"
    best, t = max(on, key=lambda p: p[0])
    return f"{t.state} hollow {t.area_m2:.0f} m2, {t.depth_m:.2f} m, iou {best:.2f}, lost {t.lost:.2f}"


def _with_levels(other: Other, sites: Sequence[Any], hits: tuple[Hit, ...]) -> tuple[Hit, ...]:
    """Add to each hit where water stands once every plug is built."""
    if not any(s.plugs and hasattr(s.plugs[0], "row") for s in sites):
        return hits
    water = stands(other, sites)
    out = []
    for h in hits:
        if h.site is not None and h.matched is not None:
            at = np.asarray(h.matched.floor_at) * other.cell_m + (other.cell_m - 1) / 2
            r, c = (int(np.clip(round(v), 0, len(water) - 1)) for v in at)
            h = replace(h, stands_m=float(water[r, c]) - float(sites[h.site].values["spill_m"]))  # noqa: PLW2901
        out.append(h)
    return tuple(out)


def score(other: Other, screen: Any) -> Figures:
    """Compare what a screen offers with the truth.

    Parameters
    ----------
    other : Other
    screen : wetscout.records.Screen

    Returns
    -------
    Figures
    """
    sites = [s for s in screen.sites if s.values.get("drained_by") not in COVERED]
    hits = tuple(_find(other, sites, screen, t, levels) for t, levels in _families(other.truths))
    hits = _with_levels(other, sites, hits)
    taken = {h.site for h in hits if h.site is not None}
    drained = [t for t in other.truths if t.state == "drained"]
    false, more = [], 0
    for k, site in enumerate(sites):
        if k in taken:
            continue
        if any(iou(site.pool, t) >= IOU for t in drained):
            more += 1
        elif not _allowed(other, site.pool):
            rr, cc = np.nonzero(site.pool.mask)
            at = (site.pool.row0 + int(np.median(rr)), site.pool.col0 + int(np.median(cc)))
            false.append(False_(k, at, float(site.values["pool_m2"]), _lies_on(other, site.pool)))
    km2 = other.z.size * other.cell_m**2 / 1e6
    shown = {_specimen_at(other, sites[f.site].pool) for f in false}
    things = tuple((s.kind, s in shown) for s in other.specimens)
    return Figures(other.kind, other.seed, other.cell_m, km2, hits, tuple(false), len(sites), more, things)
