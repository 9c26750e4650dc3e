"""Things that look like a drain or a drained basin and are none. Each is put on ground where nobody drained a hollow;
what lies in its footprint is counted: offered or not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage

from .dig import FINE, Line, Road, Section, carve, dense, lay_spoil, near, raise_road, sample
from .flood import hollows, pool_of

Grid = NDArray[np.float64]
HALF_M = 90  # a specimen keeps inside a square of twice this


@dataclass(frozen=True)
class Spot:
    """Where a specimen may stand: middle and the direction down the slope (row, col) on 1 m cells."""

    at: tuple[float, float]
    down: tuple[float, float]

    def to(self, along_m: Grid | float, across_m: Grid | float) -> Grid:
        """Positions so far down the slope and to its left."""
        along, across = np.broadcast_arrays(np.asarray(along_m, float), np.asarray(across_m, float))
        row = self.at[0] + along * self.down[0] - across * self.down[1]
        col = self.at[1] + along * self.down[1] + across * self.down[0]
        return np.stack([row, col], -1)


@dataclass(frozen=True)
class Specimen:
    """One thing that is no drained basin: its kind and place."""

    kind: str
    at: tuple[float, float]


def _local(fine: Grid, spot: Spot) -> tuple[tuple[slice, slice], Grid, Grid]:
    """Window of fine cells round a spot with metres down the slope and to its left."""
    r, c = (int(v * FINE) for v in spot.at)
    w = (slice(r - HALF_M * FINE, r + HALF_M * FINE), slice(c - HALF_M * FINE, c + HALF_M * FINE))
    rr, cc = (np.mgrid[w] + 0.5) / FINE - 0.5
    dr, dc = rr - spot.at[0], cc - spot.at[1]
    return w, dr * spot.down[0] + dc * spot.down[1], -dr * spot.down[1] + dc * spot.down[0]


def _ridge(d: Grid, wide_m: float) -> Grid:
    """A rounded bank: 1 in the middle, 0 beyond its half width."""
    return np.clip(1 - (d / wide_m) ** 2, 0, None)


def terrace(rng: Generator, fine: Grid, z: Grid, spot: Spot) -> None:
    """Three banks across the slope, each with the channel above it and a riser basin scooped at its middle."""
    w, down, across = _local(fine, spot)
    for k in (-1, 0, 1):
        d = down - k * rng.uniform(26, 34) - 0.0008 * across**2
        on = np.clip((65 - np.abs(across)) / 8, 0, 1)
        fine[w] += on * (rng.uniform(0.4, 0.8) * _ridge(d, 4.0) - rng.uniform(0.2, 0.4) * _ridge(d + 6, 4.0))
        fine[w] -= rng.uniform(0.2, 0.5) * _ridge(np.hypot(d + 6, across - rng.uniform(-25, 25)), 7.0)


def waterway(rng: Generator, fine: Grid, z: Grid, spot: Spot) -> None:
    """A broad, shallow, grassed channel down the slope."""
    w, down, across = _local(fine, spot)
    bend = across - 8 * np.sin(down / 40)
    on = np.clip((80 - np.abs(down)) / 15, 0, 1)
    fine[w] -= on * rng.uniform(0.3, 0.6) * _ridge(bend, rng.uniform(5, 9))


def pond_dam(rng: Generator, fine: Grid, z: Grid, spot: Spot) -> None:
    """A small dam across a scooped draw, water held behind it, a spillway cut round one end."""
    w, down, across = _local(fine, spot)
    fine[w] -= 1.2 * np.exp(-((across / 14) ** 2)) * np.clip((80 - np.abs(down)) / 40, 0, 1)
    r, c = (int(v) for v in spot.to(0.0, 0.0) * FINE)
    foot = float(fine[r, c])
    crest = foot + rng.uniform(1.6, 2.6)
    bank = crest - np.clip(np.abs(down) - 1.5, 0, None) / 2.5
    fine[w] = np.where(np.abs(across) < 45, np.maximum(fine[w], bank), fine[w])
    way = spot.to(np.linspace(-25, 45, 60), 38 + 6 * np.sin(np.linspace(0, 3, 60)))
    at = dense(way)
    bed = np.minimum.accumulate(np.minimum(crest - 0.6, sample(z, at) + 0.1) - 0.01 * np.arange(len(at)) * 0.5)
    carve(fine, Line("spillway", at, bed, Section(3.0, 3.0)))
    pool = (down < 0) & (np.abs(across) < 60) & (fine[w] < crest - 1.0)
    fine[w] = np.where(pool, np.maximum(fine[w], crest - 1.0), fine[w])  # water at survey


def borrow_pit(rng: Generator, fine: Grid, z: Grid, spot: Spot) -> None:
    """A pit beside a road, its low side cut out to the roadside ditch."""
    w, down, across = _local(fine, spot)
    a, b = rng.uniform(15, 28), rng.uniform(10, 18)
    out = (np.abs(down / a) ** 4 + np.abs(across / b) ** 4) ** 0.25
    level = float(np.median(fine[w][out < 1]))
    deep = rng.uniform(0.8, 1.8)
    fine[w] = np.minimum(fine[w], level - deep + np.clip(out - 0.8, 0, None) * min(a, b) / 2.0)
    if rng.random() < 0.5:
        at = dense(spot.to(np.linspace(a * 0.7, 85, 40), 0.0))
        bed = np.minimum.accumulate(np.minimum(level - deep - 0.1, sample(z, at) - 0.3))
        carve(fine, Line("pit drain", at, bed, Section(0.8, 1.5)))


def railway(rng: Generator, fine: Grid, z: Grid, spot: Spot) -> None:
    """A level bed on fill and in cutting, side ditches where it is cut."""
    at = dense(spot.to(0.25 * np.linspace(-85, 85, 80), np.linspace(-85, 85, 80)))
    ground = sample(z, at)
    crest = np.full(len(at), float(np.quantile(ground, 0.7))) + rng.uniform(0.4, 1.2)
    for w in near(fine.shape, at, 20.0):
        cut = np.maximum(crest[w.who] - 0.9, crest[w.who] - 0.9 + np.clip(w.far - 6, 0, None) / 1.5)
        fine[w.window] = np.where(np.isfinite(w.far), np.minimum(fine[w.window], cut), fine[w.window])
    raise_road(fine, Road(at, crest, 2.2, np.empty((0, 2))))


def canal(rng: Generator, fine: Grid, z: Grid, spot: Spot) -> None:
    """An irrigation canal along the slope between two banks; its bed lies near the ground."""
    s = np.linspace(-85, 85, 120)
    at = dense(spot.to(6 * np.sin(s / 35), s))
    ground = ndimage.gaussian_filter1d(sample(z, at), 40)
    bed = np.linspace(ground.mean() + 0.1, ground.mean() - 0.05, len(at)) - rng.uniform(0.2, 0.5)
    half, bank = rng.uniform(1.2, 2.5), rng.uniform(0.9, 1.4)
    for w in near(fine.shape, at, 16.0):
        side = bed[w.who] + np.clip(w.far - half, 0, None) / 1.5
        ring = bed[w.who] + bank - np.clip(np.abs(w.far - half - 1.5 * bank - 1.2) - 1.2, 0, None) / 2.0
        new = np.where(w.far < half + 1.5 * bank, side, np.maximum(fine[w.window], ring))
        fine[w.window] = np.where(np.isfinite(w.far), new, fine[w.window])


def _scoop(rng: Generator, fine: Grid, spot: Spot, deep: float) -> tuple[float, float]:
    """A round hollow with a rim a little above the ground; its floor and rim level."""
    w, down, across = _local(fine, spot)
    r = rng.uniform(22, 34)
    x = np.hypot(down, across * rng.uniform(0.8, 1.2)) / r
    level = float(np.median(fine[w][x < 1.2]))
    bowl = level - deep * np.clip(1 - x**2, 0, None)
    fine[w] = np.where(x < 1.3, np.minimum(bowl, level) * (x < 1) + np.maximum(fine[w], level) * (x >= 1), fine[w])
    return level - deep, level


def plugged(rng: Generator, fine: Grid, z: Grid, spot: Spot) -> None:
    """A hollow whose ditch was plugged at the rim; the rest of the ditch still shows."""
    floor, level = _scoop(rng, fine, spot, rng.uniform(0.5, 0.9))
    at = dense(spot.to(np.linspace(0, 88, 60), 0.0))
    bed = np.minimum.accumulate(np.minimum(floor - 0.2 - 0.001 * np.arange(len(at)), sample(z, at) - 0.3))
    line = Line("old ditch", at, bed, Section(1.0, 2.0, (0.2, 0.0)))
    lay_spoil(rng, fine, line, z)
    carve(fine, line)
    w, down, across = _local(fine, spot)
    plug = level + 0.3 - np.clip(np.abs(down - 38) - 8, 0, None) / 4 - np.clip(np.abs(across) - 9, 0, None) / 4
    fine[w] = np.maximum(fine[w], plug)


def restored(rng: Generator, fine: Grid, z: Grid, spot: Spot) -> None:
    """A low dike on the down-slope side with a pipe outlet, shallow scrapes behind it."""
    w, down, across = _local(fine, spot)
    r, c = (int(v) for v in spot.to(25.0, 0.0) * FINE)
    crest = float(fine[r, c]) + rng.uniform(0.9, 1.3)
    d = down - 30 + 0.006 * across**2
    bank = crest - np.clip(np.abs(d) - 1.5, 0, None) / 4.0
    fine[w] = np.where(np.abs(across) < 55, np.maximum(fine[w], bank), fine[w])
    for _ in range(3):
        a, b = rng.uniform(-20, 15), rng.uniform(-30, 30)
        fine[w] -= rng.uniform(0.2, 0.5) * _ridge(np.hypot(down - a, across - b), rng.uniform(6, 12))


def levelled(rng: Generator, fine: Grid, z: Grid, spot: Spot) -> None:
    """A field planed to an even fall, banks at its borders and a tail ditch at its low end."""
    w, down, across = _local(fine, spot)
    inside = (np.abs(down) < 60) & (np.abs(across) < 45)
    plane = float(fine[w][inside].mean()) - rng.uniform(0.0005, 0.002) * down
    blend = np.clip(np.minimum(60 - np.abs(down), 45 - np.abs(across)) / 2, 0, 1)
    fine[w] = fine[w] * (1 - blend) + plane * blend
    at = dense(spot.to(54.0, np.linspace(-44, 85, 80)))
    bed = np.minimum.accumulate(np.minimum(sample(z, at), float(plane[inside].min())) - 0.5)
    carve(fine, Line("tail ditch", at, bed, Section(0.6, 1.5)))


def stream_head(rng: Generator, fine: Grid, z: Grid, spot: Spot) -> None:
    """A gully that begins on the slope with a head cut and winds on down."""
    s = np.linspace(-20, 88, 140)
    at = dense(spot.to(s, 5 * np.sin(s / rng.uniform(7, 12)) + 3 * np.sin(s / 23)))
    t = np.arange(len(at)) * 0.5
    deep = rng.uniform(0.6, 1.3) * np.clip(t / 4, 0, 1)
    bed = np.minimum.accumulate(sample(z, at) - deep)
    carve(fine, Line("gully", at, bed, Section(rng.uniform(0.8, 2.0), rng.uniform(1.5, 3.0))))


def farm_pond(rng: Generator, fine: Grid, z: Grid, spot: Spot) -> None:
    """A dug pond with an overflow ditch."""
    w, down, across = _local(fine, spot)
    a, b = rng.uniform(10, 18), rng.uniform(9, 14)
    out = (np.abs(down / a) ** 4 + np.abs(across / b) ** 4) ** 0.25
    level = float(np.median(fine[w][out < 1]))
    fine[w] = np.minimum(fine[w], level - 1.6 + np.clip(out - 0.7, 0, None) * min(a, b) / 2)
    fine[w] += 0.5 * _ridge(across - b - 5, 3.0) * (np.abs(down) < a)
    at = dense(spot.to(np.linspace(a * 0.9, 85, 60), 0.0))
    bed = np.minimum.accumulate(np.minimum(level - 0.4, sample(z, at) - 0.3))
    carve(fine, Line("overflow", at, bed, Section(0.6, 2.0)))


Build = Callable[[Generator, Grid, Grid, Spot], None]
BUILDERS: dict[str, Build] = {
    "terrace": terrace, "waterway": waterway, "pond dam": pond_dam, "borrow pit": borrow_pit, "railway": railway,
    "irrigation canal": canal, "plugged ditch": plugged, "restored wetland": restored, "levelled land": levelled,
    "stream head": stream_head, "farm pond": farm_pond,
}  # fmt: skip


def spots_on(z: Grid, margin: int) -> list[Spot]:
    """Places a specimen apart, free of natural hollows of weight, with the way down the slope."""
    busy = np.zeros(z.shape, bool)
    for h in hollows(z):
        if h.cells >= 200 and h.spill_m - h.floor_m >= 0.12:
            busy |= pool_of(z, h.floor_at, h.spill_m)
    soft = ndimage.gaussian_filter(z, 25)
    down = np.stack([-g for g in np.gradient(soft)], -1)
    out = []
    step = 2 * HALF_M + 20
    for r in range(margin + HALF_M + 10, len(z) - margin - HALF_M, step):
        for c in range(margin + HALF_M + 10, len(z) - margin - HALF_M, step):
            box = (slice(r - 60, r + 60), slice(c - 60, c + 60))
            size = float(np.hypot(*down[r, c]))
            if busy[box].mean() < 0.02 and size > 1e-4:
                out.append(Spot((float(r), float(c)), (float(down[r, c, 0] / size), float(down[r, c, 1] / size))))
    return out


def place(rng: Generator, fine: Grid, z: Grid, margin: int) -> list[Specimen]:
    """Put a specimen on every free place, kinds in turn from a random start."""
    names = list(BUILDERS)
    first = int(rng.integers(len(names)))
    out = []
    for k, spot in enumerate(spots_on(z, margin)):
        kind = names[(first + k) % len(names)]
        BUILDERS[kind](rng, fine, z, spot)
        out.append(Specimen(kind, (spot.at[0] - margin, spot.at[1] - margin)))
    return out
