"""Where water seems to pass beneath fill: proposals for culverts. The basin tree decides later which of them matter."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from wetscout.kernels import lines as kernel
from wetscout.kernels.along import middle
from wetscout.linework.bends import bend_ends, into_trenches, off_the_edge
from wetscout.linework.shape import sections_of
from wetscout.linework.under_roads import OpenEnd, Roads, across_roads
from wetscout.records import Crossing, Ditch, Embankment
from wetscout.settings.linework import LineworkSettings

# bed for humps: lowest ground within 2 m across, median over 3 m along
HUMP_HALF_M = 2.0
HUMP_RUN_M = 3.0
# a hump ends where less than this share of it is left
HUMP_FOOT = 0.35
# heading of an end
HEADING_M = 15.0
# a line is often drawn on along the foot of the fill: headings farther back count too where they differ
SET_BACK_M = (0.0, 8.0, 16.0, 24.0)
SAME_HEADING_COSINE = 0.87
# an embankment is crossed where its crest lies this near to the way ahead
CREST_M = 3.0
# bed of an end is the median over this length
END_BED_M = 8.0
# a longer way beneath fill leads across a road: of 79 longer ones that do not 57 were none, others beside better
FREE_M = 25.0
# two proposals with both ends this near are one
SAME_M = 6.0


def fine_bed(z: NDArray[np.float32], ditch: Ditch, cell_m: float) -> NDArray[np.float64]:
    """Bed along a ditch without the long median that would level a crossing.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    ditch : Ditch
    cell_m : float
        [m].

    Returns
    -------
    float64 (n,)
        [m], NaN where no ground.
    """
    points = np.column_stack((ditch.row, ditch.col))
    step = max(0.5, 0.5 * cell_m)
    n = max(1, round(HUMP_HALF_M / step))
    offsets = np.arange(-n, n + 1, dtype=np.float64) * step / cell_m
    ground = sections_of(z, points, offsets, max(1, round(6.0 / cell_m)))
    low = np.where(np.isfinite(ground), ground, np.inf).min(axis=1)
    low[~np.isfinite(low)] = np.nan
    bed: NDArray[np.float64] = kernel.running_median(low, max(1, round(0.5 * HUMP_RUN_M / cell_m)))
    return bed


def humps(bed: NDArray[np.float64], cell_m: float, window_m: float) -> NDArray[np.float64]:
    """How far the bed stands above its opening along the line (Soille 2003, section 4.1).

    Parameters
    ----------
    bed : float64 (n,)
        [m].
    cell_m : float
        Station distance [m].
    window_m : float
        Longest hump that is seen whole [m].

    Returns
    -------
    float64 (n,)
        [m], at least 0. A rise towards an end counts as a hump too.
    """
    size = min(2 * max(1, round(0.5 * window_m / cell_m)) + 1, 2 * bed.size - 1)
    low = ndimage.minimum_filter1d(bed, size, mode="constant", cval=np.inf)
    opened = ndimage.maximum_filter1d(low, size, mode="constant", cval=-np.inf)
    rise: NDArray[np.float64] = bed - opened
    return rise


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and one past the last index of each run of True.

    Parameters
    ----------
    mask : bool (n,)

    Returns
    -------
    list of (int, int)
        In order.
    """
    edge = np.diff(np.concatenate(([0], mask.astype(np.int8), [0])))
    return list(zip(np.flatnonzero(edge == 1).tolist(), np.flatnonzero(edge == -1).tolist(), strict=True))


def crossings(
    z: NDArray[np.float32],
    ditches: Sequence[Ditch],
    banks: Sequence[Embankment],
    cell_m: float,
    settings: LineworkSettings,
) -> tuple[Crossing, ...]:
    """All proposals, in order of their upstream end.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    ditches : sequence of Ditch
    banks : sequence of Embankment
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    tuple of Crossing
        Inside lines, end to end, end to side, and from an end under a road to low ground; the same place once.
    """
    found: list[Crossing] = []
    open_ends: list[OpenEnd] = []
    bends: list[OpenEnd] = []
    roads = Roads(banks, cell_m)
    for i, ditch in enumerate(ditches):
        bed = fine_bed(z, ditch, cell_m)
        if not np.isfinite(bed).any() or bed.size < 4:
            continue
        known = np.isfinite(bed)
        bed = np.interp(np.arange(bed.size), np.flatnonzero(known), bed[known])
        rise = humps(bed, cell_m, settings.hump_window_m)
        found += _inside(ditch, bed, rise, cell_m, settings)
        open_ends += _open_ends(i, ditch, bed, rise, cell_m, settings)
        bends += bend_ends(i, ditch, bed, roads)
    by_heading = _end_to_end(z, open_ends + bends, cell_m, settings)
    by_heading += _end_to_side(z, open_ends, ditches, cell_m, settings)
    found += [x for x in by_heading if _is_short(x, cell_m) or roads.across(*np.column_stack((x.row, x.col)))]
    found += _end_to_ground(z, open_ends, banks, cell_m, settings)
    fill = partial(_fill_between, z)
    found += across_roads(open_ends, ditches, roads, found, fill, settings)
    found += into_trenches(z, bends + [e for e in open_ends if roads.at_foot(e.at)], roads, settings)
    found += off_the_edge(found, z.shape, cell_m, settings)
    return _once(found, cell_m)


def _crossing(a: NDArray[np.float64], za: float, b: NDArray[np.float64], zb: float) -> Crossing:
    """Crossing with the higher bed first."""
    if za < zb:
        a, za, b, zb = b, zb, a, za
    return Crossing(row=np.array([a[0], b[0]]), col=np.array([a[1], b[1]]), level_m=np.array([za, zb]), given=False)


def _inside(
    ditch: Ditch, bed: NDArray[np.float64], rise: NDArray[np.float64], cell_m: float, settings: LineworkSettings
) -> list[Crossing]:
    """Humps of the bed inside one line."""
    out = []
    for first, last in runs(rise > HUMP_FOOT * settings.hump_m):
        a, b = first - 1, last
        if a < 0 or b >= bed.size or rise[first:last].max() < settings.hump_m:
            continue
        if (b - a) * cell_m > settings.bridge_m:
            continue
        pa = np.array([ditch.row[a], ditch.col[a]])
        pb = np.array([ditch.row[b], ditch.col[b]])
        out.append(_crossing(pa, float(bed[a]), pb, float(bed[b])))
    return out


def _open_ends(
    i: int,
    ditch: Ditch,
    bed: NDArray[np.float64],
    rise: NDArray[np.float64],
    cell_m: float,
    settings: LineworkSettings,
) -> list[OpenEnd]:
    """Both ends of a line, drawn back off a hump that reaches the end."""
    points = np.column_stack((ditch.row, ditch.col))
    out = []
    n = bed.size
    for turned in (False, True):
        p = points[::-1] if turned else points
        b = bed[::-1] if turned else bed
        r = rise[::-1] if turned else rise
        first = 0
        most = min(n - 3, int(settings.aim_m / cell_m))
        while first < most and r[first] > HUMP_FOOT * settings.hump_m:
            first += 1
        if first >= most:
            first = 0
        headings: list[NDArray[np.float64]] = []
        for back in SET_BACK_M:
            k = first + round(back / cell_m)
            reach = k + max(2, round(HEADING_M / cell_m))
            # the end itself also of a line shorter than the run its heading is taken from
            if back > 0.0 and reach > n - 1:
                break
            way = p[k] - p[min(n - 1, reach)]
            size = float(np.hypot(*way))
            if size == 0.0 or any(float(h @ way) > SAME_HEADING_COSINE * size for h in headings):
                continue
            headings.append(way / size)
            level = float(middle(b[k : k + max(2, round(END_BED_M / cell_m))]))
            out.append(OpenEnd(i, p[k], way / size, level, ditch.sure))
    return out


def _fill_between(z: NDArray[np.float32], a: NDArray[np.float64], b: NDArray[np.float64], level: float) -> float:
    """How far the highest ground on the straight way stands above a level [m]; NaN over no-data."""
    n = max(3, int(np.ceil(np.hypot(*(b - a)))) + 1)
    t = np.linspace(0.0, 1.0, n)
    row = np.clip(np.rint(a[0] + t * (b[0] - a[0])).astype(int), 0, z.shape[0] - 1)
    col = np.clip(np.rint(a[1] + t * (b[1] - a[1])).astype(int), 0, z.shape[1] - 1)
    return float(z[row, col].max() - level)


def _end_to_end(
    z: NDArray[np.float32], ends: list[OpenEnd], cell_m: float, settings: LineworkSettings
) -> list[Crossing]:
    """Ends that face each other, the best aligned partner of each."""
    if len(ends) < 2:
        return []
    at = np.array([e.at for e in ends])
    cosine = float(np.cos(np.radians(settings.cone_deg)))
    best: dict[int, tuple[int, int]] = {}
    for a, b in cKDTree(at).query_pairs(settings.bridge_m / cell_m, output_type="ndarray").tolist():
        first, second = ends[a], ends[b]
        if first.line == second.line or abs(first.bed - second.bed) > settings.far_rise_m:
            continue
        way = second.at - first.at
        size = float(np.hypot(*way))
        if size < 1.5:
            continue
        ahead = min(float(first.out @ way), -float(second.out @ way)) / size
        if ahead < cosine:
            continue
        # aligned first: nearest first led to the ditch along the road instead of the one across it
        cost = int(1000 * (1.0 - ahead)) + int(10 * size * cell_m / settings.bridge_m)
        for x, y in ((a, b), (b, a)):
            if x not in best or (cost, y) < best[x]:
                best[x] = (cost, y)
    out = []
    for a, (_cost, b) in sorted(best.items()):
        # one pair once, also where only one of the two prefers the other
        if best[b][1] == a and b < a:
            continue
        fill = _fill_between(z, ends[a].at, ends[b].at, max(ends[a].bed, ends[b].bed))
        needed = 0.0 if ends[a].sure or ends[b].sure else settings.aim_rise_m
        if fill >= needed:
            out.append(_crossing(ends[a].at, ends[a].bed, ends[b].at, ends[b].bed))
    return out


def _end_to_side(
    z: NDArray[np.float32],
    ends: list[OpenEnd],
    ditches: Sequence[Ditch],
    cell_m: float,
    settings: LineworkSettings,
) -> list[Crossing]:
    """Ends aimed at the body of another line with fill between."""
    if not ends or len(ditches) < 2:
        return []
    points = np.concatenate([np.column_stack((d.row, d.col)) for d in ditches])
    owner = np.repeat(np.arange(len(ditches)), [d.row.size for d in ditches])
    bed = np.concatenate([d.bed_m for d in ditches])
    tree = cKDTree(points)
    cosine = float(np.cos(np.radians(settings.cone_deg)))
    out = []
    for e in ends:
        near = np.sort(np.array(tree.query_ball_point(e.at, settings.aim_m / cell_m), dtype=np.int64))
        near = near[owner[near] != e.line]
        way = points[near] - e.at
        size = np.hypot(*way.T)
        good = (size > 1.0) & (way @ e.out >= cosine * size) & (bed[near] <= e.bed + settings.far_rise_m)
        if not good.any():
            continue
        near, size, way = near[good], size[good], way[good]
        cost = size * (2.0 - way @ e.out / size)
        k = int(near[np.argmin(cost)])
        if _fill_between(z, e.at, points[k], max(e.bed, float(bed[k]))) >= settings.aim_rise_m:
            out.append(_crossing(e.at, e.bed, points[k], float(bed[k])))
    return out


def _end_to_ground(
    z: NDArray[np.float32],
    ends: list[OpenEnd],
    banks: Sequence[Embankment],
    cell_m: float,
    settings: LineworkSettings,
) -> list[Crossing]:
    """Ends aimed at a road with ground about as low as the bed behind it, where no line was found."""
    # roads only: a pipe through a natural rim would make a drained basin of every whole one beside a ditch
    roads = [np.column_stack((b.row, b.col)) for b in banks if b.kind == "road"]
    if not ends or not roads:
        return []
    crest = cKDTree(np.concatenate(roads))
    out = []
    steps = np.arange(1.0, settings.bridge_m / cell_m + 1.0)
    for e in ends:
        way = e.at + steps[:, None] * e.out
        on = ((way > 0) & (way < np.array(z.shape) - 1)).all(axis=1)
        way = way[: int(np.argmin(on))] if not on.all() else way
        if way.shape[0] < 3:
            continue
        over = crest.query(way, distance_upper_bound=CREST_M / cell_m + 1e-6)[0] * cell_m
        top = int(np.argmin(over))
        ground = z[np.rint(way[:, 0]).astype(int), np.rint(way[:, 1]).astype(int)].astype(np.float64)
        if over[top] > CREST_M or top + 1 >= way.shape[0] or not np.isfinite(ground).all():
            continue
        k = top + 1 + int(np.argmin(ground[top + 1 :]))
        if ground[: top + 1].max() - e.bed >= settings.hump_m and ground[k] <= e.bed + settings.far_rise_m:
            out.append(_crossing(e.at, e.bed, way[k], float(ground[k])))
    return out


def _is_short(x: Crossing, cell_m: float) -> bool:
    return bool(np.hypot(np.ptp(x.row), np.ptp(x.col)) * cell_m <= FREE_M)


def _once(found: list[Crossing], cell_m: float) -> tuple[Crossing, ...]:
    """Proposals without repeats, in order of their upstream end."""
    found = sorted(
        found, key=lambda x: tuple(np.round(np.concatenate((x.row[:1], x.col[:1], x.row[1:], x.col[1:])), 3))
    )
    kept: list[Crossing] = []
    reach = SAME_M / cell_m
    centres = np.array([(x.row.mean(), x.col.mean()) for x in found]).reshape(-1, 2)
    taken = np.zeros(len(found), dtype=np.bool_)
    tree = cKDTree(centres) if found else None
    for i, x in enumerate(found):
        if taken[i] or tree is None:
            continue
        kept.append(x)
        for j in tree.query_ball_point(centres[i], reach):
            y = found[j]
            straight = np.hypot(x.row - y.row, x.col - y.col).max()
            turned = np.hypot(x.row - y.row[::-1], x.col - y.col[::-1]).max()
            if j > i and min(straight, turned) <= reach:
                taken[j] = True
    return tuple(kept)
