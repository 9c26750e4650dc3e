"""Scoring of what a screen offered against the exact answers of a landscape.

Rules
1. A site matches a true basin when their pools overlap by IoU >= 0.5 (shared cells / cells of either). Of several
   nested true basins it takes the best drained one; only without one, the best of the others.
2. A family is all nested basins with one floor. It counts once: any drained member found is a hit, with the size class
   of the largest class its drained members reach.
3. A second site on a family already hit, or on a basin inside or around one already hit, is false. So is a site that
   matches a basin nobody drained, or nothing.
4. A match with a partly drained basin, one under the size limits or one at the raster's border counts neither way.
5. Sites offered as drained by a covered pipe are passed over here; `score_covered` scores them.
6. A drained family not found itself, whose ground lies in an enclosing basin that was found (or counted neither way by
   rule 4), counts neither way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wetscout.prove.found import Found, overlap
from wetscout.prove.landscape import Landscape, TrueBasin
from wetscout.prove.score_chains import ChainScore, score_chains
from wetscout.prove.score_covered import CoveredScore, score_covered
from wetscout.prove.score_plugged import standing
from wetscout.records import F64, Patch

IOU = 0.5
STANDS_M = 0.02
LEAST_M2, SMALL_M2 = 1000.0, 400.0
LEAST_DEPTH_M, SHALLOW_M = 0.3, 0.15
# Size classes, largest first: (name, least area, least depth)
CLASSES = (
    ("main", LEAST_M2, LEAST_DEPTH_M),
    ("small", SMALL_M2, LEAST_DEPTH_M),
    ("shallow", LEAST_M2, SHALLOW_M),
    ("small and shallow", SMALL_M2, SHALLOW_M),
)


@dataclass(frozen=True)
class Hit:
    """A site on a drained basin: errors [m], volume ratio error, plug distances [m] to the true rim crossings.

    `stands_off_m` is how far the water stands from the level told once the plugs are put into the true ground; `held`
    whether it stands at that level or at the true one.
    """

    found: int
    node_id: int
    size: str
    row: float
    col: float
    iou: float
    spill_error_m: float
    volume_error: float
    plug_m: tuple[float, ...]
    ways: int
    ways_plugged: int
    drained_by: str
    stands_off_m: float = float("nan")
    held: bool = False


@dataclass(frozen=True)
class FalseSite:
    """A site that is none: place [cells], pool [m2], why, and what stands there."""

    found: int
    row: float
    col: float
    pool_m2: float
    why: str


@dataclass(frozen=True)
class Missed:
    """A drained basin nobody offered: place [cells], size, how it was drained, best overlap any site reached."""

    node_id: int
    size: str
    row: float
    col: float
    area_m2: float
    depth_m: float
    drained_by: str
    best_iou: float


@dataclass(frozen=True)
class Score:
    """One landscape scored: open drains, covered ones with soils and land cover given, rows of basins.

    `bare` is the list of covered drains from terrain alone, where that was tried.
    """

    kind: str
    seed: int
    cell_m: float
    area_km2: float
    any_drained: bool
    hits: tuple[Hit, ...]
    false_sites: tuple[FalseSite, ...]
    missed: tuple[Missed, ...]
    neither: int
    covered: int
    buried: CoveredScore
    chains: ChainScore
    bare: CoveredScore | None = None


def size_class(area_m2: float, depth_m: float) -> str | None:
    """Name the size class of a basin, None when it is too small to be scored.

    Parameters
    ----------
    area_m2, depth_m : float
        [m2], [m].

    Returns
    -------
    str or None
    """
    return next((name for name, area, depth in CLASSES if area_m2 >= area and depth_m >= depth), None)


def score(landscape: Landscape, found: Sequence[Found]) -> Score:
    """Score the sites offered on one landscape by the rules at the head of this module.

    Parameters
    ----------
    landscape : Landscape
    found : sequence of Found

    Returns
    -------
    Score
    """
    cell = landscape.cell_m
    basins = landscape.basins
    families = _families(basins)
    table = [_overlaps(f.pool, basins) for f in found]
    picks = [_pick(row, basins) for row in table]
    opened = [i for i, f in enumerate(found) if not f.covered]
    order = sorted(opened, key=lambda i: (-(picks[i] or (0, 0.0))[1], i))
    parents = landscape.parent_of()
    taken: set[int] = set()
    shaded: set[int] = set()
    hits: list[Hit] = []
    waters: dict[int, Patch | None] = {}
    false_sites: list[FalseSite] = []
    neither = 0
    for i in order:
        pick = picks[i]
        if pick is None:
            false_sites.append(_false(i, found[i], landscape, table[i], ""))
            continue
        basin = basins[pick[0]]
        if not (basin.drained or basin.partial or basin.at_edge):
            false_sites.append(_false(i, found[i], landscape, table[i], "a basin nobody drained"))
            continue
        if any(_related(basin, basins[n], parents) for n in taken | shaded):
            false_sites.append(_false(i, found[i], landscape, table[i], "second offer on one basin"))
            continue
        size = families.get(basin.family)
        if not basin.drained or basin.at_edge or size is None:
            neither += 1
            shaded.add(basin.node_id)
            continue
        taken.add(basin.node_id)
        hit = _hit(i, found[i], basin, size, pick[1], cell)
        held = standing(landscape, found[i], basin)
        waters[basin.node_id] = held.water
        hits.append(_with_water(hit, held.off_m))
    missed, covered = _left(basins, families, taken, shaded, parents, [table[i] for i in opened])
    drained = any(b.drained or b.partial for b in basins)
    ways = [(h.ways, h.ways_plugged, h.held) for h in hits]
    return Score(
        landscape.kind, landscape.seed, cell, landscape.area_km2, drained,
        tuple(hits), tuple(false_sites), tuple(missed), neither, covered,
        score_covered(landscape, found),
        score_chains(landscape, found, {h.node_id: h.found for h in hits}, ways, waters),
    )  # fmt: skip


def _families(basins: tuple[TrueBasin, ...]) -> dict[int, str]:
    """Size class of each family that has a drained member to be scored."""
    names = [name for name, _, _ in CLASSES]
    best: dict[int, str] = {}
    for b in basins:
        size = size_class(b.area_m2, b.depth_m)
        if not b.drained or b.at_edge or size is None:
            continue
        if b.family not in best or names.index(size) < names.index(best[b.family]):
            best[b.family] = size
    return best


def _overlaps(pool: Patch, basins: tuple[TrueBasin, ...]) -> dict[int, float]:
    """IoU with each true basin that shares ground."""
    own = int(np.count_nonzero(pool.mask))
    out: dict[int, float] = {}
    for i, basin in enumerate(basins):
        both = overlap(pool, basin.pool)
        if both:
            out[i] = both / (own + int(np.count_nonzero(basin.pool.mask)) - both)
    return out


def _pick(overlaps: dict[int, float], basins: tuple[TrueBasin, ...]) -> tuple[int, float] | None:
    """The true basin a site stands for, with the IoU."""
    good = [(i, iou) for i, iou in overlaps.items() if iou >= IOU]
    if not good:
        return None
    scored = [g for g in good if basins[g[0]].drained and not basins[g[0]].at_edge]
    return max(scored or good, key=lambda g: (g[1], -g[0]))


def _related(a: TrueBasin, b: TrueBasin, parents: dict[int, int]) -> bool:
    """Same family, or one lies within the other."""
    return a.family == b.family or a.node_id in _up(b.node_id, parents) or b.node_id in _up(a.node_id, parents)


def _up(node_id: int, parents: dict[int, int]) -> set[int]:
    out: set[int] = set()
    while node_id >= 0:
        out.add(node_id)
        node_id = parents.get(node_id, -1)
    return out


def _hit(number: int, found: Found, basin: TrueBasin, size: str, iou: float, cell_m: float) -> Hit:
    plugs = np.array(found.plugs, dtype=np.float64).reshape(-1, 2)
    rims = [np.stack([c.row, c.col], axis=1) for c in basin.crossings]
    far: tuple[float, ...] = ()
    if rims and len(plugs):
        far = tuple(float(_away(p[None, :], np.concatenate(rims))) * cell_m for p in plugs)
    ways = [np.stack([c.row, c.col], axis=1) for c in basin.crossings if c.outflow]
    laid = np.concatenate([plugs, *(_along(line, 1.0 / cell_m) for line in found.plug_lines)])
    closed = sum(1 for w in ways if len(laid) and _away(laid, w) * cell_m <= 15.0)
    row, col = _middle(basin.pool)
    return Hit(
        found=number,
        node_id=basin.node_id,
        size=size,
        row=row,
        col=col,
        iou=iou,
        spill_error_m=found.spill_m - basin.spill_m,
        volume_error=abs(found.volume_m3 / basin.volume_m3 - 1.0),
        plug_m=far,
        ways=len(ways),
        ways_plugged=closed,
        drained_by=basin.drained_by,
    )


def _with_water(hit: Hit, stands_off_m: float) -> Hit:
    """What the water tells of a hit: where it gets out below both the level told and the true one, a way is open."""
    lower = stands_off_m < -STANDS_M and stands_off_m + hit.spill_error_m < -STANDS_M
    closed = hit.ways_plugged - int(lower and hit.ways_plugged == hit.ways > 0)
    # without lines of plugs to put in, a plug at each way must do
    held = not lower if np.isfinite(stands_off_m) else closed >= hit.ways
    return replace(hit, stands_off_m=stands_off_m, ways_plugged=closed, held=held)


def _along(line: tuple[F64, F64], step: float) -> F64:
    """Points on a line of straight pieces, not farther apart than a step [cells]."""
    row, col = (np.asarray(part, dtype=np.float64) for part in line)
    far = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(row), np.diff(col)))])
    at = np.linspace(0.0, far[-1], int(np.ceil(far[-1] / step)) + 1)
    return np.stack([np.interp(at, far, row), np.interp(at, far, col)], axis=1)


def _away(points: F64, others: F64) -> float:
    """Least distance between two sets of points."""
    return float(np.hypot(points[:, None, 0] - others[None, :, 0], points[:, None, 1] - others[None, :, 1]).min())


def _middle(patch: Patch) -> tuple[float, float]:
    r, c = np.nonzero(patch.mask)
    return float(patch.row0 + r.mean()), float(patch.col0 + c.mean())


def _false(number: int, found: Found, landscape: Landscape, overlaps: dict[int, float], why: str) -> FalseSite:
    row, col = _middle(found.pool)
    area = float(np.count_nonzero(found.pool.mask)) * landscape.cell_m**2
    if not why and overlaps:
        i = max(overlaps, key=lambda k: overlaps[k])
        b = landscape.basins[i]
        state = "drained" if b.drained else "partly drained" if b.partial else "whole"
        why = f"overlaps basin {b.node_id} ({state}, {b.area_m2:.0f} m2, {b.depth_m:.2f} m), IoU {overlaps[i]:.2f}"
    why = why or "no basin of the truth here"
    return FalseSite(number, row, col, area, f"{why}; nearest: {_nearest(landscape, row, col)}")


def _nearest(landscape: Landscape, row: float, col: float) -> str:
    """The nearest true feature that could have been mistaken."""
    cell = landscape.cell_m
    seen: list[tuple[float, str]] = []
    for line in landscape.ditches + landscape.roads + landscape.streams:
        seen.append((float(np.hypot(line.row - row, line.col - col).min()) * cell, line.kind))
    for pond in landscape.ponds:
        seen.append((float(np.hypot(pond.row - row, pond.col - col)) * cell, "pond"))
    best = sorted(seen)[:2]
    return ", ".join(f"{kind} {far:.0f} m" for far, kind in best) or "nothing"


def _left(
    basins: tuple[TrueBasin, ...],
    families: dict[int, str],
    taken: set[int],
    shaded: set[int],
    parents: dict[int, int],
    table: list[dict[int, float]],
) -> tuple[list[Missed], int]:
    """Drained families without a hit: missed, or covered by an enclosing basin that was offered."""
    hit = {basins[n].family for n in taken}
    missed: list[Missed] = []
    covered = 0
    for family, size in families.items():
        if family in hit:
            continue
        members = [b for b in basins if b.family == family and b.drained and not b.at_edge]
        if any(_up(b.node_id, parents) & (taken | shaded) for b in members) or any(
            basins[n].family == family for n in shaded
        ):
            covered += 1
            continue
        b = max((m for m in members if size_class(m.area_m2, m.depth_m) == size), key=lambda m: m.depth_m)
        best = max((row.get(m.node_id, 0.0) for row in table for m in members), default=0.0)
        row, col = _middle(b.pool)
        missed.append(Missed(b.node_id, size, row, col, b.area_m2, b.depth_m, b.drained_by, best))
    return missed, covered
