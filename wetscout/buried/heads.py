"""Open ditches that begin abruptly: where a covered pipe may come out."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.kernels.along import middle
from wetscout.kernels.blur import lowest_around
from wetscout.records import F32, F64, FILL, U8, Ditch, Surfaces
from wetscout.settings.buried import BuriedSettings

# the depth of a ditch is read as the deepest cell within this distance of its line
_NEAR_M = 2.0
# its depth is looked at over this length below its head and above it; usual depth and direction over the first part
_BELOW_M = 50
_ABOVE_M = 14
_TYPICAL_M = 30
_TURN_M = 20
_SHORTEST_M = 18
# a ditch begins only where it is not as deep again over the second length within the first above its head
_PASSES_M = 50
_GOES_ON_M = 10
# a bed that rises by more than this from its head is no drain's
_RISE_M = 0.15


@dataclass(frozen=True)
class Head:
    """An abrupt head.

    Attributes
    ----------
    row, col : float
        Where full depth begins [cells].
    up_row, up_col : float
        Unit vector up the ditch, away from it.
    depth_m, bed_m : float
        Usual depth and bed soon below the head [m].
    ditch_id : int
    """

    row: float
    col: float
    up_row: float
    up_col: float
    depth_m: float
    bed_m: float
    ditch_id: int


def cut_depth(surfaces: Surfaces, cell_m: float, each: Callable[..., Any] = map) -> F32:
    """Depth of ground below the natural surface, the deepest within 2 m [m].

    Parameters
    ----------
    surfaces : Surfaces
    cell_m : float
        Cell size [m].
    each : callable, optional
        Calls a function on each of many things; one by one by default.

    Returns
    -------
    float32 (rows, cols)
        0 where nothing was cut.
    """
    half = max(1, round(_NEAR_M / cell_m))
    out: F32 = large.empty(surfaces.natural.shape, np.float32)

    def deepest(strip: tuple[slice, slice, slice]) -> None:
        own, read, inner = strip
        natural = surfaces.natural[read]
        depth = np.where(np.isfinite(natural), natural - surfaces.smooth[read], 0.0)
        out[own] = -lowest_around(-depth.astype(np.float32), half)[inner]

    deque(each(deepest, large.strips((out.shape[0], out.shape[1]), half)), maxlen=0)
    return out


def _lowest(ground: F32, cell_m: float) -> F32:
    """Lowest known ground within 2 m [m]."""
    half = max(1, round(_NEAR_M / cell_m))
    out: F32 = large.empty(ground.shape, np.float32)
    for own, read, inner in large.strips((out.shape[0], out.shape[1]), half):
        part = np.where(np.isfinite(ground[read]), ground[read], np.inf).astype(np.float32)
        out[own] = lowest_around(part, half)[inner]
    return out


def _along(depth: F32, row: F64, col: F64) -> F64:
    r = np.clip(np.floor(row + 0.5).astype(np.int64), 0, depth.shape[0] - 1)
    c = np.clip(np.floor(col + 0.5).astype(np.int64), 0, depth.shape[1] - 1)
    out: F64 = depth[r, c].astype(np.float64)
    return out


def _profile(ditch: Ditch, depth: F32, cell_m: float) -> tuple[F64, F64, F64]:
    """Stations a metre apart along a line and straight on beyond both ends, and the depth at them [cells, m]."""
    at = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(ditch.row), np.diff(ditch.col)))]) * cell_m
    n = max(2, round(at[-1]) + 1)
    where = np.linspace(0.0, at[-1], n)
    row, col = np.interp(where, at, ditch.row), np.interp(where, at, ditch.col)
    k = min(n - 1, _TURN_M)
    out = np.arange(1.0, _ABOVE_M + _NEAR_M + 4.0)
    ends = []
    for end, inner in ((0, k), (n - 1, n - 1 - k)):
        d_row, d_col = row[end] - row[inner], col[end] - col[inner]
        size = max(float(np.hypot(d_row, d_col)), 1e-9) * cell_m
        ends.append((row[end] + d_row / size * out, col[end] + d_col / size * out))
    row = np.concatenate([ends[0][0][::-1], row, ends[1][0]])
    col = np.concatenate([ends[0][1][::-1], col, ends[1][1]])
    return row, col, _along(depth, row, col)


def _heads(ditch: Ditch, depth: F32, ground: F32, cell_m: float, s: BuriedSettings) -> list[Head]:
    """Abrupt heads of one line, read in both directions: lines may run on up a faint trough, or be drawn through."""
    if ditch.row.size < 2:
        return []
    row, col, dug = _profile(ditch, depth, cell_m)
    bed = _along(ground, row, col)
    found = []
    for turned in (False, True):
        r, c, d, b = (v[::-1] if turned else v for v in (row, col, dug, bed))
        i = _abrupt(d, s)
        if i is None:
            continue
        j = min(i + _TURN_M, d.size - 1)
        low, lower = (middle(b[k : k + _TURN_M]) for k in (i, i + _TURN_M))
        if lower > low + _RISE_M:
            # it falls towards its blind end: water goes in there, an inlet
            continue
        up_row, up_col = r[i] - r[j], c[i] - c[j]
        size = max(float(np.hypot(up_row, up_col)), 1e-9)
        usual = float(middle(d[i + 3 : i + _BELOW_M]))
        found.append(Head(float(r[i]), float(c[i]), up_row / size, up_col / size, usual, float(low), ditch.ditch_id))
    return found


def _abrupt(dug: F64, s: BuriedSettings) -> int | None:
    """First station at which full depth begins within a few metres of nothing."""
    gap = round(_NEAR_M) + 3
    for i in _may_begin(dug, gap, s).tolist():
        below = dug[i + 3 : i + _BELOW_M]
        usual = float(middle(below[:_TYPICAL_M]))
        above = dug[max(0, i - gap - _ABOVE_M) : i - gap + 1]
        soon = float(dug[i : i + round(s.head_run_m)].max())
        full = usual >= s.head_depth_m and soon >= 0.8 * usual and float(middle(above)) <= s.head_share * usual
        # one that is as deep again soon after passes a crossing, or a yard
        if full and np.count_nonzero(dug[max(0, i - _PASSES_M) : i - gap] >= 0.8 * usual) < _GOES_ON_M:
            return int(i)
    return None


def _may_begin(dug: F64, gap: int, s: BuriedSettings) -> NDArray[np.int64]:
    """Deep stations with enough deep ones below them and, half of those above them, next to nothing, by counts."""
    i = np.flatnonzero(dug >= 0.8 * s.head_depth_m)
    i = i[(i >= gap + _ABOVE_M // 2) & (np.minimum(i + _BELOW_M, dug.size) - i - 3 >= _SHORTEST_M)]
    share = _count(dug >= 0.5 * s.head_depth_m, i + 3, i + _BELOW_M)
    i = i[~(share < 0.8)]
    # the median above can only lie that low where half of the values do
    little = dug <= s.head_share * np.nanmax(dug, initial=0.0)
    out: NDArray[np.int64] = i[_count(little, np.maximum(0, i - gap - _ABOVE_M), i - gap + 1) >= 0.5]
    return out


def _count(hit: NDArray[np.bool_], first: NDArray[np.int64], stop: NDArray[np.int64]) -> F64:
    """Share of hits in ranges of stations."""
    total = np.concatenate([[0], np.cumsum(hit)])
    stop = np.minimum(stop, hit.size)
    out: F64 = (total[stop] - total[first]) / (stop - first)
    return out


def abrupt_heads(
    ditches: Iterable[Ditch], surfaces: Surfaces, depth: F32, cell_m: float, s: BuriedSettings
) -> tuple[Head, ...]:
    """Heads of open ditches at which full depth is reached within a few metres.

    Parameters
    ----------
    ditches : iterable of Ditch
        Listed ones, and deep ones that are not.
    surfaces : Surfaces
    depth : float32 (rows, cols)
        How deep cuts show in the ground, as `cut_depth` tells [m].
    cell_m : float
        Cell size [m].
    s : BuriedSettings

    Returns
    -------
    tuple of Head
        In the order of the ditches.
    """
    low = _lowest(surfaces.smooth, cell_m)
    other = ("natural stream", "grassed waterway")
    wanted = (d for d in ditches if d.kind not in other and (d.sure or d.depth_m >= 2.0 * s.head_depth_m))
    found = ((ditch, head) for ditch in wanted for head in _heads(ditch, depth, low, cell_m, s))
    return tuple(h for d, h in found if d.kind != "roadside" or not road_at(h.row, h.col, surfaces.corridor, cell_m, s))


def road_at(row: float, col: float, corridor: U8, cell_m: float, s: BuriedSettings) -> bool:
    """Whether a road lies beside the head of a ditch: ditches along it begin where the road's own need begins.

    The line as a whole may run along a road far off, or along its own spoil, which begins where it begins; a road goes
    on past the head.

    Parameters
    ----------
    row, col : float
        [cells].
    corridor : uint8 (rows, cols)
    cell_m : float
        Cell size [m].
    s : BuriedSettings
        `head_road_m`.

    Returns
    -------
    bool
    """
    reach = s.head_road_m / cell_m
    r0, c0 = max(0, math.ceil(row - reach)), max(0, math.ceil(col - reach))
    part = corridor[r0 : math.floor(row + reach) + 1, c0 : math.floor(col + reach) + 1]
    rows, cols = np.nonzero(part & FILL)
    return bool((np.hypot(rows + r0 - row, cols + c0 - col) <= reach).any())
