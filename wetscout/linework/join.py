"""Joining line ends: across short gaps, and to the side of another line."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wetscout.kernels import along, passing
from wetscout.linework.trace import Line, line_of

# heading of an end is taken over this length
HEADING_M = 15.0
# nearer than this many cells the way between two ends has no direction of its own
TOUCHING_CELLS = 2.5


@dataclass(frozen=True)
class Ends:
    """Both ends of every line: end 2 i is the first point of line i, end 2 i + 1 the last.

    Attributes
    ----------
    at, out : float64 (2 n, 2)
        Place [cells] and unit vector outwards.
    """

    at: NDArray[np.float64]
    out: NDArray[np.float64]


def ends_of(lines: list[Line], cell_m: float) -> Ends:
    """Places and headings of all line ends.

    Parameters
    ----------
    lines : list of Line
    cell_m : float
        Cell size [m].

    Returns
    -------
    Ends
    """
    at = np.zeros((2 * len(lines), 2))
    out = np.zeros((2 * len(lines), 2))
    for i, line in enumerate(lines):
        at[2 * i : 2 * i + 2], out[2 * i : 2 * i + 2] = along.headings(line.xy, HEADING_M / cell_m)
    return Ends(at, out)


def join_gaps(lines: list[Line], gap_m: float, cone_deg: float, cell_m: float) -> list[Line]:
    """Join ends that face each other across a short gap, best pairs first.

    Parameters
    ----------
    lines : list of Line
    gap_m : float
        Longest gap [m].
    cone_deg : float
        Each end must lie within this half angle ahead of the other.
    cell_m : float
        Cell size [m].

    Returns
    -------
    list of Line
        A joined line is sure if its longer part was.
    """
    if len(lines) < 2:
        return lines
    ends = ends_of(lines, cell_m)
    cosine = float(np.cos(np.radians(cone_deg)))
    pairs = cKDTree(ends.at).query_pairs(gap_m / cell_m, output_type="ndarray")
    scored = []
    for a, b in pairs:
        if a // 2 == b // 2:
            continue
        cost = _pair_cost(ends, int(a), int(b), cosine)
        if cost is not None:
            scored.append((cost, int(min(a, b)), int(max(a, b))))
    partner: dict[int, int] = {}
    for _cost, a, b in sorted(scored):
        if a not in partner and b not in partner:
            partner[a] = b
            partner[b] = a
    return _chain_lines(lines, partner, cell_m)


def _pair_cost(ends: Ends, a: int, b: int, cosine: float) -> int | None:
    """Hundredths of a cell of gap, longer when it turns; None when the ends do not face each other."""
    gap = ends.at[b] - ends.at[a]
    size = float(np.hypot(*gap))
    facing = -float(ends.out[a] @ ends.out[b])
    if size <= TOUCHING_CELLS:
        return int(100 * (size + 4 * (1 - facing))) if facing > 0.5 else None
    ahead_a = float(ends.out[a] @ gap) / size
    ahead_b = -float(ends.out[b] @ gap) / size
    if min(ahead_a, ahead_b) < cosine or facing < 0.3:
        return None
    return int(100 * size * (1 + 2 * (1 - ahead_a) + 2 * (1 - ahead_b)))


def _chain_lines(lines: list[Line], partner: dict[int, int], cell_m: float) -> list[Line]:
    """Concatenate lines along partnered ends."""
    done = [False] * len(lines)
    out = []
    for free_only in (True, False):
        for i in range(len(lines)):
            for side in (0, 1):
                if done[i] or (free_only and 2 * i + side in partner):
                    continue
                out.append(_one_chain(lines, partner, done, 2 * i + side, cell_m))
    return out


def _one_chain(lines: list[Line], partner: dict[int, int], done: list[bool], end: int, cell_m: float) -> Line:
    """Follow partners from one end until none is left."""
    parts: list[NDArray[np.float64]] = []
    sure_m = 0.0
    at: int | None = end
    while at is not None and not done[at // 2]:
        line = lines[at // 2]
        done[at // 2] = True
        parts.append(line.xy if at % 2 == 0 else line.xy[::-1])
        sure_m += line.length(cell_m) * (1.0 if line.sure else -1.0)
        at = partner.get(at ^ 1)
    return line_of(np.concatenate(parts), sure_m >= 0.0)


def lead_to_sides(lines: list[Line], reach_m: float, cell_m: float) -> list[Line]:
    """Lead ends on to the nearest point of another line's body.

    Parameters
    ----------
    lines : list of Line
        Points about one cell apart.
    reach_m : float
        Longest way [m].
    cell_m : float
        Cell size [m].

    Returns
    -------
    list of Line
        Only points ahead of the end count, so that a parallel neighbour is not met.
    """
    if len(lines) < 2:
        return lines
    points = np.concatenate([line.xy for line in lines])
    owner = np.repeat(np.arange(len(lines)), [line.row.size for line in lines])
    tree = cKDTree(points)
    ends = ends_of(lines, cell_m)
    near, start = within(tree, ends.at, reach_m / cell_m)
    level = np.zeros(points.shape[0]), np.zeros(ends.at.shape[0])
    own = np.repeat(np.arange(len(lines)), 2)
    picks = passing.side_ahead(ends.at, ends.out, own, near, start, points, owner, (0.5, 0.5, 0.5), False, level)
    out = []
    for line, (first, last) in zip(lines, picks.reshape(-1, 2).tolist(), strict=True):
        p = line.xy
        if first >= 0:
            p = np.concatenate((points[first][None], p))
        if last >= 0:
            p = np.concatenate((p, points[last][None]))
        out.append(line_of(p, line.sure))
    return out


def within(tree: cKDTree, places: NDArray[np.float64], reach: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Points of a tree within reach of each of many places.

    Parameters
    ----------
    tree : cKDTree
    places : float64 (m, 2)
    reach : float
        In the unit of the places.

    Returns
    -------
    near : int64 (k,)
        Numbers of the points, ascending for each place, one place after the other.
    start : int64 (m + 1,)
        Where the points of each place begin.
    """
    found = tree.query_ball_point(places, reach, return_sorted=True)
    start = np.cumsum([0, *map(len, found)], dtype=np.int64)
    return np.fromiter(chain.from_iterable(found), np.int64, int(start[-1])), start


def lead_off_ground(z: NDArray[np.float32], line: Line, reach_m: float, cell_m: float) -> Line:
    """Lead ends straight on to the last cell of ground where the DEM ends just ahead.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m]; beyond its edge and where NaN there is none.
    line : Line
    reach_m : float
        Longest way [m]: banks cannot be seen this near to the edge, but the water goes on.
    cell_m : float
        Cell size [m].

    Returns
    -------
    Line
    """
    ends = ends_of([line], cell_m)
    p = line.xy
    for side in (0, 1):
        on = along.steps_on_ground(z, ends.at[side], ends.out[side], int(reach_m / cell_m) + 1)
        if on > 0:
            new = ends.at[side] + np.arange(1, on + 1)[:, None] * ends.out[side]
            p = np.concatenate((new[::-1], p) if side == 0 else (p, new))
    return line_of(p, line.sure)
