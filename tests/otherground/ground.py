"""Natural ground before anyone dug: spectral relief, water-worn swales, knolls, crevasse ridges, kettles, beach ridges,
a stream with levees and cut-off bends. Hollows are not drawn: they are what these leave closed."""

from __future__ import annotations

from dataclasses import dataclass
from heapq import heappop, heappush

import numpy as np
from numba import njit
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from .ground_more import MORE
from .texture import cells_of, spectral

Grid = NDArray[np.float64]
WORN_M = 5  # cell of the erosion model [m]


@dataclass(frozen=True)
class Stream:
    """Centre line (row, col on 1 m cells, downstream) and bed of a natural stream."""

    at: Grid
    bed_m: Grid


@dataclass(frozen=True)
class Natural:
    """Ground on 1 m cells, and the stream through it if any."""

    z: Grid
    stream: Stream | None


@njit(cache=True)
def _flood_order(z):
    """Cells in the order in which a rising flood from the border reaches them, and from where each was reached."""
    rows, cols = z.shape
    parent = np.full(rows * cols, -2, np.int64)
    order = np.empty(rows * cols, np.int64)
    heap = [(z[0, 0], 0)]
    parent[0] = -1
    for r in range(rows):
        for c in range(cols):
            if (r == 0 or c == 0 or r == rows - 1 or c == cols - 1) and (r + c > 0):
                parent[r * cols + c] = -1
                heappush(heap, (z[r, c], r * cols + c))
    k = 0
    while heap:
        level, i = heappop(heap)
        order[k] = i
        k += 1
        r, c = i // cols, i % cols
        for a in range(-1, 2):
            for b in range(-1, 2):
                rr, cc = r + a, c + b
                if rr < 0 or cc < 0 or rr >= rows or cc >= cols:
                    continue
                j = rr * cols + cc
                if parent[j] == -2:
                    parent[j] = i
                    heappush(heap, (max(level, z[rr, cc]), j))
    return order, parent


@njit(cache=True)
def _wear(z, order, parent, k_m, cell_m):
    """One implicit stream-power step (Braun & Willett 2013, n = 1, m = 0.5) down the flood tree."""
    flat = z.ravel().copy()
    area = np.ones(flat.size)
    for t in range(flat.size - 1, -1, -1):
        i = order[t]
        if parent[i] >= 0:
            area[parent[i]] += area[i]
    for t in range(flat.size):
        i = order[t]
        p = parent[i]
        if p >= 0 and flat[i] > flat[p]:
            f = k_m * np.sqrt(area[i]) / cell_m
            flat[i] = (flat[i] + f * flat[p]) / (1 + f)
    return flat.reshape(z.shape)


def worn(z: Grid, steps: int, strength: float) -> Grid:
    """The ground after some passes of running water and creep: swales, and fewer hollows."""
    n = z.shape[0] // WORN_M * WORN_M
    coarse = z[:n, :n].reshape(n // WORN_M, WORN_M, n // WORN_M, WORN_M).mean((1, 3))
    new = coarse.copy()
    for _ in range(steps):
        order, parent = _flood_order(new)
        new = ndimage.gaussian_filter(_wear(new, order, parent, strength, float(WORN_M)), 0.7, mode="nearest")
    change = ndimage.zoom(new - coarse, WORN_M, order=1)
    whole = np.pad(change, ((0, z.shape[0] - n), (0, z.shape[1] - n)), mode="edge")
    return np.asarray(z + whole)


def knolls(rng: Generator, n: int) -> Grid:
    """Hummocks of uneven size heaped on each other: water stands between them."""
    spacing = rng.uniform(80, 140)
    k = int(((n + 200) / spacing) ** 2)
    points = rng.uniform(-100, n + 100, (k, 2))
    high, wide = rng.gamma(2.0, 0.5, k), rng.uniform(0.35, 0.7, k) * spacing
    step = 4
    m = -(-n // step) + 1
    rr, cc = np.meshgrid(np.arange(m) * step, np.arange(m) * step, indexing="ij")
    bend = [spectral(rng, m, 0.8, 40, 10) * 10.0 for _ in range(2)]
    far, who = cKDTree(points).query(np.stack([(rr + bend[0]).ravel(), (cc + bend[1]).ravel()], 1), k=8)
    z = (high[who] * np.exp(-((far / wide[who]) ** 2))).sum(1).reshape(m, m)
    return np.asarray(ndimage.zoom(ndimage.gaussian_filter(z, 1.5), step, order=1)[:n, :n])


def crevasse_ridges(rng: Generator, n: int) -> Grid:
    """Low ridges along the joints of dead ice: polygons of uneven height hold water."""
    near, second, who, points = cells_of(rng, n, rng.uniform(130, 230), 12.0)
    wide = rng.uniform(20, 38)
    ridge = np.exp(-(((second - near) / wide) ** 2))
    along = np.clip(0.75 + 0.3 * spectral(rng, n, 0.8, 300, 60), 0.15, None)
    tilt = ndimage.gaussian_filter(rng.normal(0, 0.3, len(points))[who], 20.0)
    return np.asarray(ndimage.gaussian_filter(rng.uniform(0.6, 1.2) * ridge * along, 5.0) + tilt)


def kettles(rng: Generator, n: int, count: int) -> Grid:
    """Sunken ground where buried ice melted: lobed outlines, uneven floors."""
    z = np.zeros((n, n))
    for _ in range(count):
        r = float(np.exp(rng.uniform(np.log(14), np.log(85))))
        row, col = rng.uniform(0, n, 2)
        half = int(2.8 * r) + 4
        r0, r1, c0, c1 = max(int(row) - half, 0), int(row) + half, max(int(col) - half, 0), int(col) + half
        rr, cc = np.mgrid[r0 : min(r1, n), c0 : min(c1, n)].astype(float)
        if not rr.size:
            continue
        turn = np.arctan2(rr - row, cc - col)
        lobes = sum(rng.normal(0, 0.28 / k) * np.cos(k * turn + rng.uniform(0, 6.3)) for k in range(1, 6))
        x = np.hypot(rr - row, (cc - col) * rng.uniform(0.75, 1.35)) / (r * (1 + np.clip(lobes, -0.55, 0.6)))
        deep = min(rng.uniform(0.25, 1.5), 0.05 * r)
        shape = 1 / (1 + np.exp((x - 0.8) / rng.uniform(0.07, 0.16)))
        z[r0 : min(r1, n), c0 : min(c1, n)] -= deep * shape
    return z


def beach_ridges(rng: Generator, n: int) -> Grid:
    """Curved sand ridges of an old shore, a few wide; the lows between are pinched off where ridges waver."""
    rr, cc = np.mgrid[:n, :n].astype(float)
    turn, bow = rng.uniform(0, np.pi), rng.uniform(-1, 1) * 0.00025
    across = rr * np.cos(turn) + cc * np.sin(turn)
    along = -rr * np.sin(turn) + cc * np.cos(turn)
    d = across + bow * (along - along.mean()) ** 2 + 14 * spectral(rng, n, 0.9, 400, 120)
    z = np.zeros((n, n))
    at = d.min() - 30
    while at < d.max():
        wave = np.clip(0.8 + 0.45 * spectral(rng, n, 0.9, 500, 90), 0.1, None)
        z += rng.uniform(0.35, 0.9) * wave * np.exp(-(((d - at) / rng.uniform(10, 20)) ** 2))
        at += rng.uniform(70, 160)
    return z


def _winding(rng: Generator, n: int) -> Grid:
    """A sinuous line from side to side, a point a metre: its heading swings as a sine of the way."""
    length = 3 * n + 400
    wave = rng.uniform(110, 190) * np.exp(0.25 * _slow(rng, length, 120))
    swing = np.radians(rng.uniform(45, 75)) * np.clip(1 + 0.3 * _slow(rng, length, 150), 0.3, 1.3)
    heading = swing * np.sin(np.cumsum(2 * np.pi / wave)) + 0.22 * _slow(rng, length, n / 3)
    row = n * rng.uniform(0.3, 0.7) + np.cumsum(np.sin(heading))
    col = -80 + np.cumsum(np.cos(heading))
    keep = int(np.argmax(col > n + 60)) or length
    line = np.stack([row, col], 1)[:keep]
    trend = ndimage.gaussian_filter1d(line[:, 0], n / 2, mode="nearest")
    line[:, 0] -= 0.7 * (trend - trend.mean())  # stays on the sheet
    return line if rng.random() < 0.5 else line[:, ::-1].copy()


def _slow(rng: Generator, length: int, over_m: float) -> Grid:
    """A slowly changing random series, spread 1."""
    a = ndimage.gaussian_filter1d(rng.standard_normal(length), over_m)
    return np.asarray((a - a.mean()) / a.std())


def _oxbows(rng: Generator, z: Grid, line: Grid, apart: Grid) -> Grid:
    """Cut-off bends beside the stream, both ends silted up."""
    n = z.shape[0]
    for _ in range(rng.integers(3, 7)):
        p = line[rng.integers(80, len(line) - 80)]
        r = rng.uniform(22, 48)
        turn = rng.uniform(0, 2 * np.pi)
        mid = p + (r + rng.uniform(14, 30)) * np.array([np.sin(turn), np.cos(turn)])
        sweep = np.linspace(turn - 2.2, turn + 2.2, 260)
        arc = mid + r * np.stack([np.sin(sweep), np.cos(sweep)], 1)
        arc += 2.5 * np.stack([_slow(rng, 260, 25), _slow(rng, 260, 25)], 1)
        deep = rng.uniform(0.5, 1.1) * np.clip(np.minimum(np.arange(260), np.arange(260)[::-1]) / 40, 0, 1)
        half = int(r) + 30
        r0, r1 = max(int(mid[0]) - half, 0), min(int(mid[0]) + half, n)
        c0, c1 = max(int(mid[1]) - half, 0), min(int(mid[1]) + half, n)
        if r1 - r0 < 10 or c1 - c0 < 10:
            continue
        rr, cc = np.mgrid[r0:r1, c0:c1]
        far, who = cKDTree(arc).query(np.stack([rr.ravel(), cc.ravel()], 1))
        cut = (deep[who] * np.exp(-((far / rng.uniform(6, 11)) ** 4))).reshape(rr.shape)
        z[r0:r1, c0:c1] -= cut * (apart[r0:r1, c0:c1] > 9)
    return z


def add_stream(rng: Generator, z: Grid, levee: bool) -> Natural:
    """Lay a stream and its flood plain into the ground."""
    n = z.shape[0]
    line = _winding(rng, n)
    inside = np.clip(line, 0, n - 1).astype(int)
    soft = ndimage.gaussian_filter(z, 40, mode="nearest")
    ground = soft[inside[:, 0], inside[:, 1]]
    if ground[:50].mean() < ground[-50:].mean():
        line, ground = line[::-1].copy(), ground[::-1].copy()
    fall = rng.uniform(0.0004, 0.001)
    bed = np.minimum.accumulate(ground - rng.uniform(1.6, 2.6) - fall * np.arange(len(line)))
    rr, cc = np.mgrid[:n, :n]
    far, who = cKDTree(line).query(np.stack([rr.ravel(), cc.ravel()], 1))
    far, low = far.reshape(n, n), ndimage.gaussian_filter(bed[who].reshape(n, n), 25)
    half, bank = rng.uniform(1.5, 3.5), rng.uniform(0.9, 1.4)
    plain = rng.uniform(20, 45) if not levee else rng.uniform(70, 140)
    edge = far + 6 * spectral(rng, n, 0.8, 200, 50)
    slope = rng.uniform(0.02, 0.06)
    flood = low + bank + 0.12 * spectral(rng, n, 0.9, 150, 25) + np.clip(edge - plain, 0, None) * slope
    if levee:
        broad = rng.uniform(12, 20)
        flood += rng.uniform(0.35, 0.6) * np.exp(-(((far - 10) / broad) ** 2)) - 0.15
    new = -np.logaddexp(-z * 4, -flood * 4) / 4  # a soft lower envelope
    new = np.where(far < plain, np.minimum(new, flood + 0.1), new)
    if levee:
        new = _oxbows(rng, new, line, far)
    new = ndimage.gaussian_filter(new, 1.5)
    channel = bed[who].reshape(n, n) + np.clip(far - half, 0, None) / 2.0
    return Natural(np.minimum(new, channel), Stream(line, bed))


def natural_ground(rng: Generator, kind: str, n: int) -> Natural:
    """Ground of a kind: `knolls`, `crevasse`, `till`, `lakeplain`, `floodplain`, `slope`, or one of `MORE`."""
    rr, cc = np.mgrid[:n, :n].astype(float)
    turn = rng.uniform(0, 2 * np.pi)
    fall = {"lakeplain": rng.uniform(0.0005, 0.001), "floodplain": 0.001}.get(kind, rng.uniform(0.001, 0.004))
    fall = min(fall, 0.001) if kind in MORE else fall
    z = 200.0 + fall * (rr * np.sin(turn) + cc * np.cos(turn))
    if kind == "knolls":
        z += 0.9 * spectral(rng, n, 1.0, 600, 120) + knolls(rng, n) + kettles(rng, n, int(n * n / 9e4))
    elif kind == "crevasse":
        z += 0.5 * spectral(rng, n, 1.0, 700, 150) + crevasse_ridges(rng, n)
    elif kind == "till":
        z = worn(z + 1.6 * spectral(rng, n, 1.0, 800, 90), 6, 0.25)
        z += kettles(rng, n, int(n * n / 3.5e4)) + 0.12 * spectral(rng, n, 1.0, 150, 30)
    elif kind == "lakeplain":
        z += 0.16 * spectral(rng, n, 1.0, 350, 60) + kettles(rng, n, int(n * n / 8e4)) * 0.7
        if rng.random() < 0.6:
            z += beach_ridges(rng, n)
    elif kind == "slope":
        z += 2.5 * fall * (rr * np.sin(turn) + cc * np.cos(turn)) + 0.8 * spectral(rng, n, 1.0, 700, 120)
        z += kettles(rng, n, int(n * n / 2e5))
    elif kind in MORE:
        z += 0.2 * spectral(rng, n, 1.0, 700, 150) + MORE[kind](rng, n)
    elif kind == "floodplain":
        z += 1.2 * spectral(rng, n, 1.0, 600, 120) + kettles(rng, n, int(n * n / 8e4))
    else:
        raise ValueError(f"no ground of kind {kind}")
    z = ndimage.gaussian_filter(z, 1.5)
    if kind == "floodplain":
        return add_stream(rng, z, True)
    if kind in ("till", "knolls") and rng.random() < 0.6:
        return add_stream(rng, z, False)
    return Natural(z, None)
