"""Which ditches bring water into a pool from above, and how much ditch that is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from wetscout.records import F32, F64, Cut, Ditch
from wetscout.sites.network import Network

# levels nearer than this are the same; a line is followed out so far to see them part [m]
LEVEL_M, OUT_M = 0.02, 150.0
# beds beside the shore are told from so much of the line [m]
BED_M = 40.0
# water does not step up so much within 3 m: the line runs on up a bank or a road [m]
WALL_M, WALL_OVER_M = 0.2, 3.0
# a cut lies so near to its line [m]
CUT_M = 5.0
# a line with less of it in the pool passes beside it [m]
ENTER_M = 10.0
# a line that comes in from so near to the edge of the ground came from beyond it [cells]
EDGE_CELLS = 2
# levels along a line are medians over so many stations
SIDE_STATIONS = 5
# the fall of a bed outside is told from thirds of so much of it and more [m]
TREND_M = 45.0
# A way of water is dug where today's ground lies so far below the natural within so much of it [m] ...
DUG_M, DUG_NEAR_M = 0.08, 2.0
# ... and is one ditch over shorter gaps [m]: fill of a road that nothing was seen beneath.
DUG_GAP_M = 25.0


def ditch_above(
    inside: Mapping[int, NDArray[np.int64]], network: Network, filled_today: F32, cuts: Sequence[Cut], cell_m: float
) -> tuple[float, bool]:
    """Ditch length that enters a pool from above, side ditches included, and whether one enters from out of sight.

    A line joined from two may be drawn uphill in part, and two ditches out of one pool may be drawn as one line: the
    water decides by which end it comes in. By the only way out of a pool none does.

    Parameters
    ----------
    inside : mapping of int to int64 (n,)
        Stations in the pool of each line, by index.
    network : Network
    filled_today : float32 (rows, cols)
        Today's surface, depressions raised to their spill levels [m].
    cuts : sequence of Cut
        Ways out of the pool.
    cell_m : float
        [m].

    Returns
    -------
    above, beyond
        Length [m]; whether a ditch that enters begins at the edge of the ground: nobody knows how much lies beyond.
    """
    above, beyond = 0.0, False
    only = cuts[0] if len(cuts) == 1 else None
    for j, at in inside.items():
        ditch, first, last = network.ditches[j], int(at.min()), int(at.max())
        if at.size * cell_m < ENTER_M and not ends_in(ditch, at):
            continue
        up, down = np.arange(first, -1, -1), np.arange(last, ditch.row.size)
        from_up = comes_in(ditch, up, at, filled_today, cell_m) if first > 0 else -1.0
        from_down = comes_in(ditch, down, at[::-1], filled_today, cell_m) if ditch.sure and down.size > 1 else -1.0
        # on a nearly level ditch the cut may be found where the water comes in: it then goes out by the other end
        veto_up = _leaves_by(ditch, up, only, cell_m) and not from_down < 0.0 < from_up
        veto_down = _leaves_by(ditch, down, only, cell_m) and not from_up < 0.0 < from_down
        from_up, from_down = -1.0 if veto_up else from_up, -1.0 if veto_down else from_down
        if from_up > 0.0 or (from_up == 0.0 and from_down <= 0.0):
            above += network.length_above([(j, first)], set(inside) - {j})
            beyond |= _at_edge(ditch, 0, filled_today)
        # where it goes out by the end from which it was drawn, what cannot be told of the other comes in
        if from_down > 0.0 or (from_down == 0.0 and from_up < 0.0):
            above += float(np.hypot(np.diff(ditch.row[down]), np.diff(ditch.col[down])).sum()) * cell_m
            beyond |= _at_edge(ditch, -1, filled_today)
    return above, beyond


def ends_in(ditch: Ditch, at: NDArray[np.int64]) -> bool:
    """Whether a line comes to its lower end in a pool: it does not pass beside it, however little of it lies there.

    Parameters
    ----------
    ditch : Ditch
    at : int64 (n,)
        Its stations in the pool.

    Returns
    -------
    bool
    """
    return bool(at.size and at.max() == ditch.row.size - 1 and at.min() > 0 and ditch.sure)


def comes_in(
    ditch: Ditch, outwards: NDArray[np.int64], pool: NDArray[np.int64], filled_today: F32, cell_m: float
) -> float:
    """Whether today's water runs into a pool along a line: positive, out of it: negative, 0 where that cannot be told.

    Followed out from the shore and into the pool until the level parts from that at the shore. A line that rises more
    steeply in the pool than outside has its head there. Where the level parts nowhere, the beds decide.

    Parameters
    ----------
    ditch : Ditch
    outwards : int64 (n,)
        Stations from the shore outwards.
    pool : int64 (m,)
        Stations in the pool, those at this shore first.
    filled_today : float32 (rows, cols)
        [m].
    cell_m : float
        [m].

    Returns
    -------
    float
        Rise a station away from the pool [m]; 1 or -1 where the pool or the beds tell.
    """
    outside, size = rise_outwards(ditch, outwards, filled_today, cell_m)
    within = _rise(_levels(ditch, pool[: round(OUT_M / cell_m) + 1], filled_today))
    if outside > 0.0 and _falls_away(_beds(ditch, outwards[:size], filled_today), cell_m):
        return -1.0
    if outside < 0.0 or within > max(outside, 0.0):
        return -1.0 if outside >= 0.0 else outside
    if outside > 0.0 or within < 0.0:
        return outside or 1.0
    near = max(1, round(BED_M / cell_m))
    beside = _beds(ditch, outwards[1 : min(near + 1, size)], filled_today)
    lower = beside.size and np.median(beside) < np.median(_beds(ditch, pool[:near], filled_today)) - LEVEL_M
    return -1.0 if lower else 0.0


def rise_outwards(ditch: Ditch, outwards: NDArray[np.int64], filled_today: F32, cell_m: float) -> tuple[float, int]:
    """Rise of today's water along a line, up to where its level first parts from that at the first station.

    A line that soon falls below that level has a divide there: what comes from it is the water of a few metres.

    Parameters
    ----------
    ditch : Ditch
    outwards : int64 (n,)
        Stations, followed for `OUT_M` or up to a bank at the end of the line.
    filled_today : float32 (rows, cols)
        [m].
    cell_m : float
        [m].

    Returns
    -------
    rise, followed
        Rise a station, 0 where the level parts nowhere [m]; stations followed.
    """
    out = _levels(ditch, outwards[: round(OUT_M / cell_m) + 1], filled_today)
    out = out[: _wall(out, max(1, round(WALL_OVER_M / cell_m)))]
    rise = _rise(out)
    top = int(np.argmax(out >= out.max() - LEVEL_M))
    if rise > 0.0 and top * cell_m <= BED_M and out[top:].min() < out[0] - LEVEL_M:
        return -rise, out.size
    return rise, out.size


def dug_to_end(rows: NDArray[np.int64], cols: NDArray[np.int64], natural: F32, today: F32, cell_m: float) -> float:
    """How far back from its end a way of water is a ditch.

    The water of a basin above may run over undug ground to one below: no ditch enters that then. On 24 squares of one
    maker eleven drains rightly told by such a way alone were dug over all of it, nine wrongly told over 0.14-0.88.

    Parameters
    ----------
    rows, cols : int64 (n,)
        Cells of the way, downhill; the last one lies where it enters a pool.
    natural, today : float32 (rows, cols)
        Natural ground, ground of today [m].
    cell_m : float
        [m].

    Returns
    -------
    float
        [m]
    """
    steps = np.hypot(np.diff(rows), np.diff(cols)) * cell_m
    back = np.concatenate([[0.0], np.cumsum(steps[::-1])])
    dug = np.zeros(rows.size, dtype=np.bool_)
    near = max(1, round(DUG_NEAR_M / cell_m))
    for down in range(-near, near + 1):
        for right in range(-near, near + 1):
            r = np.clip(rows + down, 0, today.shape[0] - 1)
            c = np.clip(cols + right, 0, today.shape[1] - 1)
            dug |= natural[r, c] - today[r, c] > DUG_M
    at = back[dug[::-1]]
    gaps = np.flatnonzero(np.diff(at, prepend=0.0) > DUG_GAP_M)
    one = at[: gaps[0]] if gaps.size else at
    return float(one[-1]) if one.size else 0.0


def _at_edge(ditch: Ditch, end: int, ground: F32) -> bool:
    """Whether a sure line ends at the edge of the raster or beside no-data: lines are led to it there."""
    if not ditch.sure:
        return False
    row, col = (round(float(along[end])) for along in (ditch.row, ditch.col))
    rows, cols = ground.shape
    far = EDGE_CELLS
    if not (far <= row < rows - far and far <= col < cols - far):
        return True
    return not bool(np.isfinite(ground[row - far : row + far + 1, col - far : col + far + 1]).all())


def _leaves_by(ditch: Ditch, outwards: NDArray[np.int64], cut: Cut | None, cell_m: float) -> bool:
    """Whether a cut lies on a line, on this side of the pool."""
    if cut is None or cut.ditch_id != ditch.ditch_id:
        return False
    return float(np.hypot(ditch.row[outwards] - cut.row, ditch.col[outwards] - cut.col).min()) * cell_m <= CUT_M


def _falls_away(bed: F64, cell_m: float) -> bool:
    """Whether the bed outside falls from its first to its last third: what rises first is silt at the shore."""
    third = bed.size // 3
    if third * cell_m < TREND_M / 3:
        return False
    return bool(np.median(bed[-third:]) < np.median(bed[:third]) - LEVEL_M)


def _levels(ditch: Ditch, at: NDArray[np.int64], filled_today: F32) -> F64:
    """Today's water along a line: medians over five stations, since single ones stand on the side of the ditch."""
    return _calm(_water(ditch, at, filled_today))


def _calm(level: F64) -> F64:
    """Running median over `SIDE_STATIONS`, mirrored at the ends.

    As a column: for one dimension scipy 1.15 to 1.17 takes another way, which leaves two values as whatever the memory
    held (its issues 22586 and 23075 are of the same code): which way a ditch runs was a matter of chance then.
    """
    out: F64 = ndimage.median_filter(level[:, None], (SIDE_STATIONS, 1), mode="mirror")[:, 0] if level.size else level
    return out


def _water(ditch: Ditch, at: NDArray[np.int64], filled_today: F32) -> F64:
    rows, cols = (np.rint(along[at]).astype(np.int64) for along in (ditch.row, ditch.col))
    return filled_today[rows, cols].astype(np.float64)


def _beds(ditch: Ditch, at: NDArray[np.int64], filled_today: F32) -> F64:
    """Bed of a line; beneath road fill what today's ground was opened to, since the fill was read as the bed there."""
    out: F64 = np.fmin(ditch.bed_m[at], _water(ditch, at, filled_today))
    return out


def _rise(levels: F64) -> float:
    """Rise a station up to where the level first parts from that at the shore; 0 where it does not."""
    parts = np.flatnonzero(np.abs(levels - levels[0]) > LEVEL_M)
    return float(levels[parts[0]] - levels[0]) / float(parts[0]) if parts.size else 0.0


def _wall(levels: F64, over: int) -> int:
    """Stations before the first at which the level steps up."""
    steps = np.flatnonzero(levels[over:] - levels[:-over] > WALL_M)
    return int(steps[0]) + 1 if steps.size else levels.size
