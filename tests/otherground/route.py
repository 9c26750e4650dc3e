"""Where a contractor would dig: the way of least digging to a place that is low enough, in straight legs."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from skimage.graph import MCP_Geometric
from skimage.measure import approximate_polygon

from .dig import dense, sample

Grid = NDArray[np.float64]
STEP_M = 5  # cell of the routing grid


@dataclass(frozen=True)
class Limits:
    """What a contractor accepts: deepest cut [m], least fall, bed below the floor at the head [m], how crooked [m]."""

    deepest_m: float = 3.4
    fall: float = 0.0005
    below_floor_m: float = 0.4
    slack_m: float = 12.0


@dataclass(frozen=True)
class Outlets:
    """Bed level [m] of what already carries water, on the routing grid (inf: nothing there)."""

    bed_m: Grid


def coarse(z: Grid) -> Grid:
    """Means on the routing grid."""
    n = z.shape[0] // STEP_M * STEP_M
    return np.asarray(z[:n, :n].reshape(n // STEP_M, STEP_M, n // STEP_M, STEP_M).mean((1, 3)))


def graded(z: Grid, at: Grid, start_m: float, end_m: float, limits: Limits) -> Grid:
    """A bed that falls all the way: no shallower than 0.4 m where there is fall to spare, ending at `end_m`."""
    s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(at, axis=0).T))])
    upper = np.minimum.accumulate(np.minimum(start_m - limits.fall * s, sample(z, at) - 0.4))
    lower = end_m + limits.fall * (s[-1] - s)
    return np.maximum(upper, lower)


def _legs(path: Grid, slack_m: float) -> Grid:
    legs = approximate_polygon(path, slack_m)
    return dense(legs)


def _depth(z: Grid, at: Grid, bed: Grid) -> float:
    return float(np.max(sample(z, at) - bed))


def to_outlet(
    z: Grid, from_at: tuple[float, float], floor_m: float, outlets: Outlets, limits: Limits
) -> tuple[Grid, Grid] | None:
    """Stations and bed from a floor to the cheapest outlet (ditch, stream, sheet's edge, lower ground), or None."""
    g = coarse(z)
    start_m = floor_m - limits.below_floor_m
    cut = np.clip(g - start_m, 0, None)
    cost = 1.0 + 3.0 * cut**1.5
    here = tuple(min(int(v / STEP_M), g.shape[0] - 1) for v in from_at)
    mcp = MCP_Geometric(cost)
    total, _ = mcp.find_costs([here])
    rr, cc = np.mgrid[: g.shape[0], : g.shape[1]]
    away = np.hypot(rr - here[0], cc - here[1]) * STEP_M * 1.15
    need = start_m - limits.fall * away - 0.05
    border = (rr == 0) | (cc == 0) | (rr == g.shape[0] - 1) | (cc == g.shape[1] - 1)
    daylight = (g < need - 0.25) & (away > 60)
    low = np.where(np.isfinite(outlets.bed_m), outlets.bed_m <= need, daylight | (border & (cut < limits.deepest_m)))
    if not low.any():
        return None
    goal = np.unravel_index(int(np.argmin(np.where(low, total, np.inf))), g.shape)
    cells = np.array(mcp.traceback(goal), float)
    met = [k for k, (r, c) in enumerate(cells.astype(int)) if np.isfinite(outlets.bed_m[r, c])]
    if met and met[0] < len(cells) - 1:
        cells = cells[: met[0] + 1]
        goal = (int(cells[-1][0]), int(cells[-1][1]))
        if outlets.bed_m[goal] > need[goal]:
            return None
    path = cells * STEP_M + (STEP_M - 1) / 2
    path[0] = from_at
    if border[goal]:
        last = path[-1]
        edges = np.array([[-1, last[1]], [z.shape[0], last[1]], [last[0], -1], [last[0], z.shape[0]]])
        path = np.vstack([path, edges[np.argmin(np.abs(edges - last).sum(1))]])
    return _finish(z, path, start_m, float(outlets.bed_m[goal]), limits)


def _finish(z: Grid, path: Grid, start_m: float, outlet_m: float, limits: Limits) -> tuple[Grid, Grid] | None:
    for slack in (limits.slack_m, limits.slack_m / 2, 3.0):
        at = _legs(path, slack)
        if len(at) < 30:
            return None
        length = len(at) * 0.5
        end = (
            outlet_m
            if np.isfinite(outlet_m)
            else min(start_m - limits.fall * length, float(sample(z, at[-1:])[0]) - 0.1)
        )
        if end > start_m - limits.fall * length + 0.03:
            continue
        bed = graded(z, at, start_m, end, limits)
        if _depth(z, at, bed) <= limits.deepest_m:
            return at, bed
    return None


def through(z: Grid, stops: list[tuple[float, float, float]], limits: Limits) -> tuple[Grid, Grid] | None:
    """A collector through floors (row, col, floor), head first, to the sheet's edge; None if it gets too deep."""
    g = coarse(z)
    mean = float(np.median([s[2] for s in stops]))
    cost = 1.0 + 2.0 * np.clip(g - mean + 0.5, 0, None) ** 1.5
    path: list[Grid] = []
    for a, b in pairwise(stops):
        ends = [tuple(int(np.clip(v / STEP_M, 0, g.shape[0] - 1)) for v in s[:2]) for s in (a, b)]
        mcp = MCP_Geometric(cost)
        mcp.find_costs([ends[0]], [ends[1]])
        leg = np.array(mcp.traceback(ends[1]), float) * STEP_M + (STEP_M - 1) / 2
        leg[0], leg[-1] = a[:2], b[:2]
        path.append(approximate_polygon(leg, limits.slack_m))
    at = dense(np.vstack(path))
    s = np.arange(len(at)) * 0.5
    asked = sample(z, at) - 0.5
    for row, col, floor in stops:
        k = int(np.argmin(np.hypot(at[:, 0] - row, at[:, 1] - col)))
        asked[k] = min(asked[k], floor - limits.below_floor_m)
    bed = np.minimum.accumulate(asked + limits.fall * s) - limits.fall * s
    return None if _depth(z, at, bed) > limits.deepest_m else (at, bed)


def down_the_low(z: Grid, path: Grid, start_m: float, limits: Limits) -> tuple[Grid, Grid] | None:
    """A natural outlet deepened along its own crooked way, until the bed comes out on lower ground."""
    at = dense(path)
    s = np.arange(len(at)) * 0.5
    ground = sample(z, at)
    bed = np.minimum.accumulate(np.minimum(start_m - limits.fall * s, ground - 0.15))
    out = np.flatnonzero((ground - bed < 0.2) & (s > 30))
    keep = int(out[0]) + 1 if out.size else len(at)
    if not out.size or _depth(z, at[:keep], bed[:keep]) > limits.deepest_m:
        return None
    return at[:keep], bed[:keep]
