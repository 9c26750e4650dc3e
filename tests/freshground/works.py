"""What people built: collectors, field ditches, roads, lanes, ponds - in the order they came."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator
from otherground.dig import Line, Section, sample
from otherground.flood import EIGHT, Hollow, pool_of
from scipy import ndimage
from scipy.spatial import cKDTree

from .fields import Grid, Mask, wander
from .place import Place
from .routes import (
    LEAST_FALL,
    STEP,
    Map,
    Outlets,
    along_fences,
    at_stations,
    crooked,
    graded,
    joined,
    main_bed,
    meets,
    surveyed,
)  # fmt: skip


@dataclass(frozen=True)
class Habit:
    """How a district was drained.

    `mains`: collectors dug by the district; `share`: of the basins, drained; `ways`: how often a field ditch runs
    straight, along the lows, along fences; `old`: share of ditches long silted; `wide`: bed widths [m]; `second`: how
    often a basin got a second way out; `inner`: how often ditches within a basin; `flats`: whether
    shallow ditches lead from level fields to the collectors; `roads`, `ponds`: how many.
    """

    mains: int = 1
    share: tuple[float, ...] = (0.35, 0.6, 0.85, 1.0)
    ways: tuple[float, float, float] = (0.5, 0.3, 0.2)
    old: float = 0.25
    wide: tuple[float, float] = (0.5, 1.6)
    second: float = 0.1
    inner: float = 0.35
    flats: bool = False
    roads: int = 1
    ponds: int = 1


@dataclass(frozen=True)
class Bank:
    """Fill of a road or lane: stations, crest [m], half width of its top [m], how many metres out a metre down."""

    at: Grid
    crest_m: Grid
    half_m: float
    side: float


@dataclass
class Works:
    """All that was built on a place; positions are (row, col) on its 1 m cells."""

    lines: list[Line] = field(default_factory=list)
    banks: list[Bank] = field(default_factory=list)
    ponds: list[tuple[float, float]] = field(default_factory=list)
    outlets: Outlets = field(default_factory=Outlets)

    def dig(self, line: Line) -> None:
        """Add a ditch, and let others drain to it."""
        self.outlets.add(line.at, line.bed_m, len(self.lines))
        self.lines.append(line)


def section_of(rng: Generator, habit: Habit, large: bool) -> Section:
    """A cross-section: dug by shovel or excavator, cut by a blade, or old; spoil on none, one or both sides."""
    low, high = habit.wide
    bed = float(rng.uniform(max(low, 0.9), 2.5) if large else rng.uniform(low, high))
    spoil = rng.choice([0, 1, 2, 3], p=[0.35, 0.3, 0.2, 0.15])  # none, one side, both, levelled later
    left, right = (float(rng.uniform(0.1, 0.35)) for _ in range(2))
    heap = {0: (0.0, 0.0), 1: (left, 0.0) if rng.random() < 0.5 else (0.0, right), 2: (left, right)}
    heap[3] = (0.04, 0.05)
    if rng.random() < habit.old:
        return Section(
            max(bed, 0.8), float(rng.uniform(3, 6)), (0.6 * heap[int(spoil)][0], 0.6 * heap[int(spoil)][1]), True
        )
    if not large and rng.random() < 0.18:  # a V left by a blade
        return Section(0.5, float(rng.uniform(1.7, 2.5)), heap[int(spoil)])
    return Section(bed, float(rng.uniform(1.3, 2.0)), heap[int(spoil)])


def _kept_up(section: Section, deep: Grid) -> Section:
    """The section, but a deep cut is no silted strip: at 6 to 1 it would be wider than the field lets it be."""
    if section.old and deep.max() > 1.6:
        return Section(section.bed_width_m, 2.0, section.spoil_m)
    return section


def silted(rng: Generator, line: Line) -> Line:
    """The same ditch with silt in the bed of an old one; it still falls all the way."""
    if not line.section.old:
        return line
    silt = 0.12 + 0.06 * wander(rng, len(line.at), 80)
    bed = np.minimum.accumulate(line.bed_m + np.clip(silt, 0.02, 0.25))
    return Line(line.kind, line.at, bed, line.section, line.target)


def lay_mains(rng: Generator, place: Place, habit: Habit, works: Works, hollows: list[Hollow]) -> None:
    """District collectors right across the place, on section lines or down the lows, through basins on the way."""
    tries = 0
    made = 0
    while made < habit.mains and tries < 12 * habit.mains:
        tries += 1
        line = _straight_main(rng, place, habit, hollows) if rng.random() < 0.6 else _low_main(rng, place, habit)
        if line is None or _runs_beside(line.at, works.outlets):
            continue
        stop = meets(line.at, works.outlets, 0)
        if stop is not None:
            end, other = stop
            if end < 400 or works.outlets.bed_m[other] > line.bed_m[end] + 0.3:
                continue
            at = joined(line.at[:end], works.outlets.at[other])
            bed = np.maximum(
                np.append(line.bed_m[:end], [line.bed_m[end]] * (len(at) - end)), works.outlets.bed_m[other]
            )
            line = Line("main", at, bed, line.section, int(works.outlets.of[other]))
        works.dig(silted(rng, line))
        made += 1


def drain_flats(rng: Generator, place: Place, habit: Habit, works: Works) -> None:
    """Shallow ditches square to the collectors, from level fields with or without hollows in them."""
    for line in [x for x in works.lines if x.kind == "main"]:
        k = int(rng.uniform(100, 500))
        while k < len(line.at) - 60:
            ahead = line.at[k + 20] - line.at[k - 20]
            out = np.array([ahead[1], -ahead[0]]) / max(np.hypot(*ahead), 1e-9) * float(rng.choice([-1, 1]))
            start = line.at[k] + out * float(rng.uniform(100, 330))
            k += int(rng.uniform(240, 700))
            if not ((start > 5) & (start < len(place.z) - 5)).all():
                continue
            head = float(sample(place.z, start[None])[0]) - float(rng.uniform(0.3, 0.55))
            own = Habit(wide=(0.4, 0.9), old=habit.old)
            made = _led(place, works.outlets, np.stack([start, start - 360 * out]), head, section_of(rng, own, False))
            if made is not None:
                works.dig(silted(rng, Line("field ditch", made.at, made.bed_m, made.section, made.target)))


def _runs_beside(at: Grid, outlets: Outlets) -> bool:
    return len(outlets.at) > 0 and float(np.mean([np.hypot(*(outlets.at - p).T).min() < 60 for p in at[::40]])) > 0.3


def _deep_enough(rng: Generator, place: Place, habit: Habit, points: Grid) -> Line | None:
    at, ground = at_stations(place.z, points)
    if len(at) < 500:
        return None
    for deep in (float(rng.uniform(1.0, 1.9)), 0.9, 0.6):
        bed = main_bed(rng, ground, deep)
        if (ground - bed).max() <= place.deepest_m + 0.3:
            return Line("main", at, bed, _kept_up(section_of(rng, habit, True), ground - bed))
    return None


def _straight_main(rng: Generator, place: Place, habit: Habit, hollows: list[Hollow]) -> Line | None:
    n = len(place.z)
    axes = [place.grid + k * np.pi / 2 for k in range(4)]
    axis = max(axes, key=lambda a: np.cos(a - place.fall))
    ahead, aside = np.array([np.sin(axis), np.cos(axis)]), np.array([np.cos(axis), -np.sin(axis)])
    floors = np.array([h.floor_at for h in hollows if h.spill_m - h.floor_m > 0.25], float).reshape(-1, 2)
    offs = ((floors - n / 2) @ aside) if len(floors) else np.zeros(1)
    trials = rng.uniform(-0.4, 0.4, 9) * n
    off = max(trials, key=lambda t: int((np.abs(offs - t) < 22).sum()) + rng.uniform(0, 0.9))
    start = -0.75 * n if rng.random() < 0.6 else float(rng.uniform(-0.4, -0.1)) * n
    ends = n / 2 + off * aside + np.outer([start, 0.75 * n], ahead)
    return _deep_enough(rng, place, habit, within(ends, n))


def within(ends: Grid, n: int) -> Grid:
    t = np.linspace(0, 1, 4000)[:, None]
    at = ends[0] + t * (ends[1] - ends[0])
    ok = np.flatnonzero(((at > -4) & (at < n + 3)).all(1))
    return np.asarray(at[[ok[0], ok[-1]]]) if len(ok) else ends


def _low_main(rng: Generator, place: Place, habit: Habit) -> Line | None:
    chart, n = Map.of(place.z), len(place.z)
    ahead, aside = (np.array([np.sin(a), np.cos(a)]) for a in (place.fall, place.fall + np.pi / 2))
    start = n / 2 + float(rng.uniform(-0.35, 0.35)) * n * aside - float(rng.uniform(0.15, 0.5)) * n * ahead
    start = np.clip(start, 3, n - 4)
    rr, cc = np.mgrid[0 : len(chart.z), 0 : len(chart.z)] * float(STEP)
    trend = chart.z - ndimage.gaussian_filter(chart.z, 60, mode="nearest")
    cost = 1 + 6 * np.clip(trend + 0.4, 0, None) ** 2
    down = (rr - n / 2) * ahead[0] + (cc - n / 2) * ahead[1]
    rim = np.ones(chart.z.shape, bool)
    rim[1:-1, 1:-1] = False
    ends = [(int(r), int(c)) for r, c in np.argwhere(rim & (down > 0.35 * n))]
    way = chart.way(cost, start, ends)
    if way is None or len(way) < 60:
        return None
    end = way[-1] + 8 * ahead
    return _deep_enough(rng, place, habit, surveyed(np.vstack([way, end]), float(rng.uniform(8, 45))))


def drain_basins(rng: Generator, place: Place, habit: Habit, works: Works, hollows: list[Hollow]) -> None:
    """Give a share of the basins a ditch, the larger ones first."""
    share = float(rng.choice(habit.share))
    chart = Map.of(place.z)
    basins: dict[tuple[int, int], Hollow] = {}
    for h in hollows:  # one a floor: the outermost level that a field ditch would be dug for
        if 250 <= h.cells <= 90000 and h.spill_m - h.floor_m >= 0.18:
            basins[h.floor_at] = h
    for h in sorted(basins.values(), key=lambda h: -h.cells * rng.uniform(0.3, 1)):
        if rng.random() > share * (1.0 if h.cells > 900 else 0.7):
            continue
        pool = pool_of(place.z, h.floor_at, h.spill_m)
        if _has_ditch(works, pool, h):
            continue
        line = field_ditch(rng, place, habit, works, (chart, h, None))
        if line is None:
            continue
        works.dig(silted(rng, _begun_further_in(rng, place, line, pool)))
        if rng.random() < habit.second and h.cells > 900:
            more = field_ditch(rng, place, habit, works, (chart, h, line))
            if more is not None:
                works.dig(silted(rng, more))
        if rng.random() < habit.inner and h.cells > 4000:
            _inner_ditches(rng, place, works, pool, line)


def _has_ditch(works: Works, pool: Mask, h: Hollow) -> bool:
    rc = np.clip(np.rint(works.outlets.at).astype(int), 0, len(pool) - 1)
    return bool(len(rc)) and bool((pool[rc[:, 0], rc[:, 1]] & (works.outlets.bed_m < h.floor_m + 0.05)).any())


def _ways(rng: Generator, habit: Habit, way: Grid, grid: float) -> Iterator[tuple[str, Grid]]:
    """Ways worth staking out, the digger's own habit first."""
    first = str(rng.choice(["straight", "crooked", "fences"], p=habit.ways))
    if first == "straight":
        yield "ditch", surveyed(way, 200.0)
        yield "ditch", surveyed(way, 35.0)
    if first == "fences":
        for turn in rng.permutation(2):
            yield "fence ditch", along_fences(way[0], way[-1], grid, int(turn))
    if first != "crooked":
        yield "ditch", surveyed(way, float(rng.uniform(8, 16)))
    yield "deepened outlet", crooked(rng, way)


def field_ditch(
    rng: Generator, place: Place, habit: Habit, works: Works, of: tuple[Map, Hollow, Line | None]
) -> Line | None:
    """A ditch from the floor of a hollow to whatever takes its water; with a line given, a second one apart from it."""
    chart, h, first = of
    start, outlets = np.array(h.floor_at, float), works.outlets
    head = h.floor_m - float(rng.uniform(0.15, 0.45))
    if first is not None:
        start, outlets = _apart(place, h, first), _without(works, first)
    span = np.hypot(*(outlets.at - start).T)
    good = (outlets.bed_m <= head - LEAST_FALL * span - 0.02) & (span > 25) & (span < 750)
    good &= ((outlets.at > 2) & (outlets.at < len(place.z) - 3)).all(1)
    cut = np.clip(chart.z - head - 0.4, 0, None)
    cost = 1 + 1.2 * cut**2 + 40 * np.clip(cut - place.deepest_m, 0, None)
    if first is not None:
        cost = cost * np.where(_near(chart, first) < 45, 9, 1)
        good[good] = cKDTree(first.at).query(outlets.at[good])[0] > 70
    if not good.any():
        return None
    way = chart.way(cost, start, list({chart.cell(p) for p in outlets.at[good][::4]}))
    if way is None or len(way) < 5:
        return None
    way = np.vstack([start, way[1:]])
    for kind, points in _ways(rng, habit, way, place.grid):
        line = _led(place, outlets, points, head, section_of(rng, habit, False))
        if line is not None and (first is None or cKDTree(first.at).query(line.at)[0].min() > 8):
            return Line(kind, line.at, line.bed_m, line.section, line.target)
    return None


def _apart(place: Place, h: Hollow, first: Line) -> Grid:
    """A low place of a hollow away from the ditch it has."""
    low = np.argwhere(pool_of(place.z, h.floor_at, h.floor_m + 0.35 * (h.spill_m - h.floor_m)))
    return np.asarray(low[np.argmax(cKDTree(first.at).query(low)[0])], float)


def _without(works: Works, line: Line) -> Outlets:
    keep = works.outlets.of != next(k for k, x in enumerate(works.lines) if _same(x, line))
    return Outlets(works.outlets.at[keep], works.outlets.bed_m[keep], works.outlets.of[keep])


def _same(a: Line, b: Line) -> bool:
    return bool((a.at[-1] == b.at[-1]).all())


def _near(chart: Map, line: Line) -> Grid:
    """Distance of coarse cells to a ditch [m]."""
    clear = np.ones(chart.z.shape, bool)
    clear[tuple(np.clip(np.rint(line.at[::4] / STEP).astype(int), 0, len(clear) - 1).T)] = False
    return np.asarray(ndimage.distance_transform_edt(clear) * STEP)


def _led(place: Place, outlets: Outlets, points: Grid, head: float, section: Section) -> Line | None:
    """A ditch along a way as far as the first thing that takes its water, or none where it cannot be dug."""
    at, _ = at_stations(place.z, points)
    far = np.hypot(*(outlets.at - at[-1]).T)
    at = at if far.min() < 4 else np.vstack([at, at_stations(place.z, np.array([at[-1], outlets.at[far.argmin()]]))[0]])
    stop = meets(at, outlets)
    if stop is None:
        return None
    end, other = stop
    at = joined(at[:end], outlets.at[other])
    ground, out = sample(place.z, at), float(outlets.bed_m[other])
    high = head - LEAST_FALL * 0.5 * len(at)
    inside = ((at > 0) & (at < len(place.z) - 1)).all()
    if len(at) < 50 or high < out or not inside:
        return None
    bed = graded(ground, head, min(high, out + 0.15))
    deep = ground - bed
    if deep.max() > place.deepest_m or (deep.min() < 0.05 and (deep < 0.05).mean() > 0.1):
        return None
    return Line("ditch", at, bed, _kept_up(section, deep), int(outlets.of[other]))


def _begun_further_in(rng: Generator, place: Place, line: Line, pool: Mask) -> Line:
    """Often the ditch begins at the far side of the basin and runs longer within it than outside."""
    if rng.random() > 0.45 or len(line.at) < 80:
        return line
    back = line.at[0] - line.at[40]
    turn = float(rng.normal(0, 0.3))
    back = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ back / max(np.hypot(*back), 1e-9)
    steps = np.arange(300)[:, None] * 0.5 * back + line.at[0]
    rc = np.rint(steps).astype(int)
    ok = (rc >= 0).all(1) & (rc < len(pool)).all(1)
    k = int(np.argmin(np.append(ok & pool[tuple(np.clip(rc, 0, len(pool) - 1).T)], False)))
    k = int(k * rng.uniform(0.5, 0.95))
    if k < 20:
        return line
    more = steps[1:k][::-1]
    rise = np.minimum(LEAST_FALL * 2, 0.1 / k) * np.arange(len(more), 0, -1) * 0.5
    bed = np.minimum(line.bed_m[0] + rise, sample(place.z, more) - 0.1)
    bed = np.maximum(np.minimum.accumulate(bed), line.bed_m[0])
    return Line(line.kind, np.vstack([more, line.at]), np.concatenate([bed, line.bed_m]), line.section, line.target)


def _inner_ditches(rng: Generator, place: Place, works: Works, pool: Mask, line: Line) -> None:
    """Short ditches from both sides of a basin into the one that leaves it."""
    rc = np.clip(np.rint(line.at).astype(int), 0, len(pool) - 1)
    inside = np.flatnonzero(pool[rc[:, 0], rc[:, 1]])
    k = 40
    while k < len(inside) - 20:
        s = int(inside[k])
        ahead = line.at[min(s + 10, len(line.at) - 1)] - line.at[max(s - 10, 0)]
        side = np.array([ahead[1], -ahead[0]]) / np.hypot(*ahead) * float(rng.choice([-1, 1]))
        points = np.stack([line.at[s] + float(rng.uniform(25, 80)) * side, line.at[s]])
        at, ground = at_stations(place.z, points)
        spot = np.clip(np.rint(at[0]).astype(int), 0, len(pool) - 1)
        bed = graded(ground, ground[0] - 0.25, float(line.bed_m[s]) + 0.05)
        free = meets(at[:-20], works.outlets, 0.0) is None
        if pool[tuple(spot)] and free and ground[0] - 0.25 > line.bed_m[s] + 0.05:
            works.dig(Line("inner ditch", at, bed, Section(0.5, float(rng.uniform(1.3, 2.2))), len(works.lines)))
        k += int(rng.uniform(60, 160))


def useless_ditches(rng: Generator, place: Place, habit: Habit, works: Works, wet: Mask) -> None:
    """Where nothing is to be drained: ditches from field edges down to the stream that keep off every hollow."""
    chart, n = Map.of(place.z), len(place.z)
    off = ndimage.distance_transform_edt(~wet)
    cost = 1 + 80 * (Map.of(np.asarray(off < 22, float)).z > 0)
    for _ in range(24):
        start = rng.uniform(0.12, 0.88, 2) * n
        if off[int(start[0]), int(start[1])] < 26 or not len(works.outlets.at) or len(works.lines) >= 5:
            continue
        head = float(sample(place.z, start[None])[0]) - float(rng.uniform(0.4, 0.8))
        span = np.hypot(*(works.outlets.at - start).T)
        good = (works.outlets.bed_m < head - 0.001 * span) & (span < 500) & (span > 60)
        good &= ((works.outlets.at > 2) & (works.outlets.at < n - 3)).all(1)
        if not good.any():
            continue
        way = chart.way(np.asarray(cost, float), start, list({chart.cell(p) for p in works.outlets.at[good][::4]}))
        if way is None or len(way) < 12:
            continue
        line = _led(place, works.outlets, surveyed(way, 12.0), head, section_of(rng, habit, False))
        rc = None if line is None else np.clip(np.rint(line.at).astype(int), 0, n - 1)
        if line is not None and rc is not None and off[rc[:, 0], rc[:, 1]].min() > 12:
            works.dig(silted(rng, line))


def wet_map(z: Grid, level: Grid, by_m: float = 0.04) -> Mask:
    """Cells where water would stand more than a little deep."""
    return np.asarray(ndimage.binary_opening(level - z > by_m, structure=EIGHT))
