"""Where ditches go: the cheapest way out of a hollow to a lower ditch, stream, slope or the edge, then straightened.

The way is found on 4 m cells with scikit-image's least-cost paths: ground above the hollow's spill is dear to cut
through, field edges are cheap. The bed is graded from the floor to where it ends. Nothing deeper than 2.4 m is dug.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from otherground.dig import Line, Section, dense, sample
from otherground.flood import Hollow, filled
from scipy import ndimage
from scipy.spatial import cKDTree
from skimage.graph import MCP_Geometric

from .land import Land
from .relief import COARSE, Grid, coarse

DEEPEST_M = 2.4
LEAST_FALL = 0.0003


@dataclass
class Net:
    """What is dug so far, and the coarse ground it is planned on."""

    z: Grid
    low: Grid
    brim: Grid
    hedge: NDArray[np.bool_]
    bed: Grid  # of ditches and streams on coarse cells [m], inf where there is none
    lines: list[Line] = field(default_factory=list)
    joins: list[int] = field(default_factory=list)  # of each line, how many end in it


def net_of(land: Land, edge_m: Grid) -> Net:
    """An empty net on a ground with its streams."""
    low = coarse(land.z)
    hedge = -coarse(-edge_m) < 3.5
    net = Net(land.z, low, coarse(filled(land.z)), hedge, np.full(low.shape, np.inf))
    for s in land.streams:
        _mark(net, s.at, s.bed_m)
    return net


def _mark(net: Net, at: Grid, bed: Grid) -> None:
    r, c = (np.clip((at[:, k] / COARSE).astype(int), 0, len(net.low) - 1) for k in (0, 1))
    np.minimum.at(net.bed, (r, c), bed)


def _simple(points: Grid, off_m: float) -> Grid:
    """Douglas & Peucker's broken line within a distance of the points."""
    if len(points) < 3:
        return points
    a, b = points[0], points[-1]
    way = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    off = np.abs((points - a) @ np.array([-way[1], way[0]]))
    k = int(np.argmax(off))
    if off[k] <= off_m:
        return np.stack([a, b])
    return np.concatenate([_simple(points[: k + 1], off_m)[:-1], _simple(points[k:], off_m)])


def _way_out(net: Net, h: Hollow, daylight: bool, crooked: bool) -> tuple[Grid, str] | None:
    """The cheapest way out of a hollow, and what it ends at."""
    n = len(net.low)
    start = tuple(int(np.clip(v // COARSE, 0, n - 1)) for v in h.floor_at)
    dear = 0.35 + 5.0 * np.clip(net.low - h.spill_m, 0, None) + 0.9 * np.clip(net.low - h.floor_m, 0, None)
    cost = np.clip(dear, 0.2, 60) * np.where(net.hedge & (not crooked), 0.55, 1.0)
    taken = np.isfinite(net.bed)
    cost[ndimage.binary_dilation(taken, iterations=4)] += 1.5  # no ditch beside a ditch
    goal = taken & (net.bed <= h.floor_m - 0.1)
    cost[taken & ~goal] = -1
    cost[start] = 0.3
    border = np.zeros_like(goal)
    border[[0, -1]] = border[:, [0, -1]] = True
    border &= (net.low <= h.floor_m + 1.2) & ~taken
    slope = (net.brim <= h.floor_m - 0.25) & ~taken if daylight else np.zeros_like(goal)
    ends = goal | border | slope
    if not ends.any() or taken[start]:
        return None
    mcp = MCP_Geometric(cost)
    costs, _ = mcp.find_costs([start])
    costs = np.where(border & ~goal, costs * 1.15 + 12, costs)
    best = np.where(ends, costs, np.inf)
    end = np.unravel_index(int(np.argmin(best)), best.shape)
    if not np.isfinite(best[end]):
        return None
    path = np.array(mcp.traceback(end), float) * COARSE + (COARSE - 1) / 2
    kind = "ditch" if goal[end] else "edge" if border[end] else "slope"
    return path, kind


def _grade(rng: Generator, net: Net, h: Hollow, at: Grid, kind: str) -> Grid | None:
    """Bed along a way, or None when it cannot fall or lies too deep."""
    ground, s = sample(net.z, at), np.arange(len(at)) / 2
    first = h.floor_m - rng.uniform(0.08, 0.3)
    if kind == "ditch":
        end = tuple(np.clip((at[-1] / COARSE).astype(int), 0, len(net.low) - 1))
        box = tuple(slice(max(0, v - 1), v + 2) for v in end)
        last = float(net.bed[box].min()) + 0.03
    elif kind == "edge":
        last = min(first - LEAST_FALL * s[-1], ground[-1] - rng.uniform(0.7, 1.2))
        last = max(last, first - 0.004 * s[-1])
    else:
        last = float(ground[-1]) - 0.05
    if last > first - LEAST_FALL * s[-1]:
        return None
    bed = np.interp(s, [0, s[-1]], [first, last])
    wet = ground < h.spill_m
    bed = np.where(wet & (s < 15), bed, np.minimum(bed, ground - 0.3))
    if kind == "slope":
        tail = np.clip((s[-1] - s) / 12, 0, 1)
        bed = bed * tail + (1 - tail) * np.maximum(bed, ground - 0.05)
    bed = np.maximum(np.minimum.accumulate(bed), last if kind == "ditch" else -np.inf)
    return bed if float((ground - bed).max()) <= DEEPEST_M else None


def _clear_of_lines(net: Net, at: Grid, kind: str) -> Grid | None:
    """A straightened way must not cross another line before its end; cut short where it first meets one."""
    others = [x.at for x in net.lines]
    if not others:
        return at
    d, _ = cKDTree(np.concatenate(others)).query(at)
    hit = np.nonzero(d < 1.5)[0]
    if len(hit):
        return at[: hit[0] + 1] if kind == "ditch" and hit[0] > 20 else None
    return None if (d[: max(len(d) - 24, 1)] < 5).any() and kind != "ditch" else at


def lead(rng: Generator, net: Net, h: Hollow, style: str) -> bool:
    """Lead a ditch out of a hollow; styles: straight, crooked (a deepened natural outlet) or cut (ends on a slope)."""
    crooked = style == "crooked"
    found = _way_out(net, h, style == "cut" or crooked, crooked)
    if found is None:
        return False
    path, kind = found
    path[0] = h.floor_at
    points = _simple(path, 3.0 if crooked else rng.uniform(7, 14))
    if len(points) > 1 and not crooked and rng.random() < 0.6:  # the head runs on through the pool
        way = points[0] - points[1]
        head = points[0] + way / max(float(np.hypot(*way)), 1e-9) * rng.uniform(4, 25)
        inside = (head > 2).all() and (head < len(net.z) - 3).all()
        if inside and sample(net.z, head[None])[0] < h.spill_m - 0.05:
            points = np.concatenate([head[None], points])
    at = dense(points)
    soft = ndimage.gaussian_filter1d(at, 12 if crooked else 4, axis=0, mode="nearest")
    if crooked:
        soft += ndimage.gaussian_filter1d(rng.normal(0, 6, at.shape), 14, axis=0, mode="nearest")
    soft[-1] = at[-1]
    clear = _clear_of_lines(net, soft, kind)
    bed = None if clear is None or len(clear) < 40 else _grade(rng, net, h, clear, kind)
    if clear is None or bed is None:
        return False
    _note_join(net, clear[-1], kind)
    net.lines.append(Line("crooked" if crooked else "ditch", clear, bed, Section(1.0, 1.5), h.number, {kind: 1.0}))
    net.joins.append(0)
    _mark(net, clear, bed)
    return True


def _note_join(net: Net, end: Grid, kind: str) -> None:
    if kind != "ditch" or not net.lines:
        return
    d = [float(np.hypot(*(x.at - end).T).min()) for x in net.lines]
    k = int(np.argmin(d))
    if d[k] < 8:
        net.joins[k] += 1


def sections(rng: Generator, net: Net, old: float) -> list[Line]:
    """Give each line its cross section: mains are wider than field ditches, a share is old, silted and flat-sided."""
    out = []
    for line, joins in zip(net.lines, net.joins, strict=True):
        aged = bool(rng.random() < old)
        width = rng.uniform(1.2, 2.5) if joins else rng.uniform(0.5, 1.3)
        side = rng.uniform(3.0, 6.0) if aged else rng.uniform(1.3, 2.0)
        cut = sample(net.z, line.at) - line.bed_m
        if aged:
            side = min(side, max(3.0, 7.0 / max(float(cut.max()), 0.1)))
        high = rng.uniform(0.1, 0.35, 2) * (0.6 if aged else 1.0) * (rng.random(2) < 0.55)
        bed = line.bed_m
        if aged:
            silt = ndimage.gaussian_filter1d(rng.standard_normal(len(bed)), 30, mode="reflect")
            bed = np.minimum.accumulate(bed + 0.05 * np.clip(silt / max(silt.std(), 1e-9), 0, 2) * (cut > 0.5))
        section = Section(float(width), float(side), (float(high[0]), float(high[1])), aged)
        out.append(Line(line.kind, line.at, bed, section, line.target, line.notes))
    return out
