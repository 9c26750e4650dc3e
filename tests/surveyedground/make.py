"""Make a landscape: land, works, farming, then a survey of it; the truth is taken from the land before the works."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from otherground.dig import Line, sample
from otherground.flood import Hollow, filled, hollows, pool_of
from otherground.make import Other, pooled
from otherground.plan import Plan
from otherground.truth import Sheet, truths_of
from scipy import ndimage

from . import dig, farms, routes, survey
from .land import LANDS, Land, near
from .relief import Grid, noise
from .roads import Way, roads, roadside

MARGIN_M = 60


@dataclass(frozen=True)
class Kind:
    """What is done to a land: share of its hollows drained, how ditches are led, their age, and what else there is."""

    land: str
    drained: float = 0.0
    styles: dict[str, float] = field(default_factory=lambda: {"straight": 0.8, "crooked": 0.1, "cut": 0.1})
    old: float = 0.35
    plugged: bool = False
    roads: int = 1
    ponds: int = 2
    yards: int = 2
    field_ha: float = 6.0
    wooded: float = 0.05
    grassed: float = 0.3
    most: int = 24


CUTS = {"straight": 0.35, "crooked": 0.25, "cut": 0.4}
KINDS: dict[str, Kind] = {
    "knob-and-kettle": Kind("till", 0.5, most=26),
    "outwash-fan": Kind("outwash", 0.55, CUTS, field_ha=9.0),
    "old-lake-floor": Kind("lake", 0.7, {"straight": 1.0}, roads=2, field_ha=12.0, wooded=0.0, grassed=0.1),
    "beach-ridges": Kind("coast", 0.6, old=0.5, roads=2, wooded=0.15),
    "cover-sand": Kind("sand", 0.35, old=0.6, field_ha=3.0, wooded=0.12, grassed=0.5, most=24),
    "drumlin-troughs": Kind("drumlins", 0.55, CUTS, wooded=0.1, grassed=0.5),
    "small-moraines": Kind("washboard", 0.5, old=0.2, most=24),
    "eaten-plain": Kind("dissected", 0.7, CUTS, field_ha=10.0),
    "scroll-plain": Kind("river", 0.6, old=0.4, ponds=1, field_ha=4.0, grassed=0.45),
    "none-gullies": Kind("gullies", roads=2, ponds=3, wooded=0.15),
    "none-kettle-wood": Kind("kettles", roads=2, ponds=3, wooded=0.45, grassed=0.5),
    "none-scrolls": Kind("river", roads=2, ponds=2, field_ha=4.0, wooded=0.1),
    "none-plugged": Kind("till", 0.25, plugged=True, roads=2, most=12),
}
ORDER = list(KINDS)


def make(seed: int, kind: str, cell_m: float = 1.0, size_m: int = 1000) -> Other:
    """Make a landscape.

    Parameters
    ----------
    seed : int
    kind : str
        A name of `KINDS`.
    cell_m : float
        1, 2 or 3 [m].
    size_m : int
        Side of the square [m].

    Returns
    -------
    Other
    """
    what = KINDS[kind]
    rng = np.random.default_rng([6, seed, ORDER.index(kind)])
    margin = int(np.ceil(MARGIN_M / cell_m) * cell_m)
    n = int(size_m) + 2 * margin
    n += -n % 4
    land = LANDS[what.land](rng, n)
    parcels = farms.farms(rng, n, what.field_ha, what.wooded, what.grassed)
    fine = dig.to_fine(farms.lynchets(rng, land.z, parcels) + 0.008 * noise(rng, n, 30, 3, 1.5))
    land = Land(pooled(fine, dig.FINE), land.streams)
    found = hollows(land.z)
    lines = _led(rng, land, what, found, parcels)
    ways = roads(rng, land.z, what.roads, parcels.angle)
    wet = filled(land.z) - land.z > 0.05
    busy = ndimage.binary_dilation(wet | _streams(land, n), iterations=6)
    busy |= _off([x.at for x in lines], n) < 12
    sides = [x for way in ways for x in roadside(rng, land.z, way, busy)]
    fine = _dug(rng, fine, land.z, [*sides, *lines])
    ponds = _ponds(rng, fine, what.ponds, busy, ways)
    if what.plugged:
        _plugs(rng, fine, land.z, found, lines)
    open_ground = pooled(fine, dig.FINE, "min")
    water = filled(open_ground)
    dug = pooled(fine, dig.FINE)
    seen, parcels = _seen(rng, fine, land, lines, ways, parcels, what)
    scene = _scene(rng, seen, land, lines, ponds, parcels, found, water)
    how = survey.flight(rng)
    scene = replace(scene, back=survey.returning(rng, parcels, how, _weeds(lines, n)) * scene.back)
    at, heights = survey.fly(rng, how, scene, margin - 12, margin + size_m + 12)
    z = survey.gridded(how, at, heights, margin + (cell_m - 1) / 2, int(size_m // cell_m), cell_m)
    plan = Plan([*lines, *sides], [], [p for p, _ in ponds])
    truths = truths_of(land.z, water, found, plan.lines, Sheet(margin, int(size_m), cell_m))
    cut = (slice(margin, margin + int(size_m)),) * 2
    moved = Plan(
        [replace(x, at=x.at - margin) for x in plan.lines], [], [(r - margin, c - margin) for r, c in plan.ponds]
    )
    return Other(
        z.astype(np.float32), cell_m, land.z[cut], dug[cut], water[cut], open_ground[cut], tuple(truths), moved, kind,
        seed,
    )  # fmt: skip


def _cells(at: Grid, n: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    r, c = np.clip(np.rint(at), 0, n - 1).astype(int).T
    return r, c


def _off(lines: list[Grid], n: int) -> Grid:
    """Way from 1 m cells to the nearest of some lines [m]."""
    away = np.ones((n, n), bool)
    for at in lines:
        away[_cells(at[((at > -1) & (at < n)).all(1)], n)] = False
    return ndimage.distance_transform_edt(away) if not away.all() else np.full((n, n), np.inf)


def _rims(z: Grid) -> NDArray[np.bool_]:
    """Ground within 30 m of a full hollow's shore: a block in a ditch there would look like a plug."""
    wet = filled(z) - z > 0.05
    return np.asarray(np.maximum(ndimage.distance_transform_edt(wet), ndimage.distance_transform_edt(~wet)) < 30)


def _streams(land: Land, n: int) -> NDArray[np.bool_]:
    on = np.zeros((n, n), bool)
    for s in land.streams:
        on |= near(s.at, n, 2 * s.wide_m + 2)[0] < 2 * s.wide_m + 2
    return on


def _led(rng: Generator, land: Land, what: Kind, found: list[Hollow], parcels: farms.Farms) -> list[Line]:
    """Ditches out of a share of the hollows, lowest first, so that higher ones can join them."""
    if not what.drained:
        return []
    net = routes.net_of(land, parcels.edge_m)
    inner = {h.parent for h in found if h.spill_m - h.floor_m >= 0.3}
    good = [
        h for h in found
        if 450 <= h.cells <= 45000 and h.spill_m - h.floor_m >= 0.16 and h.number not in inner
    ]  # fmt: skip
    area = (len(land.z) / 1120) ** 2
    share = [what.drained * (1.0 if h.cells >= 1000 and h.spill_m - h.floor_m >= 0.3 else 0.5) for h in good]
    pick = [h for h, p in zip(good, share, strict=True) if rng.random() < p][: max(2, round(1.6 * what.most * area))]
    names, odds = list(what.styles), np.array(list(what.styles.values()))
    for h in sorted(pick, key=lambda h: h.floor_m):
        if len(net.lines) < max(2, what.most * area):
            routes.lead(rng, net, h, str(rng.choice(names, p=odds / odds.sum())))
    return routes.sections(rng, net, what.old)


def _dug(rng: Generator, fine: Grid, z: Grid, lines: list[Line]) -> Grid:
    out = fine.copy()
    grounds = [sample(z, x.at) for x in lines]
    for line, ground in zip(lines, grounds, strict=True):
        dig.heap(rng, out, line, ground)
    for line, ground in zip(lines, grounds, strict=True):
        dig.carve(rng, out, line, ground)
    for line in lines:
        if line.section.old:
            dig.weather(out, line)
    return out


def _ponds(
    rng: Generator, fine: Grid, count: int, busy: NDArray[np.bool_], ways: list[Way]
) -> list[tuple[tuple[float, float], float]]:
    """Dig ponds where nothing else is; place and level of each."""
    n = len(busy)
    free = ~busy & (_off([w.at for w in ways], n) >= 45)
    far = ndimage.distance_transform_edt(free)
    out = []
    for _ in range(count):
        spots = np.argwhere(far > 32)
        if not len(spots):
            break
        r, c = (float(v) for v in spots[rng.integers(len(spots))])
        edge = dig.pond(rng, fine, (r, c), bool(rng.random() < 0.5))
        out.append(((r, c), edge - rng.uniform(0.15, 0.8)))
        rr, cc = np.mgrid[:n, :n]
        far[np.hypot(rr - r, cc - c) < 90] = 0
    return out


def _plugs(rng: Generator, fine: Grid, z: Grid, found: list[Hollow], lines: list[Line]) -> None:
    """Close every ditch again with earth wherever it leaves or enters a pool, to above the spill."""
    for h in found:
        if h.cells < 200 or h.spill_m - h.floor_m < 0.12:
            continue
        pool = pool_of(z, h.floor_at, h.spill_m)
        top, long_m = h.spill_m + rng.uniform(0.12, 0.3), float(rng.uniform(8, 18))
        for line in lines:
            inside = pool[_cells(line.at, len(z))].astype(int)
            for k in np.nonzero(np.diff(inside))[0]:
                out = 1 if inside[k] else -1
                middle = int(np.clip(k + out * (long_m + 4), 0, len(inside) - 1))  # stations are half a metre apart
                dig.block(fine, line, middle, long_m, top, 9.5)


def _crossings(rng: Generator, fine: Grid, z: Grid, lines: list[Line]) -> None:
    """Ways into fields: earth to bank height over a pipe, now and then."""
    at_rim = _rims(z)
    for line in lines:
        at = rng.uniform(60, 260)
        while at < line.length_m - 20:
            k = int(at * 2)
            r, c = _cells(line.at[k : k + 1], len(z))
            if not at_rim[r[0], c[0]] and (z_here := float(sample(z, line.at[k : k + 1])[0])) - line.bed_m[k] > 0.35:
                dig.block(fine, line, k, float(rng.uniform(4.5, 7)), z_here + rng.uniform(0.0, 0.15))
            at += rng.uniform(140, 420)


def _seen(
    rng: Generator, fine: Grid, land: Land, lines: list[Line], ways: list[Way], parcels: farms.Farms, what: Kind
) -> tuple[Grid, farms.Farms]:
    """What lies in the open: crossings and road fill over the dug ground, farming, yards."""
    seen, n = fine.copy(), len(land.z)
    _crossings(rng, seen, land.z, lines)
    busy = (filled(land.z) - land.z > 0.03) | _streams(land, n)
    on_line = _off([x.at for x in lines], n) < 14
    add = farms.small_relief(rng, parcels, on_line | busy)
    soft = np.clip(ndimage.distance_transform_edt(~on_line) / 8, 0, 1)
    seen += dig.to_fine(add * soft)
    for way in ways:
        dig.road(seen, way.at, way.top_m, way.wide_m, way.side)
    on_line |= _off([w.at for w in ways], n) < 30
    flat, parcels = farms.with_yards(rng, pooled(seen, dig.FINE), parcels, busy | on_line, what.yards)
    change = flat - pooled(seen, dig.FINE)
    return seen + dig.to_fine(change), parcels


def _weeds(lines: list[Line], n: int) -> NDArray[np.bool_]:
    return _off([x.at for x in lines], n) < 2.2


def _scene(
    rng: Generator, seen: Grid, land: Land, lines: list[Line], ponds: list[tuple[tuple[float, float], float]],
    parcels: farms.Farms, found: list[Hollow], water: Grid,
) -> survey.Seen:  # fmt: skip
    """Water in ditches, streams, ponds and some whole hollows; brush; stretches of ditch without any return."""
    n = len(land.z)
    level = np.full((n, n), -np.inf)
    at_rim, gaps = _rims(land.z), []
    for line in lines:
        if rng.random() < 0.5:
            away, k = near(line.at, n, 4.0)
            deep = rng.uniform(0.04, 0.28) * np.clip(np.arange(len(line.at)) / 120, 0.15, 1)
            level = np.where(away < 4, np.maximum(level, (line.bed_m + deep)[k.astype(int)]), level)
        at = rng.uniform(40, 300)
        while at < line.length_m - 15:
            part = line.at[int(at * 2) : int((at + rng.uniform(3, 13)) * 2)]
            gaps.append(part[~at_rim[_cells(part, n)]])
            at += rng.uniform(120, 500)
    for s in land.streams:
        away, k = near(s.at, n, 2.0 * s.wide_m)
        level = np.where(np.isfinite(away), np.maximum(level, (s.bed_m + 0.3)[k.astype(int)]), level)
    for at, top in ponds:
        rr, cc = np.mgrid[:n, :n]
        level = np.where(np.hypot(rr - at[0], cc - at[1]) < 32, np.maximum(level, top), level)
    for h in found:
        if h.cells < 300 or rng.random() < 0.6 or water[h.floor_at] < h.spill_m - 0.1:
            continue
        stand = h.floor_m + rng.uniform(0.05, 0.35) * (h.spill_m - h.floor_m)
        level = np.where(pool_of(land.z, h.floor_at, stand), np.maximum(level, stand), level)
    back = np.where(_off(gaps, n) < 2.5, 0.0, 1.0)
    brush = survey.brush_of(rng, parcels, _weeds(lines, n))
    wide = np.repeat(np.repeat(level, dig.FINE, 0), dig.FINE, 1)
    return survey.Seen(seen, wide, brush, back)
