"""Cut lines into the ground at half-metre cells: ditches with banks, spoil and age; road fill; ponds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

Grid = NDArray[np.float64]
FINE = 2  # fine cells a metre
REACH_M = 26.0


@dataclass(frozen=True)
class Section:
    """Cross section of a ditch: bed width, side slope (run a rise), spoil left and right [m], age 0 new - 1 old."""

    bed_width_m: float
    side: float
    spoil_m: tuple[float, float] = (0.0, 0.0)
    old: bool = False


@dataclass(frozen=True)
class Line:
    """A dug line: stations (row, col) on 1 m cells a half metre apart, downstream, and its bed."""

    kind: str
    at: Grid
    bed_m: Grid
    section: Section
    target: int = -1
    notes: dict[str, float] = field(default_factory=dict)

    @property
    def length_m(self) -> float:
        """Length along the line [m]."""
        return float(np.hypot(*np.diff(self.at, axis=0).T).sum())


def dense(points: Grid, step_m: float = 0.5) -> Grid:
    """Stations at equal steps along a broken line."""
    points = np.asarray(points, float)
    s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    t = np.arange(0, s[-1] + 1e-9, step_m)
    return np.stack([np.interp(t, s, points[:, 0]), np.interp(t, s, points[:, 1])], 1)


def sample(z: Grid, at: Grid) -> Grid:
    """Heights at positions on 1 m cells, bilinear."""
    return np.asarray(ndimage.map_coordinates(z, at.T, order=1, mode="nearest"))


def finer(z: Grid) -> Grid:
    """1 m cells to fine cells."""
    n = z.shape[0]
    t = (np.arange(n * FINE) + 0.5) / FINE - 0.5
    rr, cc = np.meshgrid(t, t, indexing="ij")
    return np.asarray(ndimage.map_coordinates(z, [rr, cc], order=1, mode="nearest"))


@dataclass(frozen=True)
class Near:
    """Cells of a window near a piece of a line: distance [m], nearest station, side (-1 left, 1 right)."""

    window: tuple[slice, slice]
    far: Grid
    who: NDArray[np.int64]
    side: Grid


def near(shape: tuple[int, int], at: Grid, reach_m: float = REACH_M) -> Iterator[Near]:
    """Windows along a line with the nearest of all its stations; windows may overlap (what is done must not add up)."""
    tree = cKDTree(at)
    tangent = np.gradient(ndimage.gaussian_filter1d(at, 4, axis=0, mode="nearest"), axis=0)
    for k in range(0, len(at), 80):
        part = at[k : k + 80]
        lo = np.floor((part.min(0) - reach_m) * FINE).astype(int)
        hi = np.ceil((part.max(0) + reach_m) * FINE).astype(int)
        r0, c0 = max(lo[0], 0), max(lo[1], 0)
        r1, c1 = min(hi[0], shape[0]), min(hi[1], shape[1])
        if r1 <= r0 or c1 <= c0:
            continue
        rr, cc = np.mgrid[r0:r1, c0:c1]
        p = (np.stack([rr.ravel(), cc.ravel()], 1) + 0.5) / FINE - 0.5
        far, who = tree.query(p, distance_upper_bound=reach_m)
        who = np.where(np.isfinite(far), who, 0)
        off = p - at[who]
        turn = tangent[who, 0] * off[:, 1] - tangent[who, 1] * off[:, 0]
        yield Near(
            (slice(r0, r1), slice(c0, c1)),
            far.reshape(rr.shape),
            who.reshape(rr.shape),
            np.sign(turn).reshape(rr.shape),
        )


def carve(z: Grid, line: Line) -> None:
    """Take a ditch out of the ground, in place."""
    half = line.section.bed_width_m / 2
    for w in near(z.shape, line.at):
        side = line.bed_m[w.who] + np.clip(w.far - half, 0, None) / line.section.side
        z[w.window] = np.where(np.isfinite(w.far), np.minimum(z[w.window], side), z[w.window])


def lay_spoil(rng: Generator, z: Grid, line: Line, ground: Grid) -> None:
    """Lay the soil beside the ditch, with gaps; the ends stay free. Once a line: stations own their cells."""
    if not any(line.section.spoil_m):
        return
    n = len(line.at)
    on = np.ones(n)
    at = 30
    while at < n:  # a gap of 4-8 m every 25-60 m
        on[at : at + int(rng.uniform(8, 16))] = 0
        at += int(rng.uniform(50, 120))
    on[:20], on[-20:] = 0, 0
    on = ndimage.gaussian_filter1d(on, 2.5) * np.clip(
        1 + 0.25 * ndimage.gaussian_filter1d(rng.normal(0, 4, n), 12), 0.4, 1.5
    )
    edge = line.section.bed_width_m / 2 + np.clip(sample(ground, line.at) - line.bed_m, 0, None) * line.section.side
    mid = edge + rng.uniform(1.5, 2.5)
    wide = rng.uniform(1.6, 2.6)
    heap = np.zeros_like(z)
    for w in near(z.shape, line.at):
        left, right = line.section.spoil_m
        high = np.where(w.side < 0, left, right) * on[w.who] * np.clip(1 - ((w.far - mid[w.who]) / wide) ** 2, 0, None)
        heap[w.window] = np.maximum(heap[w.window], np.where(np.isfinite(w.far), high, 0))
    z += heap


def weather(z: Grid, line: Line) -> None:
    """Round an old ditch and its strip, in place."""
    if not line.section.old:
        return
    soft = {}
    for k, w in enumerate(near(z.shape, line.at, 14.0)):
        soft[k] = (w, ndimage.gaussian_filter(z[w.window], 1.0 * FINE, mode="nearest"))
    for w, low in soft.values():
        blend = np.clip((11 - w.far) / 4, 0, 1)
        z[w.window] = np.where(np.isfinite(w.far), z[w.window] * (1 - blend) + low * blend, z[w.window])


@dataclass(frozen=True)
class Road:
    """Fill along a line: crest level, half width of the top; `open_at` are bridge places left free."""

    at: Grid
    crest_m: Grid
    half_m: float
    open_at: Grid


def raise_road(z: Grid, road: Road) -> None:
    """Put road fill on the ground, in place, over whatever lies beneath."""
    bridges = cKDTree(road.open_at) if len(road.open_at) else None
    for w in near(z.shape, road.at):
        fill = road.crest_m[w.who] - np.clip(w.far - road.half_m, 0, None) / 2.0
        new = np.where(np.isfinite(w.far), np.maximum(z[w.window], fill), z[w.window])
        if bridges is not None:
            rr, cc = np.mgrid[w.window[0], w.window[1]]
            gap, _ = bridges.query((np.stack([rr.ravel(), cc.ravel()], 1) + 0.5) / FINE - 0.5)
            new = np.where(gap.reshape(rr.shape) < 5.0, z[w.window], new)
        z[w.window] = new


def dig_pond(rng: Generator, z: Grid, at: tuple[float, float]) -> None:
    """A dug pond: boxy, steep, its soil along one side."""
    a, b = rng.uniform(8, 16), rng.uniform(8, 16)
    turn, deep = rng.uniform(0, np.pi), rng.uniform(1.3, 2.4)
    half = 40
    r, c = (int(v * FINE) for v in at)
    r0, r1, c0, c1 = r - half * FINE, r + half * FINE, c - half * FINE, c + half * FINE
    if min(r0, c0) < 0 or max(r1, c1) > z.shape[0]:
        return
    rr, cc = (np.mgrid[r0:r1, c0:c1] + 0.5) / FINE - 0.5
    u = (rr - at[0]) * np.cos(turn) + (cc - at[1]) * np.sin(turn)
    v = -(rr - at[0]) * np.sin(turn) + (cc - at[1]) * np.cos(turn)
    out = (np.abs(u / a) ** 4 + np.abs(v / b) ** 4) ** 0.25
    level = float(np.median(z[r0:r1, c0:c1][out < 1.1]))
    pit = level - deep + np.clip(out - 0.7, 0, None) * min(a, b) / 2.0
    heap = 0.6 * np.clip(1 - ((u - a - 5) / 3) ** 2, 0, None) * (np.abs(v) < b)
    z[r0:r1, c0:c1] = np.minimum(z[r0:r1, c0:c1] + heap, np.where(out < 3, pit, np.inf))
