"""Specimens that are lines: railways, canals, road cuts, waterways, streams. Sizes: common practice, no source."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from wetscout.prove.canvas import Canvas
from wetscout.prove.cover import BUILT, GRASS, HAY, WATER
from wetscout.prove.dig import carve
from wetscout.prove.fields import sample, smooth_walk
from wetscout.prove.routes import wiggle
from wetscout.prove.sweep import Path, near, resample, sweep
from wetscout.records import F64


def _across(c: Canvas, spread: float = 0.35) -> Path:
    """A line through the country from side to side."""
    turn = c.rng.uniform(0, 2 * np.pi)
    x, y = c.rng.uniform(0.3, 0.7, 2) * c.side
    path = c.line(x - c.side * np.cos(turn), y - c.side * np.sin(turn), turn, 2 * c.side)
    push = spread * 100 * smooth_walk(c.rng, path.x.size, 4.0, 500.0)
    return resample(Path(path.x - push * np.sin(turn), path.y + push * np.cos(turn)), 4.0)


def _bank(c: Canvas, path: Path, top: F64, width_m: float, side: float) -> None:
    """Fill up to a crown, never taking anything away."""
    for piece in sweep(c.shape, c.cell, path, width_m / 2 + side * 4.0):
        crown = piece.between(top) - np.clip(piece.distance - width_m / 2, 0, None) / side
        np.maximum(c.z[piece.window], crown, out=c.z[piece.window], casting="same_kind")


def _beside(path: Path, off_m: float | F64) -> Path:
    tx, ty = np.gradient(path.x), np.gradient(path.y)
    long = np.maximum(np.hypot(tx, ty), 1e-9)
    return Path(path.x - off_m * ty / long, path.y + off_m * tx / long)


def _side_ditch(c: Canvas, path: Path, off_m: float, deep: float) -> None:
    """A ditch beside a line that follows the ground, drawn downhill."""
    line = _beside(path, off_m)
    level = ndimage.gaussian_filter1d(sample(c.z, line.x, line.y, c.cell), 3.0)
    bed = level - deep
    if bed[-1] > bed[0]:
        line, bed = Path(line.x[::-1], line.y[::-1]), bed[::-1]
    carve(c.z, c.z.copy(), c.cell, line, bed, (float(c.rng.uniform(0.5, 1.2)), float(c.rng.uniform(1.5, 2.5))))


def railways(c: Canvas) -> None:
    """An even grade: fill over low ground, cuttings through heights, a ditch on each side, culverts not shown.

    Parameters
    ----------
    c : Canvas
    """
    path = _across(c, 0.6)
    level = sample(c.ground, path.x, path.y, c.cell)
    grade = ndimage.gaussian_filter1d(level, 60.0) + c.rng.uniform(0.2, 0.8)
    width = float(c.rng.uniform(5.0, 8.0))
    carve(c.z, c.ground, c.cell, path, grade - 0.4, (width + 4.0, 1.8))
    _bank(c, path, grade, width, 1.8)
    for off in (-1, 1):
        _side_ditch(c, path, off * (width / 2 + 5.5), float(c.rng.uniform(0.4, 0.8)))
    c.add(near(c.shape, c.cell, path, 20.0), BUILT)


def road_cuts(c: Canvas) -> None:
    """A road lower than the land, with its side ditches.

    Parameters
    ----------
    c : Canvas
    """
    path = _across(c, 0.5)
    level = sample(c.ground, path.x, path.y, c.cell)
    swing = np.clip(1.2 * smooth_walk(c.rng, level.size, 4.0, 160.0) + 0.8, 0.0, 3.0)
    crown = ndimage.gaussian_filter1d(level - swing, 10.0)
    width = float(c.rng.uniform(6.0, 9.0))
    carve(c.z, c.ground, c.cell, path, crown - 0.5, (width + 5.0, float(c.rng.uniform(1.5, 3.0))))
    _bank(c, path, crown, width, 2.5)
    c.add(near(c.shape, c.cell, path, 18.0), BUILT)


def canals(c: Canvas) -> None:
    """An irrigation canal along the contour, its bed near the ground, its banks above it.

    Parameters
    ----------
    c : Canvas
    """
    path = _across(c, 0.5)
    level = ndimage.gaussian_filter1d(sample(c.ground, path.x, path.y, c.cell), 25.0)
    bed = level - c.rng.uniform(0.0, 0.5) - 0.0002 * path.along
    width, high = float(c.rng.uniform(2.5, 7.0)), float(c.rng.uniform(0.8, 1.5))
    for off in (-1, 1):
        _bank(c, _beside(path, off * (width / 2 + 2.2 * high + 2.0)), bed + high + 0.1, 3.0, 2.0)
    carve(c.z, c.ground, c.cell, path, bed, (width, 1.7))
    if c.rng.random() < 0.5:
        for piece in sweep(c.shape, c.cell, path, width / 2 + 1.0):
            water = piece.between(bed + 0.5 * high)
            np.maximum(
                c.z[piece.window], np.where(piece.distance < width / 2 + 1, water, -np.inf), out=c.z[piece.window],
                casting="same_kind",
            )  # fmt: skip
    c.add(near(c.shape, c.cell, path, 22.0), int(c.rng.choice([WATER, GRASS])))


def grassed_waterways(c: Canvas) -> None:
    """A broad shaped channel 0.3-0.6 m deep, 8-16 m wide, down the fall of a field.

    Parameters
    ----------
    c : Canvas
    """
    for x, y in c.spots(2):
        turn = c.down(x, y, 110.0)
        path = c.line(x - 100 * np.cos(turn), y - 100 * np.sin(turn), turn, 220.0)
        path = wiggle(c.rng, path, float(c.rng.uniform(2.0, 8.0)), 120.0)
        half, deep = float(c.rng.uniform(5.0, 9.0)), float(c.rng.uniform(0.35, 0.65))
        level = ndimage.gaussian_filter1d(sample(c.z, path.x, path.y, c.cell), 4.0)
        # it comes out on the slope below, and fades in above
        bed = np.minimum.accumulate(
            level - deep * np.clip(np.minimum(path.along, path.along[-1] - path.along) / 30, 0, 1)
        )
        for piece in sweep(c.shape, c.cell, path, 1.6 * half):
            shape = piece.between(bed) + 1.3 * deep * (piece.distance / half) ** 2
            np.minimum(c.z[piece.window], shape, out=c.z[piece.window], casting="same_kind")
        c.add(near(c.shape, c.cell, path, 14.0), int(c.rng.choice([GRASS, GRASS, 82])), bool(c.rng.random() < 0.3))


def stream_heads(c: Canvas) -> None:
    """A natural stream that begins in a hollow of the slope, and runs on in bends.

    Parameters
    ----------
    c : Canvas
    """
    for x, y, turn in c.lanes(2):
        path = c.line(x - 60 * np.cos(turn), y - 60 * np.sin(turn), turn, c.side)
        path = wiggle(c.rng, path, float(c.rng.uniform(5.0, 9.0)), float(c.rng.uniform(40.0, 70.0)))
        level = ndimage.gaussian_filter1d(sample(c.z, path.x, path.y, c.cell), 4.0)
        # the head: a bowl open down the slope, 0.5-1.2 m below the land
        u, v = c.frame(float(path.x[0]), float(path.y[0]), turn)
        bowl, deep = float(c.rng.uniform(14.0, 28.0)), float(c.rng.uniform(0.5, 1.2))
        side = np.exp(-((v / bowl) ** 2)) / (1 + np.exp(-(u + 8) / 5.0))
        c.z -= (deep * side).astype(np.float32)
        bed = np.minimum.accumulate(level - deep - np.clip(path.along / 40.0, 0.1, 1) * c.rng.uniform(0.4, 1.0))
        carve(c.z, c.ground, c.cell, path, bed, (float(c.rng.uniform(0.8, 2.5)), float(c.rng.uniform(1.0, 2.5))))
        c.add(near(c.shape, c.cell, path, 25.0), int(c.rng.choice([HAY, 41, 82])), bool(c.rng.random() < 0.5))


def sinuous_valleys(c: Canvas) -> None:
    """A stream in wide bends on its own flat valley floor, with an old arm cut off.

    Parameters
    ----------
    c : Canvas
    """
    path = _across(c, 0.5)
    level = ndimage.gaussian_filter1d(sample(c.ground, path.x, path.y, c.cell), 30.0)
    if level[-1] > level[0]:
        path, level = Path(path.x[::-1], path.y[::-1]), level[::-1]
    floor = np.minimum.accumulate(level) - c.rng.uniform(0.8, 1.8)
    half = float(c.rng.uniform(25.0, 45.0))
    for piece in sweep(c.shape, c.cell, path, half + 60):
        slope = piece.between(floor) + 0.004 * piece.distance + np.clip(piece.distance - half, 0, None) / 12.0
        np.minimum(c.z[piece.window], slope, out=c.z[piece.window], casting="same_kind")
    amplitude, length = float(c.rng.uniform(0.35, 0.5)) * half, float(c.rng.uniform(60.0, 110.0))
    stream = wiggle(c.rng, path, amplitude, length)
    wide, deep = float(c.rng.uniform(2.0, 4.0)), float(c.rng.uniform(0.6, 1.3))
    bed = np.interp(stream.along / stream.along[-1], path.along / path.along[-1], floor) - deep
    carve(c.z, c.z.copy(), c.cell, stream, np.minimum.accumulate(bed), (wide, float(c.rng.uniform(1.2, 2.5))))
    inside = np.flatnonzero((stream.x > 80) & (stream.x < c.side - 80) & (stream.y > 80) & (stream.y < c.side - 80))
    if inside.size:
        i = int(c.rng.choice(inside))
        turns = np.linspace(0, 1.2 * np.pi, 25)
        radius = 0.45 * half
        arm = Path(stream.x[i] + radius * np.cos(turns), stream.y[i] + radius * np.sin(turns))
        carve(c.z, c.z.copy(), c.cell, arm, np.full(25, float(bed[i]) + 0.3), (wide, 2.0))
    c.add(near(c.shape, c.cell, path, half + 15), int(c.rng.choice([HAY, 41, 90])), bool(c.rng.random() < 0.6))
