"""The ground of each kind before anyone dug: what laid it, how water and mud changed it since, and its streams."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator
from otherground.dig import dense, sample
from scipy import ndimage
from scipy.spatial import cKDTree

from .relief import (
    COARSE,
    Grid,
    coarse,
    creep,
    gathered,
    ice_blocks,
    noise,
    ridges,
    run_water,
    settle,
    stretched,
    tilted,
    turned,
)


@dataclass(frozen=True)
class Stream:
    """A natural watercourse: stations half a metre apart downstream, bed [m], width of the water [m]."""

    at: Grid
    bed_m: Grid
    wide_m: float


@dataclass(frozen=True)
class Land:
    """Heights on 1 m cells, and the streams in them."""

    z: Grid
    streams: tuple[Stream, ...] = field(default=())


def near(line: Grid, n: int, reach_m: float) -> tuple[Grid, Grid]:
    """Distance of 1 m cells to a line's stations, and the nearest station (beyond the reach: inf, 0)."""
    away, which = np.full((n, n), np.inf), np.zeros((n, n))
    tree = cKDTree(line)
    for a in range(0, len(line), 240):
        piece = line[a : a + 240]
        low = np.clip(np.floor(piece.min(0) - reach_m), 0, n).astype(int)
        high = np.clip(np.ceil(piece.max(0) + reach_m) + 1, 0, n).astype(int)
        rr, cc = np.mgrid[low[0] : high[0], low[1] : high[1]]
        if not rr.size:
            continue
        d, k = tree.query(np.stack([rr.ravel(), cc.ravel()], 1), distance_upper_bound=reach_m)
        ok = (k >= a) & (k < a + len(piece))
        spot = (rr.ravel()[ok], cc.ravel()[ok])
        away[spot], which[spot] = d[ok], k[ok]
    return away, which


def with_stream(rng: Generator, z: Grid, wide_m: float, deep_m: float, levee_m: float, valley_m: float) -> Land:
    """Add the sinuous stream that the ground's water would make, in a shallow valley, with levees."""
    n = len(z)
    low = coarse(z)
    area, down = gathered(low)
    inner = np.zeros_like(area, bool)
    inner[len(low) // 4 : -len(low) // 4, len(low) // 4 : -len(low) // 4] = True
    i = int(np.argmax(np.where(inner, area, 0)))
    path, at = [], i  # upstream by largest area, then down to the edge
    while at >= 0:
        path.append(at)
        at = int(down[at])
    up = i
    head = []
    while True:
        feeders = np.nonzero(down == up)[0]
        if not len(feeders) or area.ravel()[feeders].max() < 60:
            break
        up = int(feeders[np.argmax(area.ravel()[feeders])])
        head.append(up)
    cells = np.array(head[::-1] + path)
    line = np.stack(np.divmod(cells, low.shape[1]), 1) * COARSE + (COARSE - 1) / 2
    line = dense(ndimage.gaussian_filter1d(line.astype(float), 6, axis=0, mode="nearest"))
    s = np.arange(len(line)) / 2
    side = np.gradient(line, axis=0)
    side = np.stack([-side[:, 1], side[:, 0]], 1) / np.maximum(np.hypot(*side.T), 1e-9)[:, None]
    bend = np.sin(2 * np.pi * s / rng.uniform(11, 15) / wide_m + 2 * np.sin(s / 90)) * wide_m * rng.uniform(1.2, 2.0)
    line = dense(line + side * bend[:, None])
    bed = np.minimum.accumulate(ndimage.gaussian_filter1d(sample(z, line), 30, mode="nearest") - deep_m)
    bed -= 0.0002 * np.arange(len(bed))
    away, k = near(line, n, max(valley_m, 40.0) + 20)
    even = ndimage.gaussian_filter1d(bed, 150, mode="nearest")
    bank = even[k.astype(int)] + deep_m
    floor = bank + levee_m * np.exp(-np.clip(away - wide_m, 0, None) / 9.0) + 0.004 * away
    share = np.clip((away - valley_m * 0.5) / (valley_m * 0.5), 0, 1) if valley_m else np.clip(away / 25, 0, 1)
    z = np.where(z > floor, share * z + (1 - share) * np.minimum(floor, 1e6), z)
    if levee_m:
        on = np.isfinite(away)
        z = z + np.where(on, levee_m * np.exp(-((np.where(on, away, 0) / 14.0) ** 2)) * (share > 0.2), 0)
    z = np.where(away < valley_m + 20, creep(z, 5), z)  # no edges where the nearest bend changes
    edge = bed[k.astype(int)] + np.clip(away - 0.3 * wide_m, 0, None) / rng.uniform(0.8, 1.6)
    z = np.where(away < 3 * wide_m, np.minimum(z, edge), z)
    return Land(z, (Stream(line, bed, wide_m),))


def _till(rng: Generator, n: int) -> Land:
    """Stagnant ice: hummocks, water that found its way in places, mud in the hollows."""
    z = tilted(n, rng.uniform(0.002, 0.004), rng.uniform(0, 6.28))
    z = z + rng.uniform(0.8, 1.1) * noise(rng, n, 230, 40, 3.5) + 0.06 * noise(rng, n, 40, 10)
    z = run_water(z, 3, 0.012, 4.0)
    return Land(settle(rng, creep(z, 3), (0.1, 0.4)))


def _outwash(rng: Generator, n: int) -> Land:
    """A fan of gravel with scars of old braids, pitted where blocks of ice lay in it, with a stream on it."""
    angle = rng.uniform(0, 6.28)
    scars = stretched(rng, n, 34, 4.5, angle)
    z = (
        tilted(n, rng.uniform(0.0025, 0.004), angle)
        - 0.28 * np.clip(scars - 0.8, 0, 1.3)
        + 0.1 * noise(rng, n, 400, 90)
    )
    land = with_stream(rng, z, rng.uniform(3, 5), 0.9, 0.0, 30.0)
    pits = ice_blocks(rng, n, round(26 * n * n / 1e6), (13, 45), (0.5, 2.2))
    clear = np.clip((near(land.streams[0].at, n, 90)[0] - 45) / 30, 0, 1)
    z = creep(land.z - pits * clear, 1.2)
    return Land(settle(rng, z, (0.05, 0.35)), land.streams)


def _lake(rng: Generator, n: int) -> Land:
    """A lake floor with strand lines, pans behind them and in clay that shrank."""
    angle = rng.uniform(0, 6.28)
    z = tilted(n, rng.uniform(0.0005, 0.001), angle) + 0.06 * noise(rng, n, 420, 90)
    z = z + ridges(rng, n, angle, rng.uniform(230, 330), rng.uniform(0.45, 0.7), rng.uniform(9, 16))
    z = z - ice_blocks(rng, n, round(24 * n * n / 1e6), (20, 60), (0.3, 0.9))
    return Land(settle(rng, creep(z, 4), (0.0, 0.25)))


def _coast(rng: Generator, n: int) -> Land:
    """Beach ridges and the swales between, eaten into by creeks from the seaward side."""
    angle = rng.uniform(0, 6.28)
    u, _ = turned(n, angle)
    z = tilted(n, 0.0012, angle) + 0.09 * noise(rng, n, 260, 50)
    z = z + ridges(rng, n, angle, rng.uniform(60, 85), rng.uniform(0.8, 1.2), rng.uniform(13, 17))
    z = z - np.clip((u - 0.3 * n) / 90, 0, 1) * 1.2
    z = run_water(z, 5, 0.006, 3.0)
    return Land(settle(rng, creep(z, 2.5), (0.05, 0.3)))


def _sand(rng: Generator, n: int) -> Land:
    """Blown sand: dunes and hollows blown out down to damp sand."""
    angle = rng.uniform(0, 6.28)
    table = tilted(n, 0.0015, angle) + 0.25 * noise(rng, n, 600, 200)
    dunes = 0.55 * stretched(rng, n, 72, 1.7, angle + 1.2)
    dunes = dunes + 0.12 * noise(rng, n, 200, 60) + 0.05 * noise(rng, n, 60, 20)
    z = np.maximum(table + 0.4 + dunes, table + 0.02 * noise(rng, n, 50, 10))
    return Land(creep(z, 2.2))


def _drumlins(rng: Generator, n: int) -> Land:
    """Ground streamlined by ice: long hills, and hollows with mud in the troughs between, one of them a valley."""
    angle = rng.uniform(0, 6.28)
    hills = stretched(rng, n, 95, 3.5, angle)
    z = tilted(n, 0.003, angle + rng.uniform(-0.6, 0.6)) + 1.5 * np.maximum(hills, -0.5 + 0.35 * hills)
    z = z + 0.28 * noise(rng, n, 140, 35, 3.0)
    land = with_stream(rng, run_water(z, 3, 0.01, 4), rng.uniform(3, 5), 1.0, 0.15, 40.0)
    return Land(settle(rng, creep(land.z, 1.0), (0.1, 0.35)), land.streams)


def _washboard(rng: Generator, n: int) -> Land:
    """Small moraines pushed up one behind the other, broken by sags, with ponds between."""
    angle = rng.uniform(0, 6.28)
    z = tilted(n, rng.uniform(0.0025, 0.004), angle) + 0.35 * noise(rng, n, 260, 60)
    z = z + ridges(rng, n, angle, rng.uniform(75, 105), rng.uniform(0.9, 1.3), rng.uniform(14, 20))
    z = run_water(z, 2, 0.01, 4.0)
    return Land(settle(rng, creep(z, 3), (0.1, 0.35)))


def _dissected(rng: Generator, n: int, lower_m: float = 9.0, pans: int = 34) -> Land:
    """A till plain that streams have begun to eat from its edges; pans are left on the flats between."""
    z = tilted(n, 0.0015, rng.uniform(1.7, 3.0)) + 0.3 * noise(rng, n, 500, 80)
    z = run_water(z, 40, 0.1, 2.6, lower_m)
    slope = np.hypot(*np.gradient(creep(z, 12)))
    valley = np.clip((z - creep(z, 45) + 0.35) / 0.25, 0, 1)  # 0 in a valley: water would have cut a pan open
    flat = creep(np.clip(2.0 - slope / 0.016, 0, 1) * valley, 6)
    z = z - ice_blocks(rng, n, round(pans * n * n / 1e6), (15, 45), (0.5, 1.5)) * flat
    return Land(settle(rng, creep(z + 0.03 * noise(rng, n, 40, 10), 1.5), (0.05, 0.3)))


def _river(rng: Generator, n: int) -> Land:
    """A flood plain: a river wandered and left scrolls, a cut-off arm, levees and low back land."""
    angle = rng.uniform(0, 6.28)
    fall, wide, deep = 0.0006, rng.uniform(9, 13), 1.9
    base = tilted(n, fall, angle) + 0.12 * noise(rng, n, 300, 60)
    wander = rng.uniform(-0.12, 0.12) * n
    t = np.arange(-0.8 * n, 0.8 * n, 0.5)
    length, phase = rng.uniform(300, 380), rng.uniform(0, 6.28)
    z = base - 0.2 * np.clip(np.abs(turned(n, angle)[1] - wander) / 260, 0, 1)
    z = z - ice_blocks(rng, n, round(14 * n * n / 1e6), (18, 55), (0.3, 0.8))
    steps = 9
    line = np.zeros((0, 2))
    for k in range(steps):
        swing = 30 + 10 * k
        w = 2 * np.pi * (t - 9 * k) / length + phase
        u = t - 0.35 * swing * np.sin(2 * w)
        v = wander + swing * np.sin(w) * (1 + 0.3 * np.sin(t / 211 + phase)) + 12 * np.sin(t / 61)
        mid = (n - 1) / 2
        line = np.stack([mid + u * np.sin(angle) + v * np.cos(angle), mid + u * np.cos(angle) - v * np.sin(angle)], 1)
        ok = (line > -40).all(1) & (line < n + 40).all(1)
        line = dense(line[ok])
        away, _ = near(line, n, 70.0)
        here = base + 0.1
        bar = here + rng.uniform(0.15, 0.5) * np.exp(-(((away - wide * 1.1) / 6.0) ** 2))
        old = here - rng.uniform(0.35, 0.7) * np.clip(1 - (away / wide) ** 2, 0, 1)
        z = np.where(away < wide, np.minimum(old, z), np.where(away < wide * 2.2, np.maximum(bar, z - 0.15), z))
        z = np.where((away < 60) & (away >= wide), np.maximum(z, z * 0 + here - 0.1 - 0.5 * (away > 40)), z)
    z = creep(z, 2.5)
    away, k = near(line, n, 120.0)
    on = np.isfinite(away)
    z = z + np.where(on, 0.45 * np.exp(-np.clip(np.where(on, away, 0) - wide, 0, None) / 22), 0)
    bed = np.minimum.accumulate(ndimage.gaussian_filter1d(sample(base, line), 60, mode="nearest") - deep)
    edge = bed[k.astype(int)] + np.clip(away - 0.7 * wide, 0, None) / 1.4
    z = np.where(away < 3 * wide, np.minimum(z, edge), z)
    return Land(settle(rng, creep(z, 1.0), (0.0, 0.25)), (Stream(line, bed, 1.4 * wide),))


def _gullies(rng: Generator, n: int) -> Land:
    """Rolling ground full of stream heads; its few hollows have overflowed and cut themselves outlets, or are whole."""
    land = _dissected(rng, n, 14.0, 8)
    z = run_water(land.z, 2, 0.02, 2.5)
    return with_stream(rng, z, 3.0, 0.9, 0.2, 30.0)


def _kettles(rng: Generator, n: int) -> Land:
    """Pits left by ice in rolling gravel, most of them under trees, none of them drained."""
    z = tilted(n, 0.004, rng.uniform(0, 6.28)) + 0.5 * noise(rng, n, 320, 60)
    z = run_water(z, 3, 0.012, 4.0) - ice_blocks(rng, n, round(30 * n * n / 1e6), (10, 45), (0.4, 2.4))
    return Land(settle(rng, creep(z, 1.5), (0.05, 0.4)))


LANDS: dict[str, Callable[[Generator, int], Land]] = {
    "till": _till,
    "outwash": _outwash,
    "lake": _lake,
    "coast": _coast,
    "sand": _sand,
    "drumlins": _drumlins,
    "washboard": _washboard,
    "dissected": _dissected,
    "river": _river,
    "gullies": _gullies,
    "kettles": _kettles,
}
