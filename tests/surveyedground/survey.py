"""An airborne laser survey of the ground: last returns scattered along scan lines in overlapping strips, then gridded.

Strips lie 2-4 cm apart in height, ranges err by 2-4 cm; trees, crops and weeds in ditches thin the returns, water
swallows most and shows its level in the rest; brush in rough grass stays in as ground, a few returns lie far too low
(common practice, no source). Gridding: triangles (Delaunay), mean of a cell with triangles over empty cells, or
weights by inverse squared distance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay, cKDTree

from .dig import fine_at
from .farms import CROP, GRASS, WOOD, YARD, Farms
from .relief import Grid, noise, turned


@dataclass(frozen=True)
class Flight:
    """How a survey was flown: returns a m2 in the open, range error [m], step between strips [m], way of gridding."""

    density: float
    noise_m: float
    strip_m: float
    grid: str
    swath_m: float
    angle: float
    leaf: float  # share of returns lost in crops


@dataclass(frozen=True)
class Seen:
    """What the survey meets: heights on half-metre cells, level of water there (-inf: none), and on 1 m cells what
    grows, brush [m] that stays in, and the share of returns that come back."""

    fine: Grid
    water: Grid
    brush: Grid
    back: Grid


def flight(rng: Generator) -> Flight:
    """A survey of an older sparse or a newer dense kind."""
    grid = str(rng.choice(["tin", "tin", "mean", "idw"]))
    density = rng.uniform(1.5, 2.4) if grid == "tin" else rng.uniform(2.5, 6.0)
    return Flight(
        float(density), float(rng.uniform(0.02, 0.04)), float(rng.uniform(0.02, 0.04)), grid,
        float(rng.uniform(300, 480)), float(rng.uniform(0, np.pi)), float(rng.uniform(0.1, 0.6)),
    )  # fmt: skip


def _strips(rng: Generator, how: Flight, low: float, high: float) -> list[tuple[Grid, float]]:
    """Points (row, col) of each strip over a square from `low` to `high`, and its offset in height."""
    half, mid = (high - low) / np.sqrt(2), (low + high) / 2
    share = 0.8  # strips overlap by a fifth
    gap = 1 / np.sqrt(how.density)
    out = []
    for centre in np.arange(-half - rng.uniform(0, how.swath_m * share), half + how.swath_m, how.swath_m * share):
        across = np.arange(centre - how.swath_m / 2, centre + how.swath_m / 2, gap * 0.75)
        along = np.arange(-half, half, gap / 0.75)
        a, b = np.meshgrid(along, across, indexing="ij")
        a = a + 0.3 * gap * np.sin(b / 7.0) + rng.normal(0, 0.22 * gap, a.shape)
        b = b + np.where(np.arange(len(along)) % 2, 0.37 * gap, 0)[:, None] + rng.normal(0, 0.18 * gap, a.shape)
        cos, sin = np.cos(how.angle), np.sin(how.angle)
        at = np.stack([(mid + a * sin + b * cos).ravel(), (mid + a * cos - b * sin).ravel()], 1)
        at = at[(at >= low).all(1) & (at < high).all(1)]
        if len(at):
            out.append((at, float(rng.normal(0, how.strip_m / np.sqrt(2)))))
    return out


def returning(rng: Generator, land: Farms, how: Flight, weeds: NDArray[np.bool_]) -> Grid:
    """Share of returns that reach the ground on 1 m cells: full in the open, little in woods, patchy gaps elsewhere."""
    n = len(land.cover)
    patch = noise(rng, n, 30, 4, 1.5)
    out = np.ones((n, n))
    crop = rng.uniform(0, how.leaf, land.field.max() + 1)[land.field]
    out = np.where(land.cover == CROP, 1 - crop * (0.7 + 0.3 * np.sign(patch)), out)
    wood = np.clip(rng.uniform(0.35, 0.9) / how.density, 0.08, 0.4)
    out = np.where(land.cover == WOOD, wood * np.clip(1 + 0.9 * patch, 0.05, 2.2), out)
    gaps = (patch > 2.1) & np.isin(land.cover, (CROP, GRASS)) & (land.edge_m > 2)
    out[gaps] = 0
    out[weeds] *= rng.uniform(0.35, 0.75)
    for r, c, half in land.yards:
        u, v = turned(n, land.angle)
        for _ in range(int(rng.integers(2, 5))):
            a, b = (rng.uniform(-0.75, 0.75) * half for _ in range(2))
            long, wide = rng.uniform(4, 14), rng.uniform(4, 8)
            i, j = round(r), round(c)
            out[(np.abs(u - u[i, j] - a) < long) & (np.abs(v - v[i, j] - b) < wide) & (land.cover == YARD)] = 0
    return out


def brush_of(rng: Generator, land: Farms, weeds: NDArray[np.bool_]) -> Grid:
    """Height of brush and rank grass that the filter left in, on 1 m cells [m]: 5-15 cm in clumps."""
    n = len(land.cover)
    clump = noise(rng, n, 16, 2.5, 1.5)
    rough = (land.cover == GRASS) & (rng.random(land.field.max() + 1)[land.field] < 0.6)
    rough |= (land.cover == WOOD) | weeds | (land.edge_m < 2)
    return np.asarray(np.where(rough, np.clip(0.07 * (clump - 0.7), 0, 0.15), 0))


def fly(rng: Generator, how: Flight, seen: Seen, low: float, high: float) -> tuple[Grid, Grid]:
    """Ground returns over a square: positions (n, 2) on 1 m cells and heights (n,) [m]."""
    ats, zs = [], []
    for at, offset in _strips(rng, how, low, high):
        cell = tuple(np.clip(np.rint(at).astype(int), 0, len(seen.back) - 1).T)
        keep = rng.random(len(at)) < seen.back[cell]
        at, cell = at[keep], (cell[0][keep], cell[1][keep])  # noqa: PLW2901
        f = fine_at(at)
        z = ndimage.map_coordinates(seen.fine, f.T, order=1, mode="nearest")
        wet = seen.water[tuple(np.clip(np.rint(f).astype(int), 0, len(seen.fine) - 1).T)]
        under = z < wet
        z = np.where(under, wet, z)
        z = z + rng.normal(0, how.noise_m, len(z)) + offset + seen.brush[cell] * (rng.random(len(z)) < 0.8)
        keep = ~under | (rng.random(len(z)) < 0.3)
        ats.append(at[keep])
        zs.append(z[keep])
    at, z = np.concatenate(ats), np.concatenate(zs)
    low_ones = rng.choice(len(z), max(1, len(z) // 150000), replace=False)
    z[low_ones] -= rng.uniform(0.2, 0.7, len(low_ones))
    return at, z


def _triangles(at: Grid, z: Grid, ask: Grid) -> Grid:
    """Linear in Delaunay triangles, in strips so that memory stays small."""
    out = np.full(len(ask), np.nan)
    for a in np.arange(ask[:, 0].min(), ask[:, 0].max() + 1, 260):
        mine = (ask[:, 0] >= a) & (ask[:, 0] < a + 260)
        near = (at[:, 0] > a - 40) & (at[:, 0] < a + 300)
        if mine.any():
            out[mine] = LinearNDInterpolator(Delaunay(at[near]), z[near])(ask[mine])
    return out


def gridded(how: Flight, at: Grid, z: Grid, first: float, count: int, cell_m: float) -> Grid:
    """Returns brought to `count` x `count` cells, the first centred at `first` [m]."""
    line = first + np.arange(count) * cell_m
    rr, cc = np.meshgrid(line, line, indexing="ij")
    ask = np.stack([rr.ravel(), cc.ravel()], 1)
    if how.grid == "tin":
        return _triangles(at, z, ask).reshape(count, count)
    if how.grid == "idw":
        d, k = cKDTree(at).query(ask, k=6)
        w = 1 / np.maximum(d, 0.15) ** 2
        return np.asarray(((z[k] * w).sum(1) / w.sum(1)).reshape(count, count))
    cell = np.floor((at - first) / cell_m + 0.5).astype(int)
    ok = (cell >= 0).all(1) & (cell < count).all(1)
    flat = cell[ok, 0] * count + cell[ok, 1]
    total, hits = (np.bincount(flat, w, count * count) for w in (z[ok], None))
    out = np.where(hits > 0, total / np.maximum(hits, 1), np.nan)
    empty = hits == 0
    if empty.any():
        near = ndimage.binary_dilation(empty.reshape(count, count), iterations=2).ravel() & ~empty
        out[empty] = LinearNDInterpolator(ask[near], out[near])(ask[empty])
    lost = np.isnan(out).reshape(count, count)
    out = out.reshape(count, count)
    if lost.any():
        k = ndimage.distance_transform_edt(lost, return_distances=False, return_indices=True)
        out = out[tuple(k)]
    return np.asarray(out)
