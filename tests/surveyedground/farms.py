"""Fields: how land is parcelled, what grows on it, and the small relief that farming leaves.

Rows of 1-2 cm, plough lands with a dead furrow of 5-11 cm every 22-40 m, headlands, tracks with ruts, hedge banks,
lynchets of 0.2-0.5 m on slopes, yards on pads (common practice, no source). None of it is in the natural ground but
the lynchets, which are older than any drain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage

from .relief import Grid, creep, noise, turned

CROP, GRASS, WOOD, BARE, YARD = range(5)


@dataclass(frozen=True)
class Farms:
    """On 1 m cells: number of the field, what grows there, way to the field's edge [m], direction of work in a field;
    centres (row, col) and half sides [m] of yards."""

    field: NDArray[np.int64]
    cover: NDArray[np.int64]
    edge_m: Grid
    angle: float
    turn: NDArray[np.bool_]
    yards: tuple[tuple[float, float, float], ...]


def _split(rng: Generator, box: tuple[float, float, float, float], most_m2: float) -> list[tuple[float, ...]]:
    """Cut a rectangle in two until the parts are small enough."""
    a, b, c, d = box
    if (b - a) * (d - c) < most_m2 * rng.uniform(0.6, 1.4) or min(b - a, d - c) < 110:
        return [box]
    share = rng.uniform(0.38, 0.62)
    if b - a > d - c:
        m = a + share * (b - a)
        return _split(rng, (a, m, c, d), most_m2) + _split(rng, (m, b, c, d), most_m2)
    m = c + share * (d - c)
    return _split(rng, (a, b, c, m), most_m2) + _split(rng, (a, b, m, d), most_m2)


def farms(rng: Generator, n: int, most_ha: float, wooded: float, grassed: float) -> Farms:
    """Lay out fields up to about a size [ha], a share of them grass, and woods with ragged edges over a share."""
    angle = float(rng.uniform(0, np.pi / 2))
    u, v = turned(n, angle)
    bend = 5 * noise(rng, n, 500, 150)
    u, v = u + bend, v - bend
    boxes = _split(rng, (float(u.min()) - 1, float(u.max()) + 1, float(v.min()) - 1, float(v.max()) + 1), most_ha * 1e4)
    number = np.zeros((n, n), np.int64)
    for k, (a, b, c, d) in enumerate(boxes):
        number[(u >= a) & (u < b) & (v >= c) & (v < d)] = k
    kinds = rng.choice([CROP, GRASS, BARE], len(boxes), p=[0.7 * (1 - grassed), grassed, 0.3 * (1 - grassed)])
    cover = kinds[number]
    if wooded:
        trees = noise(rng, n, 400, 70)
        cover[trees > np.quantile(trees, 1 - wooded)] = WOOD
    line = np.zeros((n, n), bool)
    line[:-1] |= number[:-1] != number[1:]
    line[:, :-1] |= number[:, :-1] != number[:, 1:]
    edge = ndimage.distance_transform_edt(~line) if line.any() else np.full((n, n), 1e3)
    return Farms(number, cover, edge, angle, rng.random(len(boxes)) < 0.5, ())


def lynchets(rng: Generator, z: Grid, land: Farms) -> Grid:
    """Steps at field edges across a slope: soil creeps down to the edge and is lost from below it."""
    slope = np.hypot(*np.gradient(creep(z, 15)))
    here = np.clip((slope - 0.02) / 0.02, 0, 1)
    flat = land.field.ravel()
    mean = np.bincount(flat, z.ravel()) / np.maximum(np.bincount(flat), 1)
    own = creep(mean[land.field] - creep(mean[land.field], 12), 1.2)
    sign = -np.sign(own) * np.exp(-land.edge_m / 5.0) * (land.edge_m < 20)
    return z + creep(here * sign * rng.uniform(0.1, 0.22), 0.8)


def small_relief(rng: Generator, land: Farms, bare_of_banks: NDArray[np.bool_]) -> Grid:
    """What farming adds to the heights of 1 m cells [m]; no bank where `bare_of_banks`."""
    n = len(land.field)
    u, v = turned(n, land.angle)
    turn = land.turn[land.field]
    along = np.where(turn, u, v)
    worked = np.isin(land.cover, (CROP, BARE))
    count = len(land.turn)
    lands = rng.uniform(22, 40, count)[land.field]
    deep = (rng.uniform(0.04, 0.09, count) * (rng.random(count) < 0.35))[land.field]
    off = along / lands + rng.uniform(0, 1, count)[land.field]
    way = np.abs(off - np.rint(off)) * lands
    out = -deep * np.exp(-((way / 0.9) ** 2)) + 0.3 * deep * np.exp(-(((way - 2.5) / 1.2) ** 2))
    every = rng.uniform(3.0, 6.5, count)[land.field]
    out = out + rng.uniform(0.004, 0.014, count)[land.field] * np.sin(2 * np.pi * along / every)
    out = np.where(worked & (land.edge_m > 9), out, 0)
    out += np.where(worked, 0.05 * np.exp(-(((land.edge_m - 8) / 2.5) ** 2)), 0)
    banked = noise(rng, n, 700, 200) > 0.4
    bank = rng.uniform(0.2, 0.45) * np.clip(0.6 + 0.5 * noise(rng, n, 60, 12), 0, 1.2)
    bank = bank * np.exp(-((land.edge_m / 1.3) ** 2)) * banked
    rut = -0.07 * np.exp(-(((np.abs(land.edge_m - 4.2) - 0.9) / 0.4) ** 2)) * (noise(rng, n, 800, 300) > 0.9)
    out = out + rut * ~bare_of_banks + np.where(creep(bare_of_banks.astype(float), 4) > 0.05, 0, bank)
    rough = np.where(land.cover == WOOD, 0.05, np.where(land.cover == GRASS, 0.012, 0.006))
    return np.asarray(out + rough * noise(rng, n, 14, 2, 1.5))


def with_yards(rng: Generator, seen: Grid, land: Farms, keep_off: NDArray[np.bool_], count: int) -> tuple[Grid, Farms]:
    """Level pads of 35-70 m with a bank round them, off hollows and ditches; their buildings give no ground return."""
    n = len(seen)
    out, cover, yards = seen.copy(), land.cover.copy(), []
    u, v = turned(n, land.angle)
    far = ndimage.distance_transform_edt(~keep_off)
    for _ in range(count):
        half = rng.uniform(17, 35)
        spots = np.argwhere(far > 1.5 * half + 12)
        if not len(spots):
            continue
        r, c = spots[rng.integers(len(spots))]
        reach = np.maximum(np.abs(u - u[r, c]) / half, np.abs(v - v[r, c]) / (half * rng.uniform(0.6, 1.0)))
        pad = np.quantile(seen[reach < 1], 0.7)
        share = np.clip((1.12 - reach) / 0.12, 0, 1)
        out = out * (1 - share) + (pad + 0.01 * u / half) * share
        cover[reach < 1] = YARD
        far[reach < 2.2] = 0
        yards.append((float(r), float(c), float(half)))
    return out, Farms(land.field, cover, land.edge_m, land.angle, land.turn, tuple(yards))
