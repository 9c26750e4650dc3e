"""Where a stream and a ditch were traced as one line: cut apart at the junction, so that each is named for itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wetscout.kernels import sums, whole_line
from wetscout.linework.attributes import (
    Profile,
    bank_climb,
    bow,
    downhill,
    known_median,
    straightness,
)
from wetscout.settings.linework import LineworkSettings

# the end of another line this near makes a junction [m]
MEETS_M = 6.0
# no piece is shorter [m]
PIECE_M = 20.0
# a short piece is the same stream where its depth differs from the stream's by no more than this share
ALIKE = 0.3
# dug lines with corners stand off their chords by less than this share of what streams do (0.9 m at least, lines 0.3)
RULED = 0.5


def unevenness(p: Profile, disturbed: NDArray[np.bool_]) -> float:
    """Spread of the depth along a line (90 % less 10 %) over its median.

    Parameters
    ----------
    p : Profile
    disturbed : bool (n,)
        Stations beside a road or another line: left out unless they are most.

    Returns
    -------
    float
        NaN where no depth is known.
    """
    return float(whole_line.unevenness(p.low - p.bed, disturbed))


def winds(p: Profile, disturbed: NDArray[np.bool_], cell_m: float, settings: LineworkSettings) -> bool:
    """Whether a line is long, winds all the way and is as deep at one place as at another: a stream.

    Where it winds most its depth says nothing: pools and riffles, and tributaries cut into its banks.

    Parameters
    ----------
    p : Profile
    disturbed : bool (n,)
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    bool
    """
    # most lines are told by their shape, which takes a tenth of the time
    return _winds(p, disturbed, cell_m, settings) and not is_ruled(p.points, cell_m, settings)


def _winds(p: Profile, disturbed: NDArray[np.bool_], cell_m: float, settings: LineworkSettings) -> bool:
    """The same by length, bow, evenness and valley."""
    length = _length(p, cell_m)
    if length < settings.tight_length_m:
        return False
    off, uneven = bow(p.points, cell_m, settings.bend_half_m), unevenness(p, disturbed)
    if _cornered(p, off, cell_m, settings):
        return False
    known = uneven if np.isfinite(uneven) else np.inf
    # Length, bow and unevenness of what is no ditch: a deepened outlet of 95 m went 8.8 m round a knoll, half as deep
    # at one end as at the other; a stream of 700 m, 0.9 straight, stood 5.8 m off; of 147 dug lines one of 431 m did by
    # 5.4 m, an uneven one; a reach of 227 m between junctions stood 5.1 m off, as deep all along
    bends = (
        (settings.loops_length_m, settings.loops_bow_m, np.inf),
        (0.0, settings.loops_bow_m, settings.loops_uneven),
        (settings.winding_sure_m, settings.tight_blunt_m, settings.loops_uneven),
        (settings.winding_length_m, settings.tight_blunt_m, settings.wander_uneven),
    )
    if any(length >= least and off >= bow_m and known <= spread for least, bow_m, spread in bends):
        return True
    if length < settings.winding_length_m:
        return False
    straight = straightness(p.points, cell_m)
    # the same of length, straightness and unevenness; the last needs the valley as well
    courses = (
        (0.0, settings.winding_straight, settings.winding_uneven),
        (settings.winding_sure_m, settings.wander_straight, settings.wander_uneven),
        (settings.loops_length_m, settings.loops_straight, settings.loops_uneven),
    )
    if any(length >= least and straight <= most and uneven <= spread for least, most, spread in courses):
        return True
    return uneven <= settings.bend_uneven and _in_a_valley(p, off, disturbed, settings)


def is_ruled(points: NDArray[np.float64], cell_m: float, settings: LineworkSettings) -> bool:
    """Whether a line consists of long straight legs, as what is dug does; a stream bends on the way.

    Parameters
    ----------
    points : float64 (n, 2)
        Stations [cells].
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    bool
        Legs are those of the line simplified (Douglas and Peucker 1973), their length the mean weighted by itself: 8 to
        37 m on 22 invented streams of 150 m and more, 101 m and more on half of 147 dug lines. A bend of radius r has
        legs of 2 sqrt(2 r tolerance) (geometry).
    """
    return bool(are_ruled([points], cell_m, settings)[0])


def are_ruled(lines: Sequence[NDArray[np.float64]], cell_m: float, settings: LineworkSettings) -> NDArray[np.bool_]:
    """`is_ruled` of many lines: made into geometries and taken apart again together.

    Parameters
    ----------
    lines : sequence of float64 (n, 2)
        Stations [cells].
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    bool (lines,)
    """
    if not lines:
        return np.zeros(0, dtype=np.bool_)
    own = np.repeat(np.arange(len(lines)), [p.shape[0] for p in lines])
    simple = shapely.simplify(shapely.linestrings(np.concatenate(lines), indices=own), settings.leg_off_m / cell_m)
    corners, of = shapely.get_coordinates(simple, return_index=True)
    start = np.searchsorted(of, np.arange(len(lines) + 1))
    ruled: NDArray[np.bool_] = whole_line.long_legs(corners, start, cell_m, settings.leg_m)
    return ruled


def _cornered(p: Profile, off: float, cell_m: float, settings: LineworkSettings) -> bool:
    """Whether a line turns at corners and runs straight between them, as only what is dug does.

    On a circle half the chord stands a quarter as far off (geometry); invented streams 0.15-0.31, polylines 0.03-0.07.
    """
    return bow(p.points, cell_m, settings.bend_half_m / 2.0) < settings.corner_bow * off


def _in_a_valley(p: Profile, off: float, disturbed: NDArray[np.bool_], settings: LineworkSettings) -> bool:
    """Whether a line bends all the way in the lowest ground, which rises behind both its banks, and cuts no rim.

    A ditch runs straight between its bends; one that was led crookedly has spoil or a slope beside it, or goes through
    a rim.
    """
    if off < settings.bend_m or whole_line.rise(p.rise, disturbed) < settings.bend_rise_m:
        return False
    # the less it bends the less its banks may climb: a drain 1.54 m deep stood 1.21 m off, its banks climbed 0.88 m
    share = settings.bend_climb * min(1.0, 0.5 * off / settings.bend_m)
    return bank_climb(p, disturbed) <= share * known_median(p.low - p.bed)


def cut_apart(
    profiles: Sequence[Profile], disturbed: Sequence[NDArray[np.bool_]], cell_m: float, settings: LineworkSettings
) -> list[list[tuple[Profile, bool]]]:
    """Each line as it is, or as the pieces that are stream and those that are not.

    Parameters
    ----------
    profiles : sequence of Profile
    disturbed : sequence of bool (n,)
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    list of list of (Profile, bool)
        Pieces of one line, which share no station, and whether they are stream.
    """
    met = _met(profiles, MEETS_M / cell_m)
    out = []
    for i, (p, near) in enumerate(zip(profiles, disturbed, strict=True)):
        at = [0, *_junctions(p, met.get(i, []), cell_m), p.bed.size]
        parts = [slice(a, b) for a, b in pairwise(at)]
        stream = _stream_parts(p, near, parts, cell_m, settings) if len(parts) > 1 else [False]
        if all(stream) or not any(stream):
            out.append([(p, all(stream) or winds(p, near, cell_m, settings))])
            continue
        first = [k for k in range(len(parts)) if k == 0 or stream[k] != stream[k - 1]]
        bounds = [*(parts[k].start for k in first), p.bed.size]
        pieces = [downhill(part_of(p, slice(a, b)), cell_m) for a, b in pairwise(bounds)]
        out.append([(q, stream[k]) for q, k in zip(pieces, first, strict=True)])
    return out


def _met(profiles: Sequence[Profile], reach: float) -> dict[int, list[int]]:
    """By line, the stations nearest to the ends of other lines that meet it, once an end."""
    if not profiles:
        return {}
    stations = np.concatenate([p.points for p in profiles])
    size = np.array([len(p.points) for p in profiles])
    line, first = np.repeat(np.arange(size.size), size), np.cumsum(size) - size
    ends = np.concatenate([p.points[[0, -1]] for p in profiles])
    # the few ends look for stations in one tree: a tree for each line took minutes on 40,000 lines
    near = cKDTree(stations).query_ball_point(ends, reach)
    end = np.repeat(np.arange(len(ends)), [len(k) for k in near])
    at = np.concatenate([np.asarray(k, dtype=np.int64) for k in near])
    far = ((stations[at] - ends[end]) ** 2).sum(axis=1)
    good = (line[at] != end // 2) & (far < reach * reach)
    end, at, far = end[good], at[good], far[good]
    order = np.lexsort((at, far, end, line[at]))
    end, at = end[order], at[order]
    nearest = np.flatnonzero(np.diff(end, prepend=-1) | np.diff(line[at], prepend=-1))
    met: dict[int, list[int]] = {}
    for k in at[nearest].tolist():
        met.setdefault(int(line[k]), []).append(k - int(first[line[k]]))
    return met


def _junctions(p: Profile, met: Sequence[int], cell_m: float) -> list[int]:
    """Stations at which other lines meet this one, apart from each other and from its ends."""
    found: list[int] = []
    least = PIECE_M / cell_m
    for k in sorted(met):
        if k - (found[-1] if found else 0) >= least and p.bed.size - k >= least:
            found.append(k)
    return found


def _stream_parts(
    p: Profile, near: NDArray[np.bool_], parts: list[slice], cell_m: float, settings: LineworkSettings
) -> list[bool]:
    """Which pieces are stream: those that wind and are even, and what is as deep as these up to them.

    A long piece whose banks climb by most of its depth cuts a rim: nothing is told across it.
    """
    pieces = [part_of(p, s) for s in parts]
    sure = [winds(q, near[s], cell_m, settings) for q, s in zip(pieces, parts, strict=True)]
    if not any(sure):
        return sure
    deep = known_median(np.concatenate([q.low - q.bed for q, s in zip(pieces, sure, strict=True) if s]))
    out, dug = [], []
    for q, s, known in zip(pieces, parts, sure, strict=True):
        alike = abs(known_median(q.low - q.bed) / max(deep, 0.05) - 1.0) <= ALIKE
        off, uneven = bow(q.points, cell_m, settings.bend_half_m), unevenness(q, near[s])
        goes_on = uneven <= settings.loops_uneven and _in_a_valley(q, off, near[s], settings)
        out.append(known or (alike and (goes_on or uneven <= settings.winding_uneven)))
        dug.append(not known and _dug(q, near[s], cell_m, settings))
    return _between(out, sure, dug)


def _dug(p: Profile, disturbed: NDArray[np.bool_], cell_m: float, settings: LineworkSettings) -> bool:
    """Whether a long piece keeps to straight lines, or its banks climb downstream by most of its depth."""
    if _length(p, cell_m) < settings.winding_length_m:
        return False
    climbs = bank_climb(p, disturbed) > settings.bend_climb * known_median(p.low - p.bed)
    return climbs or bow(p.points, cell_m, settings.bend_half_m) < RULED * settings.bend_m


def _between(out: Sequence[bool], sure: Sequence[bool], dug: Sequence[bool]) -> list[bool]:
    """Pieces from the first to the last that may be stream, where one of them surely is, never across a dug one."""
    stream = [False] * len(out)
    walls = [-1, *(k for k, d in enumerate(dug) if d), len(out)]
    for a, b in pairwise(walls):
        if any(sure[a + 1 : b]):
            inside = [k for k in range(a + 1, b) if out[k]]
            stream[inside[0] : inside[-1] + 1] = [True] * (inside[-1] + 1 - inside[0])
    return stream


def part_of(p: Profile, s: slice) -> Profile:
    """Some stations of a line.

    Parameters
    ----------
    p : Profile
    s : slice

    Returns
    -------
    Profile
    """
    return replace(
        p,
        points=p.points[s],
        bed=p.bed[s],
        left=p.left[s],
        right=p.right[s],
        half_left=p.half_left[s],
        half_right=p.half_right[s],
        rise=p.rise[s],
    )


def _length(p: Profile, cell_m: float) -> float:
    return float(sums.length(p.points) * cell_m)
