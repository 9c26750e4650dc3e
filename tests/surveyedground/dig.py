"""Ditches, spoil, ponds, plugs and roads, cut or heaped in half-metre cells.

Beds 0.5-2.5 m, sides 1.3-2 : 1, old ones 3-6 : 1 and silted, spoil 0.1-0.35 m in patches (issue 2, item 11).
"""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from otherground.dig import Line
from scipy import ndimage
from scipy.spatial import cKDTree

from .relief import Grid

FINE = 2  # cells a metre


def to_fine(z: Grid) -> Grid:
    """1 m cells to half-metre cells, bilinear."""
    t = (np.arange(len(z) * FINE) + 0.5) / FINE - 0.5
    rr, cc = np.meshgrid(t, t, indexing="ij")
    return np.asarray(ndimage.map_coordinates(z, [rr, cc], order=1, mode="nearest"))


def fine_at(at: Grid) -> Grid:
    """Positions on 1 m cells as positions on half-metre cells."""
    return np.asarray((at + 0.5) * FINE - 0.5)


def beside(
    at: Grid, cells: int, reach_m: float
) -> tuple[NDArray[np.int64], NDArray[np.int64], Grid, NDArray[np.int64]]:
    """Half-metre cells within reach of a line: row, column, distance [m] to the right (left: negative), station."""
    f = fine_at(at)
    tree = cKDTree(f)
    reach = reach_m * FINE
    part = []
    for a in range(0, len(f), 160):
        piece = f[a : a + 160]
        low = np.clip(np.floor(piece.min(0) - reach), 0, cells).astype(int)
        high = np.clip(np.ceil(piece.max(0) + reach) + 1, 0, cells).astype(int)
        rr, cc = np.mgrid[low[0] : high[0], low[1] : high[1]]
        if not rr.size:
            continue
        spots = np.stack([rr.ravel(), cc.ravel()], 1)
        d, k = tree.query(spots, distance_upper_bound=reach)
        ok = (d <= reach) & (k >= a) & (k < a + 160)
        part.append(np.column_stack([spots[ok], d[ok] / FINE, k[ok]]))
    every = np.concatenate(part) if part else np.zeros((0, 4))
    k = every[:, 3].astype(int)
    way = np.gradient(f, axis=0)[k]
    off = every[:, :2] - f[k]
    unit = way / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    across = unit[:, 0] * off[:, 1] - unit[:, 1] * off[:, 0]
    between = np.abs((off * unit).sum(1)) <= 0.75  # else beyond an end, or round a bend
    far = np.where(between, np.abs(across) / FINE, every[:, 2])
    return every[:, 0].astype(int), every[:, 1].astype(int), np.where(across > 0, -far, far), k


def _along(rng: Generator, count: int, every: float) -> Grid:
    """Wavering along stations, mean 0 and standard deviation 1."""
    wave = ndimage.gaussian_filter1d(rng.standard_normal(count + 8), every, mode="reflect")[:count]
    return np.asarray((wave - wave.mean()) / max(float(wave.std()), 1e-9))


def heap(rng: Generator, fine: Grid, line: Line, ground: Grid) -> None:
    """Lay spoil along a ditch in patches; `ground` is the height beside its stations."""
    width, slope = line.section.bed_width_m, line.section.side
    half = width / 2 + slope * np.clip(ground - line.bed_m, 0, None)
    r, c, d, k = beside(line.at, len(fine), min(float(half.max()) + 9, 24))
    for high, sign in zip(line.section.spoil_m, (1, -1), strict=True):
        if not high:
            continue
        patch = np.clip(0.55 + 0.6 * _along(rng, len(line.at), 24), 0, 1.15)
        gap, wide = rng.uniform(0.4, 1.6), rng.uniform(1.5, 2.8)
        where = (sign * d - half[k] - gap - wide) / wide
        fine[r, c] += high * patch[k] * np.clip(1 - where**2, 0, 1) * (sign * d > 0)


def carve(rng: Generator, fine: Grid, line: Line, ground: Grid) -> None:
    """Cut a ditch; bank sides waver, those of old ones are rounded off."""
    width, slope = line.section.bed_width_m, line.section.side
    half = width / 2 * np.clip(1 + 0.15 * _along(rng, len(line.at), 12), 0.5, 1.6)
    reach = float(np.clip(half.max() + slope * (ground - line.bed_m).clip(0).max() * 1.3 + 2, 3, 24))
    r, c, d, k = beside(line.at, len(fine), reach)
    rise = (
        np.clip(np.abs(d) - half[k], 0, None) / slope * np.clip(1 + 0.12 * _along(rng, len(line.at), 16), 0.7, 1.4)[k]
    )
    if line.section.old:
        rise = rise * np.clip(rise / 0.15, 0.35, 1)
    fine[r, c] = np.minimum(fine[r, c], line.bed_m[k] + rise)


def weather(fine: Grid, line: Line) -> None:
    """Round off the banks of an old ditch over a metre or so."""
    r, c, _, _ = beside(line.at, len(fine), 9.0)
    if not len(r):
        return
    box = (slice(r.min(), r.max() + 1), slice(c.min(), c.max() + 1))
    soft = ndimage.gaussian_filter(fine[box], 1.6, mode="nearest")
    fine[r, c] = soft[r - r.min(), c - c.min()]


def pond(rng: Generator, fine: Grid, at: tuple[float, float], spoil: bool) -> float:
    """Dig a pond with rounded corners; gives the level of its edge [m]."""
    f = fine_at(np.array(at))
    a, b, turn = rng.uniform(9, 22), rng.uniform(6, 13), rng.uniform(0, 3.14)
    box = tuple(slice(max(0, int(v) - 80), min(len(fine), int(v) + 80)) for v in f)
    rr, cc = np.mgrid[box]
    y, x = (rr - f[0]) / FINE, (cc - f[1]) / FINE
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    q = ((np.abs(u) / a) ** 3 + (np.abs(v) / b) ** 3) ** (1 / 3)
    edge = float(np.quantile(fine[box][(q > 0.95) & (q < 1.1)], 0.2))
    out = np.clip((q - 1) * b, 0, None)
    hole = edge - np.clip((1 - q) * b / 1.5, -9, rng.uniform(1.2, 2.2))
    fine[box] = np.where(q < 1, np.minimum(fine[box], hole), fine[box])
    if spoil:
        bank = 0.5 * np.clip(1 - ((out - 4) / 3) ** 2, 0, 1) * (u * np.sign(rng.normal()) > -0.3 * a)
        fine[box] += np.where(q >= 1, bank, 0)
    return edge


def block(fine: Grid, line: Line, at: int, long_m: float, top_m: float, half_m: float = 6.5) -> None:
    """Close a ditch with earth over a length, up to a level (a plug, or a crossing over a pipe)."""
    a, b = max(0, at - int(long_m)), min(len(line.at), at + int(long_m) + 1)
    part = line.at[a:b]
    r, c, d, _ = beside(part, len(fine), half_m + 2.5)
    if not len(r):
        return
    f = fine_at(part)
    way = f[-1] - f[0]
    way = way / max(float(np.hypot(*way)), 1e-9)
    along = (np.stack([r, c], 1) - f[len(f) // 2]) @ way / FINE
    top = top_m - np.clip(np.abs(along) - long_m / 2, 0, None) / 2.0 - np.clip(np.abs(d) - half_m, 0, None) / 2.0
    fine[r, c] = np.maximum(fine[r, c], top)


def road(fine: Grid, at: Grid, top_m: Grid, wide_m: float, slope: float) -> None:
    """Raise a road: a crowned top and even sides, whatever lies beneath."""
    r, c, d, k = beside(at, len(fine), wide_m / 2 + 9)
    d = np.abs(d)
    level = top_m[k] - 0.025 * np.minimum(d, wide_m / 2) - np.clip(d - wide_m / 2, 0, None) / slope
    fine[r, c] = np.maximum(fine[r, c], level)
