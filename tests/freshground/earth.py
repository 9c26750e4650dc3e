"""The digging itself, on cells of half a metre: ditches, spoil, ponds, road fill."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from otherground.dig import Line, dense, sample
from scipy import ndimage
from scipy.spatial import cKDTree

from .fields import Grid, outline, smooth_min, wander
from .works import Bank, Works

FINE = 2  # cells a metre


def to_fine(z: Grid) -> Grid:
    """1 m ground on half-metre cells."""
    n = len(z)
    t = (np.arange(n * FINE) - 0.5) / FINE
    grid = np.meshgrid(t, t, indexing="ij")
    return np.asarray(ndimage.map_coordinates(z, grid, order=1, mode="nearest"))


def to_metres(z: Grid, how: str = "mean") -> Grid:
    """Means or minima of half-metre cells on 1 m cells."""
    n = len(z) // FINE
    blocks = z.reshape(n, FINE, n, FINE)
    return np.asarray(blocks.min((1, 3)) if how == "min" else blocks.mean((1, 3)))


class Strip:
    """The fine cells within reach of a line: rows, columns, distance [m], nearest station, side (-1 or 1)."""

    def __init__(self, n: int, at: Grid, reach_m: float) -> None:
        r = int(np.ceil(reach_m * FINE))
        low = np.maximum(np.floor(at.min(0) * FINE).astype(int) - r, 0)
        high = np.minimum(np.ceil(at.max(0) * FINE).astype(int) + r, n)
        off = np.ones(np.maximum(high - low, 1), bool)
        rc = np.rint(at * FINE + 0.5).astype(int) - low
        rc = rc[((rc >= 0) & (rc < off.shape)).all(1)]
        off[rc[:, 0], rc[:, 1]] = False
        rows, cols = np.nonzero(ndimage.distance_transform_edt(off) <= r) if len(rc) else (np.zeros(0, int),) * 2
        self.row, self.col = rows + low[0], cols + low[1]
        where = np.stack([(self.row - 0.5) / FINE, (self.col - 0.5) / FINE], 1)
        far, who = cKDTree(at).query(where) if len(where) else (np.zeros(0), np.zeros(0, int))
        self.who = np.asarray(who)
        ahead = np.gradient(ndimage.gaussian_filter1d(at, 5, axis=0, mode="nearest"), axis=0)[self.who]
        step = where - at[self.who]
        along = np.abs((ahead * step).sum(1)) / np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-9)
        apart = np.minimum(along, 0.13)  # the nearest point of the line lies up to half a step from a station
        self.far = np.sqrt(np.clip(np.asarray(far) ** 2 - apart**2, 0, None))
        self.side = np.sign(ahead[:, 0] * step[:, 1] - ahead[:, 1] * step[:, 0])


def cut(rng: Generator, z: Grid, line: Line) -> None:
    """Dig a ditch, in place: bed, sides that slump a little unevenly, edges rounded by age."""
    form, line = line.section, _dense(line)
    strip = Strip(len(z), line.at, 3.2 * form.side + form.bed_width_m / 2 + 1)
    if not len(strip.row):
        return
    uneven = np.clip(1 + 0.1 * wander(rng, len(line.at), 40), 0.75, 1.3)[strip.who]
    out = np.clip(strip.far - form.bed_width_m / 2 * (1 if form.bed_width_m <= 0.6 else uneven), 0, None)
    face = line.bed_m[strip.who] + out / (form.side * np.where(strip.side < 0, uneven, 1))
    was = z[strip.row, strip.col]
    if form.old:  # edges rounded, the bed itself kept at its level
        soft = smooth_min(was, face, 0.07)
        z[strip.row, strip.col] = np.where(out > 0.3, soft, np.minimum(was, face))
    else:
        z[strip.row, strip.col] = np.minimum(was, face)


def heap(rng: Generator, z: Grid, line: Line, ground: Grid) -> None:
    """Lay the spoil beside a ditch, in place, with gaps where water and wheels go through."""
    if not any(line.section.spoil_m):
        return
    k = len(line.at)
    edge = line.section.bed_width_m / 2 + np.clip(ground - line.bed_m, 0, None) * line.section.side
    wide = float(rng.uniform(2.0, 4.5))
    strip = Strip(len(z), line.at, float(edge.max()) + 2 * wide + 2)
    if not len(strip.row):
        return
    up = np.zeros(len(strip.row))
    for side, high in zip((-1, 1), line.section.spoil_m, strict=True):
        there = np.clip(1 + 0.4 * wander(rng, k, 25), 0.2, 1.6) * np.clip((ground - line.bed_m) / 0.8, 0.3, 1.2)
        at = int(rng.uniform(20, 80))
        while at < k:
            there[at : at + int(rng.uniform(6, 16))] = 0
            at += int(rng.uniform(40, 130))
        there[:24], there[-16:] = 0, 0
        there = ndimage.gaussian_filter1d(there, 2)
        off = (strip.far - edge[strip.who] - 0.5 - wide / 2) / (wide / 2)
        up += (strip.side == side) * high * there[strip.who] * np.clip(1 - off**2, 0, None)
    z[strip.row, strip.col] += np.clip(up, 0, 0.4)


def fill_bank(z: Grid, bank: Bank) -> None:
    """Put the fill of a road or lane on the ground, in place, over whatever lies beneath."""
    strip = Strip(len(z), bank.at, bank.half_m + 4.0 * bank.side)
    if not len(strip.row):
        return
    top = bank.crest_m[strip.who] - np.clip(strip.far - bank.half_m, 0, None) / bank.side
    z[strip.row, strip.col] = np.maximum(z[strip.row, strip.col], top)


def pond(rng: Generator, z: Grid, at: tuple[float, float]) -> float:
    """Dig a pond, in place: steep, boxy or oval, its soil to one side; returns the level of its water [m]."""
    reach = 45
    r, c = (int(v * FINE) for v in at)
    w = (slice(max(r - reach * FINE, 0), r + reach * FINE), slice(max(c - reach * FINE, 0), c + reach * FINE))
    rr, cc = np.mgrid[w][0] / FINE - at[0], np.mgrid[w][1] / FINE - at[1]
    half = float(rng.uniform(9, 19))
    turn = float(rng.uniform(0, np.pi))
    u = outline(
        rng, rr[: z[w].shape[0], : z[w].shape[1]], cc[: z[w].shape[0], : z[w].shape[1]], (half, half * 0.7), turn, 0.06
    )
    low = float(np.quantile(z[w][u < 1.15], 0.05))
    deep = float(rng.uniform(1.2, 2.5))
    z[w] = np.minimum(z[w], low - deep + np.clip(u - 0.45, 0, None) * half / 2.2)
    side = np.cos(np.arctan2(rr, cc)[: z[w].shape[0], : z[w].shape[1]] - turn)
    z[w] += 0.7 * np.clip(side, 0, 1) * np.exp(-(((u - 1.75) / 0.25) ** 2))
    return low - float(rng.uniform(0.3, 0.8))


def dug_open(rng: Generator, z: Grid, works: Works) -> Grid:
    """Half-metre ground with all digging done and every pipe open: spoil first, so that later cuts go through it."""
    fine = to_fine(z)
    for line in works.lines:
        heap(rng, fine, line, sample(z, line.at))
    for line in works.lines:
        cut(rng, fine, line)
    return fine


def _dense(line: Line) -> Line:
    """The same ditch with stations a quarter of a metre apart, so that the cut has no teeth."""
    s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line.at, axis=0).T))])
    at = dense(line.at, 0.25)
    return Line(line.kind, at, np.interp(np.arange(len(at)) * 0.25, s, line.bed_m), line.section)
