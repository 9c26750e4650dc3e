"""Tools that shape ground on 1 m cells: spectral relief, running water, creep, settling mud, ice blocks, ridges.

Water runs to the edge along the tree that a flood from the edge grows (Barnes, Lehman & Mulla 2014), and cuts with
stream power, solved implicitly downstream first (Braun & Willett 2013). Rates and sizes: common practice, no source.
"""

from __future__ import annotations

import heapq

import numpy as np
from numba import njit
from numpy.random import Generator
from numpy.typing import NDArray
from otherground.flood import EIGHT, filled
from scipy import ndimage

Grid = NDArray[np.float64]
COARSE = 4  # metres a cell on which water runs


def noise(rng: Generator, n: int, longest_m: float, shortest_m: float, steep: float = 3.0) -> Grid:
    """Relief of standard deviation 1 whose power falls as wave number ** -steep between two wave lengths."""
    m = n + int(min(longest_m, n))  # more than is kept, as the spectrum repeats itself
    k = np.hypot(np.fft.fftfreq(m)[:, None], np.fft.rfftfreq(m)[None, :])
    size = np.zeros_like(k)
    band = (k >= 1 / longest_m) & (k <= 1 / shortest_m)
    size[band] = k[band] ** (-steep / 2)
    wave = np.fft.irfft2(size * np.fft.rfft2(rng.standard_normal((m, m))), s=(m, m))[:n, :n]
    return np.asarray((wave - wave.mean()) / wave.std())


def stretched(rng: Generator, n: int, across_m: float, ratio: float, angle: float) -> Grid:
    """Relief drawn out `ratio` times in one direction, standard deviation 1."""
    wide = noise(rng, int(1.5 * n), 2.2 * across_m, 0.7 * across_m, 2.0)
    u, v = turned(n, angle)
    half = len(wide) / 2
    v = v + 0.25 * across_m * noise(rng, n, 500, 150)
    out = ndimage.map_coordinates(wide, [half + v, half + u / ratio], order=1, mode="reflect")
    return np.asarray((out - out.mean()) / out.std())


def turned(n: int, angle: float) -> tuple[Grid, Grid]:
    """Coordinates along and across a direction, from the middle [m]."""
    rr, cc = np.mgrid[:n, :n] - (n - 1) / 2
    return cc * np.cos(angle) + rr * np.sin(angle), rr * np.cos(angle) - cc * np.sin(angle)


def tilted(n: int, fall: float, angle: float) -> Grid:
    """A plane that falls along a direction."""
    return -fall * turned(n, angle)[0]


def creep(z: Grid, by_m: float) -> Grid:
    """Soil creep: diffusion over a length."""
    return np.asarray(ndimage.gaussian_filter(z, by_m, mode="nearest"))


@njit(cache=True)
def flood_tree(z):
    """Cells in the order a flood from the edge takes them, and for each the one it came from (-1 at the edge)."""
    rows, cols = z.shape
    taken = np.zeros(rows * cols, np.bool_)
    down = np.full(rows * cols, -1, np.int64)
    order = np.empty(rows * cols, np.int64)
    queue = [(z[0, 0], np.int64(0))]
    taken[0] = True
    for r in range(rows):
        for c in range(cols):
            if (r == 0 or c == 0 or r == rows - 1 or c == cols - 1) and (r > 0 or c > 0):
                heapq.heappush(queue, (z[r, c], np.int64(r * cols + c)))
                taken[r * cols + c] = True
    k = 0
    while len(queue) > 0:
        level, i = heapq.heappop(queue)
        order[k] = i
        k += 1
        r, c = i // cols, i % cols
        for a in range(-1, 2):
            for b in range(-1, 2):
                rr, cc = r + a, c + b
                if rr < 0 or cc < 0 or rr >= rows or cc >= cols or taken[rr * cols + cc]:
                    continue
                j = np.int64(rr * cols + cc)
                taken[j] = True
                down[j] = i
                heapq.heappush(queue, (max(level, z[rr, cc]), j))
    return order, down


@njit(cache=True)
def _gathered(order, down):
    """Cells that drain through each cell."""
    area = np.ones(len(order))
    for k in range(len(order) - 1, -1, -1):
        if down[order[k]] >= 0:
            area[down[order[k]]] += area[order[k]]
    return area


@njit(cache=True)
def _cut(z, order, down, area, rate):
    """One implicit step of stream power with exponents 0.5 and 1."""
    flat = z.ravel()
    for k in range(len(order)):
        i = order[k]
        j = down[i]
        if j >= 0 and flat[i] > flat[j]:
            f = rate * np.sqrt(area[i])
            flat[i] = (flat[i] + f * flat[j]) / (1 + f)


def coarse(z: Grid, by: int = COARSE) -> Grid:
    """Means of square blocks."""
    m = len(z) // by
    return np.asarray(z[: m * by, : m * by].reshape(m, by, m, by).mean((1, 3)))


def fine_again(z: Grid, n: int, by: int = COARSE) -> Grid:
    """Coarse cells brought back to 1 m, smoothly."""
    t = (np.arange(n) + 0.5) / by - 0.5
    rr, cc = np.meshgrid(t, t, indexing="ij")
    return np.asarray(ndimage.map_coordinates(z, [rr, cc], order=3, mode="nearest"))


def gathered(z: Grid) -> tuple[Grid, NDArray[np.int64]]:
    """Cells of a coarse ground that drain through each, and where each drains to."""
    order, down = flood_tree(np.ascontiguousarray(z))
    return _gathered(order, down).reshape(z.shape), down


def run_water(z: Grid, steps: int, rate: float, creep_m: float, lower_m: float = 0.0) -> Grid:
    """Let streams cut and slopes creep; the western and southern edges are let down by `lower_m` in all."""
    low = coarse(z)
    start = low.copy()
    for _ in range(steps):
        if lower_m:
            for edge in (np.s_[-1], np.s_[1:-1, 0]):
                low[edge] -= lower_m / steps
        low = np.ascontiguousarray(low)
        order, down = flood_tree(low)
        _cut(low, order, down, _gathered(order, down), rate)
        low = creep(low, creep_m / COARSE)
    return z + fine_again(low - start, len(z))


def settle(rng: Generator, z: Grid, share: tuple[float, float], least_m: float = 0.15) -> Grid:
    """Mud settles in every hollow until its floor is nearly flat (5 cm): over a share of the depth."""
    water = filled(z)
    marks, k = ndimage.label(water - z > 1e-6, structure=EIGHT)
    if not k:
        return z
    ids = np.arange(1, k + 1)
    deep = ndimage.maximum(water - z, marks, ids)
    floor = np.concatenate([[-np.inf], ndimage.minimum(z, marks, ids) + deep * rng.uniform(*share, k)])
    floor[1:][deep < least_m] = -np.inf
    flat = np.maximum(z, floor[marks])
    return np.where(flat > z, flat + 0.045 * noise(rng, len(z), 80, 8, 2.0), z)


def ice_blocks(rng: Generator, n: int, count: int, radius_m: tuple[float, float], deep_m: tuple[float, float]) -> Grid:
    """How far ground sinks where buried blocks of ice melt, each a cluster of lumps with a ragged outline."""
    sunk = np.zeros((n, n))
    ragged = noise(rng, n, 90, 22)
    for _ in range(count):
        at, radius = rng.uniform(0, n, 2), np.exp(rng.uniform(*np.log(radius_m)))
        reach = int(3.2 * radius) + 2
        box = tuple(slice(max(0, int(v) - reach), min(n, int(v) + reach)) for v in at)
        rr, cc = np.mgrid[box]
        f = 0.11 * ragged[box]
        for _ in range(int(rng.integers(2, 6))):
            r, c = at + rng.normal(0, 0.6, 2) * radius
            size = radius * rng.uniform(0.5, 1.0)
            f = f + np.exp(-((rr - r) ** 2 + (cc - c) ** 2) / (2 * (0.8 * size) ** 2))
        one = np.clip((f - 0.35) / 0.9, 0, 1)
        sunk[box] = np.maximum(sunk[box], rng.uniform(*deep_m) * one**2 * (3 - 2 * one))
    return sunk


def ridges(rng: Generator, n: int, angle: float, every_m: float, high_m: float, wide_m: float) -> Grid:
    """Bent, roughly parallel ridges with sags along them, square to a direction."""
    u, v = turned(n, angle)
    u = u + min(0.3 * every_m, 22) * noise(rng, n, 600, 220) + (v**2) * rng.uniform(-2e-4, 2e-4)
    out = np.zeros((n, n))
    sag = noise(rng, n, 220, 50)
    for at in np.arange(-0.75 * n, 0.75 * n, every_m):
        own = high_m * rng.uniform(0.5, 1.2) * np.clip(0.75 + 0.35 * sag, 0.1, 1.3)
        out = np.maximum(out, own * np.exp(-((u - at - rng.normal(0, 0.12) * every_m) ** 2) / (2 * wide_m**2)))
    return out
