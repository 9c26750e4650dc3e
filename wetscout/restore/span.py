"""The line of a plug: the way of least earth across a ditch, from undug ground on one bank to that on the other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from wetscout.kernels.span import cheapest_beside, spread_cost
from wetscout.records import BOOL, F32, F64
from wetscout.settings.restore import RestoreSettings

I64 = NDArray[np.int64]
Line = tuple[F64, F64, float]
# a metre of plug costs at least this, however little earth it takes: lines run straight where the ground is high [m3]
LEAST_M3 = 0.1
# a straight line is taken where it needs no more than this much more earth than the cheapest bent one
STRAIGHT = 1.15
# a plug stands this clear of the fill of a road [m]
CLEAR_M = 4.0
# a plug crosses the way no farther inside the pool than this, and its line runs no farther from there through it [m]
INSIDE_M, THROUGH_M = 3.0, 6.0
# ground at the spill level is as good an end as higher ground that takes so much more earth to reach
DEAR = 2.0
# length of a step over a corner
CORNER = float(np.hypot(1, 1))


@dataclass(frozen=True)
class Bank:
    """The ground a plug is laid on.

    Attributes
    ----------
    today : float32 (h, w)
        Today's ground with the plugs so far [m].
    firm : bool (h, w)
        Ground a plug may end on: undug and outside the pool, or a plug.
    covered : bool (h, w)
        Ways opened through fill: what is a gap here is a road in the DEM, and no place for a plug.
    spill_m, cell_m : float
        [m].
    pool : bool (h, w) or None
        A plug through shallow water takes least earth, but parts the pool: it is laid only where nothing else holds.
    """

    today: F32
    firm: BOOL
    covered: BOOL
    spill_m: float
    cell_m: float
    pool: BOOL | None = None


def span(bank: Bank, way: tuple[I64, I64], at: int, s: RestoreSettings, exact: bool = False) -> tuple[F64, F64] | None:
    """Lay a plug across a way of the water.

    Parameters
    ----------
    bank : Bank
    way : (int64 (n,), int64 (n,))
        Cells of the way, from the floor outwards.
    at : int
        Where the plug shall stand; it may be shifted by `shift_m` to where it takes least earth.
    s : RestoreSettings
    exact : bool
        Not to be shifted.

    Returns
    -------
    row, col : float64 (k,)
        Corners of the line, left end first as seen downstream [cells]; None where the banks are not told apart.
    """
    high, low = _both(_place(bank, way, at, s), s, exact)
    if high is not None and low is not None and high[2] > DEAR * low[2]:
        high = low
    high = high or low
    if high is None:
        high, _ = _both(_place(replace(bank, pool=None), way, at, s), s, exact)
    return None if high is None else high[:2]


@dataclass(frozen=True)
class _Place:
    """Where a plug is to be laid: a window around a way that parts it.

    Attributes
    ----------
    corner : (int, int)
        Of the window in the ground.
    ground, cost : float64 (h, w)
        [m], and cost of a metre of plug.
    sides : ((bool (h, w), bool (h, w)), (bool (h, w), bool (h, w)))
        Ground of each bank that a line may run over, and of it what it may end on.
    through : bool (h, w)
        Cells that do not part the pool.
    way : (int64 (n,), int64 (n,), float64 (n,))
        Cells of the way, and what crossing it there costs beside the earth: infinitely much or nothing.
    at : int
        The place on the way.
    spill_m, cell_m : float
        [m].
    """

    corner: tuple[int, int]
    ground: F64
    cost: F64
    sides: tuple[tuple[BOOL, BOOL], tuple[BOOL, BOOL]]
    through: BOOL
    way: tuple[I64, I64, F64]
    at: int
    spill_m: float
    cell_m: float


def _place(bank: Bank, way: tuple[I64, I64], at: int, s: RestoreSettings) -> _Place | None:
    """The window, worked out once for both levels a plug may end at."""
    reach = round(s.across_reach_m / bank.cell_m)
    r0, c0 = max(0, int(way[0][at]) - reach), max(0, int(way[1][at]) - reach)
    box = (slice(r0, int(way[0][at]) + reach + 1), slice(c0, int(way[1][at]) + reach + 1))
    ground, firm = bank.today[box].astype(np.float64), bank.firm[box]
    rows, cols, k = _through(way[0] - r0, way[1] - c0, at, ground.shape)
    sides = _sides(rows, cols, k, ground.shape)
    if sides is None:
        return None
    crest = bank.spill_m + s.freeboard_m
    high = np.clip(crest - ground, 0.0, None)
    cost = LEAST_M3 + s.crest_width_m * high + s.face_slope * high**2
    cost[~np.isfinite(cost)] = LEAST_M3
    dry, through = _outside(bank, box, (rows, cols))
    left, right = (side & np.isfinite(ground) & through for side in sides)
    # under a road it is led on along the way to where the ditch lies open, clear of the fill
    covered = ndimage.binary_dilation(bank.covered[box][rows, cols], iterations=max(1, round(CLEAR_M / bank.cell_m)))
    free = (ground[rows, cols] < bank.spill_m - s.hold_m) & ~covered & dry
    return _Place(
        (r0, c0),
        ground,
        cost,
        ((left, firm & left), (right, firm & right)),
        through,
        (rows, cols, np.where(free, 0.0, np.inf)),
        k,
        bank.spill_m,
        bank.cell_m,
    )


def _both(place: _Place | None, s: RestoreSettings, exact: bool) -> tuple[Line | None, Line | None]:
    """Lines that end above the spill level, where there is such ground, and at it."""
    if place is None:
        return None, None
    halves: list[list[tuple[F64, I64]]] = [[], []]
    for known, firm in place.sides:
        tied, held = (_ends(place.ground, firm, place.spill_m, level, s) for level in (s.tie_m, -s.hold_m))
        if tied is None or held is None:
            return None, None
        halves[0].append(spread_cost(place.cost, tied, known, place.cell_m))
        # mostly there is none so high, or no other
        same = np.array_equal(tied, held)
        halves[1].append(halves[0][-1] if same else spread_cost(place.cost, held, known, place.cell_m))
    high = _cheapest(place, halves[0], s, exact)
    if all(one is other for one, other in zip(*halves, strict=True)):
        return high, high
    return high, _cheapest(place, halves[1], s, exact)


def _cheapest(place: _Place, halves: list[tuple[F64, I64]], s: RestoreSettings, exact: bool) -> Line | None:
    """Line of a plug and its cost."""
    shift = max(1, round(s.shift_m / place.cell_m))
    best = None
    for reach in (1,) if exact else (shift, 3 * shift):
        best = best or _gate(place.cost, halves, place.way, (place.at, reach), place.cell_m)
    if best is None:
        return None
    gate, left, right = best
    row, col = (
        np.concatenate([a[::-1], [g], b]).astype(np.float64)
        for a, g, b in zip(_back(halves[0][1], left), gate, _back(halves[1][1], right), strict=True)
    )
    # straightened, it does not run through the pool either
    cost = place.cost.copy()
    cost[~place.through] += DEAR * cost.max()
    keep = _straight(cost, row, col, place.cell_m)
    return row[keep] + place.corner[0], col[keep] + place.corner[1], _earth(cost, row, col, place.cell_m)


def _outside(bank: Bank, box: tuple[slice, slice], way: tuple[I64, I64]) -> tuple[BOOL, BOOL]:
    """Cells of a way at which a plug may cross it, and cells of the window its line may run over."""
    if bank.pool is None:
        return np.ones(way[0].size, dtype=bool), np.ones(bank.today[box].shape, dtype=bool)
    pool = bank.pool[box]
    dry = ~ndimage.binary_erosion(pool[way], iterations=max(1, round(INSIDE_M / bank.cell_m)), border_value=1)
    gate = np.ones(pool.shape, dtype=bool)
    gate[way[0][dry], way[1][dry]] = False
    near = ndimage.distance_transform_edt(gate) * bank.cell_m <= THROUGH_M if dry.any() else ~gate
    return dry, ~pool | near


def _through(rows: I64, cols: I64, at: int, shape: tuple[int, int]) -> tuple[I64, I64, int]:
    """The stretch of a way inside a window, led straight on to its border at both ends; and the place on it."""
    inside = (rows >= 0) & (cols >= 0) & (rows < shape[0]) & (cols < shape[1])
    a = at - int(np.argmin(np.append(inside[: at + 1][::-1], False))) + 1
    b = at + int(np.argmin(np.append(inside[at:], False)))
    parts = []
    for end, before in ((a, min(a + 5, b - 1)), (b - 1, max(b - 6, a))):
        step = np.array([rows[end] - rows[before], cols[end] - cols[before]], dtype=np.float64)
        if not step.any():
            step = np.array([1.0, 0.0]) if end == a else np.array([-1.0, 0.0])
        step /= np.abs(step).max()
        n = np.arange(1, max(shape) + 1)[:, None]
        on = np.rint(np.array([rows[end], cols[end]]) + n * step).astype(np.int64)
        parts.append(on[((on >= 0) & (on < np.array(shape))).all(axis=1)])
    row = np.concatenate([parts[0][::-1, 0], rows[a:b], parts[1][:, 0]])
    col = np.concatenate([parts[0][::-1, 1], cols[a:b], parts[1][:, 1]])
    return row, col, len(parts[0]) + at - a


def _sides(rows: I64, cols: I64, k: int, shape: tuple[int, int]) -> tuple[BOOL, BOOL] | None:
    """Left and right bank: what lies on either side of a way that parts the window; None if it does not."""
    free = np.ones(shape, dtype=bool)
    free[rows, cols] = False
    part, _ = ndimage.label(free)
    a, b = max(0, k - 3), min(rows.size - 1, k + 3)
    along = np.array([rows[b] - rows[a], cols[b] - cols[a]], dtype=np.float64)
    length = float(np.hypot(*along))
    if length == 0.0:
        return None
    found = []
    for sign in (1.0, -1.0):
        out = sign * np.array([-along[1], along[0]]) / length
        n = np.arange(1, 6)[:, None]
        on = np.rint(np.array([rows[k], cols[k]]) + n * out).astype(np.int64)
        on = on[((on >= 0) & (on < np.array(shape))).all(axis=1)]
        labels = part[on[:, 0], on[:, 1]]
        found.append(int(labels[labels > 0][0]) if (labels > 0).any() else 0)
    if 0 in found or found[0] == found[1]:
        return None
    return part == found[0], part == found[1]


def _ends(ground: F64, firm: BOOL, spill_m: float, tie_m: float, s: RestoreSettings) -> BOOL | None:
    """Cells on one bank that a plug may end on: a little above the spill, else at it, else the highest there is."""
    if not firm.any():
        return None
    for level in (spill_m + tie_m, spill_m - s.hold_m):
        ends = firm & (ground >= level)
        if ends.any():
            return np.asarray(ends)
    return np.asarray(firm & (ground >= ground[firm].max() - 0.05))


def _gate(
    cost: F64, halves: list[tuple[F64, I64]], way: tuple[I64, I64, F64], place: tuple[int, int], cell_m: float
) -> tuple[tuple[int, int], int, int] | None:
    """Cell of the way at which the plug crosses it with least earth, and the cells before it on both banks.

    A place that is closed already costs infinitely much: nothing is to be laid there.
    """
    (rows, cols, closed), (k, shift) = way, place
    best, least = None, np.inf
    for i in sorted(range(max(0, k - shift), min(rows.size, k + shift + 1)), key=lambda i: abs(i - k)):
        r, c = int(rows[i]), int(cols[i])
        total, before = float(closed[i]), []
        for paid, _ in halves:
            price, q = cheapest_beside(paid, cost, (r, c), (cell_m, CORNER))
            total += price
            before.append(q)
        if total < least - 1e-9:
            best, least = ((r, c), before[0], before[1]), total
    return best


def _back(came: I64, at: int) -> tuple[I64, I64]:
    """Cells from a place back to where its way began."""
    cols = came.shape[1]
    out = []
    while at >= 0:
        out.append(at)
        at = int(came[at // cols, at % cols])
    cells = np.array(out, dtype=np.int64)
    return cells // cols, cells % cols


def _straight(cost: F64, row: F64, col: F64, cell_m: float) -> I64:
    """Corners that a line of cells needs: as few as cost no more than a little extra earth."""
    corners = [0, row.size - 1]
    whole = _earth(cost, row, col, cell_m)
    while _earth(cost, row[corners], col[corners], cell_m) > STRAIGHT * whole and len(corners) < row.size:
        # the cell farthest from the line so far becomes a corner (Douglas and Peucker 1973)
        far = [_off(row, col, a, b) for a, b in pairwise(corners)]
        corners = sorted([*corners, max(far)[1]])
    return np.array(corners, dtype=np.int64)


def _off(row: F64, col: F64, a: int, b: int) -> tuple[float, int]:
    if b - a < 2:
        return -1.0, a
    part = slice(a + 1, b)
    d_row, d_col = row[b] - row[a], col[b] - col[a]
    length = max(float(np.hypot(d_row, d_col)), 1e-9)
    off = np.abs((row[part] - row[a]) * d_col - (col[part] - col[a]) * d_row) / length
    return float(off.max()), a + 1 + int(np.argmax(off))


def _earth(cost: F64, row: F64, col: F64, cell_m: float) -> float:
    """Cost of a line of straight pieces."""
    d_row, d_col = np.diff(row), np.diff(col)
    length = np.hypot(d_row, d_col)
    n = np.maximum(2, np.ceil(2 * length).astype(np.int64) + 1)
    end = np.cumsum(n)
    # the ground of all pieces is asked at once: a line of cells has a piece for each of them
    k = np.repeat(np.arange(n.size), n)
    at = np.arange(k.size) - (end - n)[k]
    at_row, at_col = (way[:-1][k] + at * (d / (n - 1))[k] for way, d in ((row, d_row), (col, d_col)))
    at_row[end - 1], at_col[end - 1] = row[1:], col[1:]
    along = ndimage.map_coordinates(cost, [at_row, at_col], order=1)
    total = 0.0
    for begin, stop, m in zip((end - n).tolist(), end.tolist(), length.tolist(), strict=True):
        part = along[begin:stop]
        total += float(0.5 * (part[1:] + part[:-1]).sum()) * m / (stop - begin - 1) * cell_m
    return total


__all__ = ["Bank", "span"]
