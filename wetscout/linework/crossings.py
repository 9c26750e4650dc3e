"""Where water seems to pass beneath fill: proposals for culverts. The basin tree decides later which of them matter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wetscout.kernels import passing
from wetscout.kernels.profile import filled
from wetscout.linework.bends import bend_ends, into_trenches, off_the_edge
from wetscout.linework.join import within
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
    step = max(0.5, 0.5 * cell_m)
    n = max(1, round(HUMP_HALF_M / step))
    offsets = np.arange(-n, n + 1, dtype=np.float64) * step / cell_m
    run, half = max(1, round(6.0 / cell_m)), max(1, round(0.5 * HUMP_RUN_M / cell_m))
    bed: NDArray[np.float64] = passing.fine_bed(z, _points(ditch), offsets, run, half)
    return bed


def _points(ditch: Ditch) -> NDArray[np.float64]:
    return np.column_stack((ditch.row, ditch.col))


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
    rise: NDArray[np.float64] = passing.humps(bed, min(max(1, round(0.5 * window_m / cell_m)), bed.size - 1))
    return rise


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
        bed = filled(bed)
        rise = humps(bed, cell_m, settings.hump_window_m)
        found += _inside(ditch, bed, rise, cell_m, settings)
        open_ends += _open_ends(i, ditch, bed, rise, cell_m, settings)
        bends += bend_ends(i, ditch, bed, roads)
    aimed = open_ends + [e for e in bends if e.blind]
    by_heading = _end_to_end(z, open_ends + bends, cell_m, settings)
    by_heading += _end_to_side(z, aimed, ditches, cell_m, settings)
    found += [x for x in by_heading if _is_short(x, cell_m) or roads.across(*np.column_stack((x.row, x.col)))]
    found += _end_to_ground(z, aimed, banks, cell_m, settings)
    fill = partial(_fill_between, z)
    found += across_roads(open_ends, ditches, roads, found, fill, settings)
    found += into_trenches(z, bends + roads.at_foot_of(open_ends), roads, settings)
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
    foot_m = HUMP_FOOT * settings.hump_m
    for a, b in passing.inside(rise, foot_m, settings.hump_m, cell_m, settings.bridge_m).tolist():
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
    points = _points(ditch)
    backs = np.array([round(back / cell_m) for back in SET_BACK_M])
    reach, of_bed = (max(2, round(length / cell_m)) for length in (HEADING_M, END_BED_M))
    most = int(settings.aim_m / cell_m)
    foot_m = HUMP_FOOT * settings.hump_m
    at, out = passing.open_ends(points, bed, rise, foot_m, most, backs, reach, of_bed, SAME_HEADING_COSINE)
    levels = out[:, 2].tolist()
    return [OpenEnd(i, points[k], out[q, :2], levels[q], ditch.sure) for q, k in enumerate(at.tolist())]


@dataclass(frozen=True)
class _Ends:
    """Many open ends as columns: places and unit vectors outwards (m, 2), beds [m] and lines (m,)."""

    at: NDArray[np.float64]
    out: NDArray[np.float64]
    bed: NDArray[np.float64]
    line: NDArray[np.int64]

    @staticmethod
    def of(ends: Sequence[OpenEnd]) -> _Ends:
        return _Ends(
            np.array([e.at for e in ends]),
            np.array([e.out for e in ends]),
            np.array([e.bed for e in ends]),
            np.array([e.line for e in ends], dtype=np.int64),
        )


def _fill_between(z: NDArray[np.float32], a: NDArray[np.float64], b: NDArray[np.float64], level: float) -> float:
    """How far the highest ground on the straight way stands above a level [m]; NaN over no-data."""
    return float(passing.fill_between(z, a, b, level))


def _end_to_end(
    z: NDArray[np.float32], ends: list[OpenEnd], cell_m: float, settings: LineworkSettings
) -> list[Crossing]:
    """Ends that face each other, the best aligned partner of each."""
    if len(ends) < 2:
        return []
    e = _Ends.of(ends)
    cosine = float(np.cos(np.radians(settings.cone_deg)))
    best: dict[int, tuple[int, int]] = {}
    pairs = cKDTree(e.at).query_pairs(settings.bridge_m / cell_m, output_type="ndarray")
    # aligned first: nearest first led to the ditch along the road instead of the one across it
    sizes = 1.5, cosine, settings.far_rise_m, cell_m, settings.bridge_m
    costs = passing.facing(e.at, e.out, e.bed, e.line, pairs, sizes)
    for (a, b), cost in zip(pairs[costs >= 0].tolist(), costs[costs >= 0].tolist(), strict=True):
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
    points = np.concatenate([_points(d) for d in ditches])
    owner = np.repeat(np.arange(len(ditches)), [d.row.size for d in ditches])
    bed = np.concatenate([d.bed_m for d in ditches])
    e = _Ends.of(ends)
    near, start = within(cKDTree(points), e.at, settings.aim_m / cell_m)
    sizes = 1.0, float(np.cos(np.radians(settings.cone_deg))), -1.0
    beds = bed, e.bed + settings.far_rise_m
    picks = passing.side_ahead(e.at, e.out, e.line, near, start, points, owner, sizes, True, beds)
    out = []
    for end, k in zip(ends, picks.tolist(), strict=True):
        if k < 0:
            continue
        level = float(bed[k])
        if _fill_between(z, end.at, points[k], max(end.bed, level)) >= settings.aim_rise_m:
            out.append(_crossing(end.at, end.bed, points[k], level))
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
    e = _Ends.of(ends)
    count = np.arange(1.0, settings.bridge_m / cell_m + 1.0).size
    places, start = passing.ways_ahead(e.at, e.out, count, *z.shape)
    over = crest.query(places, distance_upper_bound=CREST_M / cell_m + 1e-6)[0] * cell_m
    sizes = CREST_M, settings.hump_m, settings.far_rise_m
    found, ground = passing.low_beyond(z, places, start, over, e.bed, sizes)
    hits = [(end, k, level) for end, k, level in zip(ends, found.tolist(), ground.tolist(), strict=True) if k >= 0]
    return [_crossing(end.at, end.bed, places[k], level) for end, k, level in hits]


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
