"""Who is drained and how: collectors first, then laterals to the cheapest outlet; roads with their ditches; ponds."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from .dig import Line, Road, Section, dense, sample
from .flood import Hollow, hollows, pool_of
from .ground import Natural, _flood_order
from .route import STEP_M, Limits, Outlets, coarse, down_the_low, through, to_outlet

Grid = NDArray[np.float64]


@dataclass(frozen=True)
class Kind:
    """What a landscape is made of: shares are of the hollows that can be drained, counts are a square kilometre."""

    ground: str
    drained: float = 0.55
    old: float = 0.25
    crooked: float = 0.15
    collectors: int = 1
    roads: int = 1
    ponds: float = 3.0
    furrows: bool = True
    noise_m: float = 0.04
    covered: float = 0.0
    second: float = 0.0
    specimens: bool = False
    stripes_m: float = 0.0
    styles: bool = False


KINDS = {
    "knolls": Kind("knolls"),
    "crevasse": Kind("crevasse"),
    "till": Kind("till", crooked=0.3),
    "lakeplain": Kind("lakeplain", collectors=2, crooked=0.0),
    "floodplain": Kind("floodplain", collectors=0),
    "old": Kind("crevasse", old=1.0),
    "crooked": Kind("knolls", crooked=0.9, old=0.5),
    "roads": Kind("lakeplain", roads=4),
    "all": Kind("crevasse", drained=1.0, collectors=2),
    "noisy": Kind("till", drained=0.8, noise_m=0.06),
    "chain": Kind("crevasse", drained=0.3, collectors=4),
    "cuts": Kind("crevasse", drained=0.8, collectors=0, second=0.8),
    "covered": Kind("crevasse", drained=0.15, covered=0.8),
    "covered-till": Kind("till", drained=0.2, covered=0.9, ponds=1.0),
    "covered-plain": Kind("lakeplain", drained=0.15, covered=0.8),
    "specimens": Kind("slope", drained=0.0, collectors=0, roads=0, ponds=0.0, specimens=True),
    "dunes": Kind("dunes", furrows=False),
    "swale": Kind("swale", crooked=0.3, furrows=False),
    "terraces": Kind("terraces"),
    "striped": Kind("till", stripes_m=0.02),
    "styles": Kind("crevasse", drained=0.8, styles=True),
    "none": Kind("knolls", drained=0.0, collectors=0, roads=2),
    "none-plain": Kind("lakeplain", drained=0.0, collectors=0, roads=3),
    "none-flood": Kind("floodplain", drained=0.0, collectors=0),
}


@dataclass
class Plan:
    """All that is dug, and which hollow each line was meant for."""

    lines: list[Line] = field(default_factory=list)
    roads: list[Road] = field(default_factory=list)
    ponds: list[tuple[float, float]] = field(default_factory=list)
    closed: list[tuple[float, float]] = field(default_factory=list)  # field crossings over a ditch


def section_of(rng: Generator, kind: Kind, collector: bool) -> Section:
    """A cross section of item 11's ranges; `styles`: V-shaped, mown to a wide swale, or a broad flat main."""
    old = bool(rng.random() < kind.old)
    width = rng.uniform(1.0, 2.5) if collector else rng.uniform(0.5, 1.6)
    side = rng.uniform(3.0, 6.0) if old else rng.uniform(1.3, 2.0)
    which = rng.choice(4)
    high = rng.uniform(0.1, 0.35, 2) * (0.6 if old else 1.0)
    spoil = [(0.0, 0.0), (float(high[0]), 0.0), (0.0, float(high[0])), (float(high[0]), float(high[1]))][which]
    if kind.styles:
        width, side = ((0.2, rng.uniform(1.0, 2.0)), (0.4, rng.uniform(4.0, 7.0)), (3.0, 1.5))[rng.choice(3)]
    return Section(float(width), float(side), spoil, old)


def _silted(rng: Generator, line: Line) -> Line:
    """An old bed carries silt, most where it is flat; it still falls all the way."""
    if not line.section.old:
        return line
    silt = rng.uniform(0.05, 0.2)
    rise = silt * np.clip(1 + 0.3 * ndimage.gaussian_filter1d(rng.normal(0, 5, len(line.bed_m)), 30), 0.3, 1.5)
    bed = np.minimum.accumulate(line.bed_m + rise)
    return Line(line.kind, line.at, bed, line.section, line.target, line.notes)


def paint(outlets: Grid, at: Grid, bed: Grid) -> None:
    """Enter a line's bed on the routing grid (the lowest where several stations fall in a cell)."""
    r, c = (np.clip((at[:, k] / STEP_M).astype(int), 0, outlets.shape[k] - 1) for k in (0, 1))
    np.minimum.at(outlets, (r, c), bed)


def wanted(rng: Generator, found: list[Hollow], share: float) -> list[Hollow]:
    """The hollows someone set out to drain: outer ones, and large inner ones of families too large for one ditch."""
    out = []
    for h in found:
        deep, area = h.spill_m - h.floor_m, h.cells / 1e4
        outer = h.parent < 0
        big_family = not outer and found[h.parent].cells / 1e4 > 4.0
        if deep >= 0.15 and 0.03 <= area <= 9.0 and (outer or big_family) and rng.random() < share:
            out.append(h)
    return sorted(out, key=lambda h: -h.cells)


def _way_off(z: Grid, last: tuple[float, float, float]) -> tuple[float, float, float]:
    """Where a collector best leaves the ground: the side that lies lowest, less what the way there costs."""
    n = z.shape[0]
    row, col, floor = last
    ends = [(-1.0, col), (float(n), col), (row, -1.0), (row, float(n))]
    far = [abs(r - row) + abs(c - col) for r, c in ends]
    level = sample(z, np.clip(ends, 0, n - 1)) + 0.001 * np.array(far)
    return (*ends[int(np.argmin(level))], floor)


def _meets(beds: Grid, at: Grid) -> bool:
    """Whether a line runs into what already carries water."""
    cells = np.clip((at[::4] / STEP_M).astype(int), 0, beds.shape[0] - 1)
    return bool(np.isfinite(beds[cells[:, 0], cells[:, 1]]).any())


def _collectors(rng: Generator, z: Grid, kind: Kind, found: list[Hollow], plan: Plan, beds: Grid) -> None:
    n = z.shape[0]
    pool = [h for h in found if h.parent < 0 and 0.1 <= h.cells / 1e4 <= 6 and h.spill_m - h.floor_m >= 0.25]
    for _ in range(round(kind.collectors * max(n * n / 1e6, 0.5))):
        if len(pool) < 2:
            return
        for _try in range(6):
            pick = [pool[i] for i in rng.choice(len(pool), min(int(rng.integers(2, 5)), len(pool)), replace=False)]
            pick.sort(key=lambda h: -h.floor_m)
            stops = [(float(h.floor_at[0]), float(h.floor_at[1]), h.floor_m) for h in pick]
            end = _way_off(z, stops[-1])
            limits = Limits(3.4, rng.uniform(0.0004, 0.0012), rng.uniform(0.35, 0.7), rng.uniform(8, 20))
            made = through(z, [*stops, end], limits)
            if made is None or _meets(beds, made[0]):
                continue
            line = _silted(rng, Line("collector", *made, section_of(rng, kind, True), pick[0].number))
            plan.lines.append(line)
            paint(beds, line.at, line.bed_m)
            pool = [h for h in pool if h not in pick]
            break


def _low_way(z: Grid, h: Hollow) -> Grid | None:
    """The natural way from the floor over the spill and on down, on a 3 m grid."""
    step = 3
    n = z.shape[0] // step * step
    g = z[:n, :n].reshape(n // step, step, n // step, step).mean((1, 3))
    _, parent = _flood_order(g)
    i = (h.floor_at[0] // step) * g.shape[1] + h.floor_at[1] // step
    way = []
    while i >= 0 and len(way) < 400:
        way.append((i // g.shape[1], i % g.shape[1]))
        i = int(parent[i])
    if len(way) < 12:
        return None
    path = np.array(way, float) * step + 1
    return np.asarray(ndimage.gaussian_filter1d(path, 2.0, axis=0, mode="nearest"))


def _laterals(rng: Generator, z: Grid, kind: Kind, targets: list[Hollow], plan: Plan, beds: Grid) -> None:
    for h in targets:
        cell = tuple(min(v // STEP_M, beds.shape[0] - 1) for v in h.floor_at)
        if beds[cell] < h.floor_m:
            continue
        start = (float(h.floor_at[0]), float(h.floor_at[1]))
        limits = Limits(3.2, rng.uniform(0.0004, 0.002), rng.uniform(0.25, 0.55), float(rng.choice([6.0, 12.0, 22.0])))
        section = section_of(rng, kind, False)
        made, sort = None, "lateral"
        if rng.random() < kind.crooked:
            way = _low_way(z, h)
            made = None if way is None else down_the_low(z, way, h.floor_m - 0.2, limits)
            sort = "outlet"
        if made is None:
            made, sort = to_outlet(z, start, h.floor_m, Outlets(beds), limits), "lateral"
        if made is None:
            continue
        line = _silted(rng, Line(sort, *made, section, h.number))
        plan.lines.append(line)
        paint(beds, line.at, line.bed_m)
        if kind.second and rng.random() < kind.second:
            _second(rng, z, kind, h, plan, beds)
        if rng.random() < 0.12 and len(line.at) > 160:
            k = int(rng.integers(60, len(line.at) - 60))
            plan.closed.append((float(line.at[k, 0]), float(line.at[k, 1])))


def _second(rng: Generator, z: Grid, kind: Kind, h: Hollow, plan: Plan, beds: Grid) -> None:
    """Another ditch out of the same hollow, by another side: from the floor, shy of what is dug already."""
    shy = z.copy()
    first = np.clip(np.rint(plan.lines[-1].at[::6]), 0, len(z) - 1).astype(int)
    away = np.ones(z.shape, bool)
    away[first[:, 0], first[:, 1]] = False
    pool = pool_of(z, h.floor_at, h.spill_m)
    shy[(ndimage.distance_transform_edt(away) < 45) & ~pool] += 4.0
    limits = Limits(3.2, rng.uniform(0.0004, 0.001), rng.uniform(0.25, 0.45), 12.0)
    start = (float(h.floor_at[0]), float(h.floor_at[1]))
    made = to_outlet(shy, start, h.floor_m, Outlets(np.full_like(beds, np.inf)), limits)
    if made is None:
        return
    line = Line("lateral", made[0], made[1], section_of(rng, kind, False), h.number)
    if float(np.max(sample(z, line.at) - line.bed_m)) < 3.4:
        plan.lines.append(line)
        paint(beds, line.at, line.bed_m)


def _road_line(rng: Generator, n: int) -> Grid:
    """Mostly along the sheet, sometimes slanted or bending."""
    at = rng.uniform(0.08, 0.92) * n
    t = np.linspace(-30, n + 30, 60)
    style = rng.random()
    bend = 0.0 if style < 0.5 else rng.uniform(-0.25, 0.25) * (t - n / 2)
    if style > 0.75:
        bend = bend + rng.uniform(20, 60) * np.sin(2 * np.pi * t / rng.uniform(500, 900) + rng.uniform(0, 6))
    line = np.stack([at + bend + 0 * t, t], 1)
    return dense(line if rng.random() < 0.5 else line[:, ::-1])


def _roads(rng: Generator, nat: Natural, kind: Kind, plan: Plan) -> None:
    n = nat.z.shape[0]
    for _ in range(kind.roads):
        at = _road_line(rng, n)
        ground = sample(nat.z, at)
        soft = np.maximum(ndimage.gaussian_filter1d(ground, 50, mode="nearest"), ground)
        crest = ndimage.gaussian_filter1d(soft, 12, mode="nearest") + rng.uniform(0.3, 1.5)
        half = rng.uniform(2.5, 4.5)
        free = np.empty((0, 2))
        if nat.stream is not None and rng.random() < 0.7:
            far, _ = cKDTree(nat.stream.at).query(at)
            free = at[far < 6]
        plan.roads.append(Road(at, crest, half, free))
        tangent = np.gradient(at, axis=0)
        across = np.stack([-tangent[:, 1], tangent[:, 0]], 1) / np.hypot(*tangent.T)[:, None]
        for side in (-1, 1):
            if rng.random() < 0.4:
                continue
            toe = half + 2 * np.clip(crest - ground, 0, None)
            beside = at + side * across * ndimage.gaussian_filter1d(toe + 1.6, 20)[:, None]
            k = np.sort(rng.integers(0, len(at), 2))
            if k[1] - k[0] < 200:
                continue
            beside = beside[k[0] : k[1]]
            bed = ndimage.gaussian_filter1d(sample(nat.z, beside), 16, mode="nearest") - rng.uniform(0.3, 0.6)
            plan.lines.append(Line("roadside", beside, bed, Section(0.5, rng.uniform(1.5, 2.5))))


def outlet_beds(nat: Natural, plan: Plan) -> Grid:
    """Bed levels of all that carries water, on the routing grid."""
    beds = np.full(coarse(nat.z).shape, np.inf)
    if nat.stream is not None:
        inside = ((nat.stream.at >= 0) & (nat.stream.at < nat.z.shape[0])).all(1)
        paint(beds, nat.stream.at[inside], nat.stream.bed_m[inside])
    for line in plan.lines:
        if line.kind != "roadside":
            paint(beds, line.at, line.bed_m)
    return beds


def make_plan(rng: Generator, nat: Natural, kind: Kind, found: list[Hollow] | None = None) -> Plan:
    """Lay out everything that is dug on a natural ground."""
    found = hollows(nat.z) if found is None else found
    plan = Plan()
    beds = outlet_beds(nat, plan)
    if kind.drained > 0:
        _collectors(rng, nat.z, kind, found, plan, beds)
        _laterals(rng, nat.z, kind, wanted(rng, found, kind.drained), plan, beds)
    _roads(rng, nat, kind, plan)
    depth = np.zeros(nat.z.shape, bool)
    for h in found:
        depth[h.floor_at] = True
    far = ndimage.distance_transform_edt(~depth)
    for _ in range(rng.poisson(kind.ponds * nat.z.size / 1e6)):
        r, c = rng.uniform(45, nat.z.shape[0] - 45, 2)
        if far[int(r), int(c)] > 60:
            plan.ponds.append((float(r), float(c)))
    return plan


def moved(plan: Plan, by_m: float) -> Plan:
    """The plan in the coordinates of a sheet whose corner lies `by_m` inside."""
    lines = [replace(line, at=line.at - by_m) for line in plan.lines]
    roads = [replace(road, at=road.at - by_m, open_at=road.open_at - by_m) for road in plan.roads]
    ponds, closed = ([(r - by_m, c - by_m) for r, c in some] for some in (plan.ponds, plan.closed))
    return Plan(lines, roads, ponds, closed)
