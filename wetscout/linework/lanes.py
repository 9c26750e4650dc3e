"""Low straight banks of one height: field lanes, too low to be told from a ridge by their height."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wetscout.kernels import lines as kernel
from wetscout.linework import attributes, join, shape, trace
from wetscout.settings.linework import LineworkSettings

# pieces this long and straight are joined where they face each other; ditches, pools and rising ground part them
PIECE_M = 25.0
STRAIGHT = 0.985
# gap [m] and half angle [degrees]: what lies farther apart must face each other more closely
GAPS = ((60.0, 6.0), (120.0, 3.0))
LANE_LENGTH_M = 100.0
# a lane stands so high above the ground 5-10 m to both sides [m]
LANE_RISE_M = 0.15
# and hardly higher above that 15-20 m off: lanes of two makers 0-1.2 times, beach ridges and swells 1.6 times and more
LANE_SHARE = 1.35
NEAR_M, FAR_M, BAND_M = 5.0, 15.0, 5.0
# a crest of which so much lies along a lane is a piece of it
ALONG_M, ALONG_SHARE = 3.0, 0.8
# with a ditch beside so much of it a bank is spoil; shorter pieces of a lane may end at a ditch they cross
SPOIL_SHARE, SPOIL_M = 0.5, 60.0


def with_lanes(
    turned: NDArray[np.float32],
    found: trace.Cells,
    there: tuple[list[trace.Line], Sequence[NDArray[np.float64]]],
    cell_m: float,
    settings: LineworkSettings,
) -> list[trace.Line]:
    """Crests, and the lanes that raised cells too low for a crest make up.

    Parameters
    ----------
    turned : float32 (rows, cols)
        Smoothed ground upside down [m].
    found : Cells
        Raised cells.
    there : (list of Line, sequence of float64 (n, 2))
        Crests, those on a slope unsure, and the stations of ditches [cells]: what lies beside one is spoil.
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    list of Line
        Crests that are pieces of a lane give way to it.
    """
    crests, ditches = there
    tree = tree_of(ditches)
    sure = [line for line in crests if line.sure]
    pieces = [line for line in sure if _straight(line, cell_m)]
    pieces += _low_pieces(turned, found, sure, cell_m, settings)
    pieces = [p for p in pieces if p.length(cell_m) < SPOIL_M or not _spoil(tree, p, cell_m, settings)]
    for gap_m, cone_deg in GAPS:
        pieces = join.join_gaps(pieces, gap_m, cone_deg, cell_m)
    own = {id(line) for line in crests}
    lanes = [line for line in pieces if id(line) not in own and not _spoil(tree, line, cell_m, settings)]
    lanes = [line for line in lanes if lane_height(turned, line.xy, cell_m) > 0.0]
    return _apart(crests, lanes, cell_m) + lanes


def tree_of(ditches: Sequence[NDArray[np.float64]]) -> cKDTree | None:
    """Where ditches run, to look up the nearest; None without any.

    Parameters
    ----------
    ditches : sequence of float64 (n, 2)
        Stations [cells].

    Returns
    -------
    cKDTree or None
    """
    return cKDTree(np.concatenate(list(ditches))) if len(ditches) else None


def beside(
    tree: cKDTree | None, xy: NDArray[np.float64], cell_m: float, settings: LineworkSettings
) -> tuple[float, float]:
    """How much of a crest has a ditch at spoil distance, and how far it goes on without one so near.

    Parameters
    ----------
    tree : cKDTree or None
        See `tree_of`.
    xy : float64 (n, 2)
        Stations [cells].
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    share, alone_m : float
        0-1, and the longest stretch [m]; 0 and infinity without ditches.
    """
    if tree is None:
        return 0.0, float(np.inf)
    far = tree.query(xy, distance_upper_bound=settings.spoil_to_m / cell_m + 1e-6)[0] * cell_m
    share = float(((far >= settings.spoil_from_m) & (far <= settings.spoil_to_m)).mean())
    steps = np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T) * cell_m
    at = np.concatenate(([0.0], np.cumsum(steps)))
    turns = np.flatnonzero(np.diff(np.concatenate(([False], np.isinf(far), [False])).astype(np.int8)))
    return share, float((at[turns[1::2]] - at[turns[::2]]).max(initial=0.0))


def lane_height(turned: NDArray[np.float32], xy: NDArray[np.float64], cell_m: float) -> float:
    """How high a lane stands above the ground beside it.

    Parameters
    ----------
    turned : float32 (rows, cols)
        Ground upside down [m].
    xy : float64 (n, 2)
        Stations [cells].
    cell_m : float
        [m].

    Returns
    -------
    float
        Median [m]; 0 where the line is no lane.
    """
    length = float(np.hypot(*np.diff(xy, axis=0).T).sum()) * cell_m
    if length < LANE_LENGTH_M or attributes.straightness(xy, cell_m) < STRAIGHT:
        return 0.0
    near, far = (_rise(turned, xy, m, cell_m) for m in (NEAR_M, FAR_M))
    return near if near >= LANE_RISE_M and far <= LANE_SHARE * near else 0.0


def _rise(turned: NDArray[np.float32], xy: NDArray[np.float64], from_m: float, cell_m: float) -> float:
    """Median height over the higher side at some distance [m]."""
    t = shape.tangents(xy, max(1, round(6.0 / cell_m)))
    row, col, along_r, along_c = (np.ascontiguousarray(v) for v in (*xy.T, *t.T))
    rise = kernel.line_depths(
        turned, row, col, along_r, along_c, from_m / cell_m, (from_m + BAND_M) / cell_m, 6.0 / cell_m, 5
    )
    return float(attributes.known_median(rise)) if np.isfinite(rise).any() else 0.0


def _spoil(tree: cKDTree | None, line: trace.Line, cell_m: float, settings: LineworkSettings) -> bool:
    return beside(tree, line.xy, cell_m, settings)[0] >= SPOIL_SHARE


def _straight(line: trace.Line, cell_m: float) -> bool:
    return line.length(cell_m) >= PIECE_M and attributes.straightness(line.xy, cell_m) >= STRAIGHT


def _low_pieces(
    turned: NDArray[np.float32], found: trace.Cells, crests: list[trace.Line], cell_m: float, settings: LineworkSettings
) -> list[trace.Line]:
    """Straight lines of raised cells, however low, where no crest is."""
    every = np.ones(found.keys.size, dtype=np.bool_)
    kept = trace.groups_kept(found, every, cell_m, settings.group_m, 0.0)
    lines = trace.middle_lines(found.keys[kept], found.cols, cell_m, settings.spur_m)
    lines = join.join_gaps(lines, settings.gap_m, settings.cone_deg, cell_m)
    lines = [line for line in lines if line.length(cell_m) >= PIECE_M]
    lines = [shape.recentre(turned, line, cell_m, settings.centre_m) for line in lines]
    return _apart([line for line in lines if _straight(line, cell_m)], crests, cell_m)


def _apart(lines: list[trace.Line], others: list[trace.Line], cell_m: float) -> list[trace.Line]:
    """Lines that do not lie along others for most of their length."""
    tree = tree_of([other.xy for other in others])
    if tree is None:
        return lines
    reach = (ALONG_M + cell_m) / cell_m
    far = (tree.query(line.xy, distance_upper_bound=reach + 1e-6)[0] for line in lines)
    return [line for line, f in zip(lines, far, strict=True) if (f <= reach).mean() < ALONG_SHARE]
