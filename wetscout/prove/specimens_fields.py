"""Specimens that are shaped fields or built ground. Sizes: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wetscout.prove.canvas import PLAIN, Canvas
from wetscout.prove.cover import BUILT, CROPS
from wetscout.prove.fields import sample, smooth_walk
from wetscout.prove.kinds import Options
from wetscout.prove.sweep import Path, near, sweep

SLOPE: Options = replace(PLAIN, fall=(0.02, 0.045), relief_m=(1.2, 0.4, 0.12))
LEVEL: Options = replace(PLAIN, fall=(0.0008, 0.002), relief_m=(0.4, 0.15, 0.08))


def terraces(c: Canvas) -> None:
    """Ridges along the slope with a channel above each; a riser drains the low spot of each into a pipe.

    Parameters
    ----------
    c : Canvas
    """
    for x, y in c.spots(2):
        turn = c.down(x, y, 120.0)
        # a draw through the terraces, where water gathers
        u, v = c.frame(x, y, turn)
        draw = c.rng.uniform(0.3, 0.8) * np.exp(-(((v - c.rng.uniform(-30, 30)) / 22.0) ** 2))
        c.z -= (draw * np.clip((150 - np.abs(u)) / 70, 0, 1)).astype(np.float32)
        gap = c.rng.uniform(28.0, 40.0)
        for k in range(-1, 3):
            _terrace(c, (x, y, turn), (k - 0.5) * gap)


def _terrace(c: Canvas, origin: tuple[float, float, float], down_m: float) -> None:
    """One ridge with its catch basin."""
    x, y, turn = origin
    v = np.arange(-90.0, 90.1, 4.0)
    u = down_m + 3.0 * smooth_walk(c.rng, v.size, 4.0, 90.0)
    path = Path(x + u * np.cos(turn) - v * np.sin(turn), y + u * np.sin(turn) + v * np.cos(turn))
    level = sample(c.z, path.x, path.y, c.cell)
    # the crest is built level over the low spots, and follows the slope elsewhere
    high = np.maximum(level + c.rng.uniform(0.35, 0.6), np.quantile(level, 0.3) + c.rng.uniform(0.3, 0.5))
    for piece in sweep(c.shape, c.cell, path, 9.0):
        top = piece.between(high) - np.clip(piece.distance - 0.7, 0, None) / 4.5
        np.maximum(c.z[piece.window], top, out=c.z[piece.window], casting="same_kind")
    above = Path(path.x - 7 * np.cos(turn), path.y - 7 * np.sin(turn))
    for piece in sweep(c.shape, c.cell, above, 4.0):
        c.z[piece.window] -= (0.04 * np.clip(1 - (piece.distance / 4.0) ** 2, 0, 1)).astype(np.float32)
    upper = Path(path.x - 15 * np.cos(turn), path.y - 15 * np.sin(turn))
    c.add(near(c.shape, c.cell, path, 8.0) | near(c.shape, c.cell, upper, 14.0), CROPS)


def levelled_land(c: Canvas) -> None:
    """Fields planed to an even slope for irrigation, with low checks across and ditches at head and tail.

    Parameters
    ----------
    c : Canvas
    """
    for x, y in c.spots(2):
        turn = c.down(x, y, 120.0) + c.rng.normal(0, 0.2)
        u, v = c.frame(x, y, turn)
        half_u, half_v = c.rng.uniform(70.0, 110.0), c.rng.uniform(60.0, 110.0)
        field = (np.abs(u) < half_u) & (np.abs(v) < half_v)
        # benches on steeper land: levels of their own, a step between them
        benches = int(c.rng.integers(1, 4))
        bench = np.clip(np.floor((u + half_u) / (2 * half_u) * benches), 0, benches - 1)
        plane = np.zeros(c.shape)
        for k in range(benches):
            mine = field & (bench == k)
            plane[mine] = float(c.z[mine].mean()) - c.rng.uniform(0.0005, 0.002) * (u[mine] - u[mine].mean())
        np.copyto(c.z, plane, where=field, casting="same_kind")
        gap = c.rng.uniform(18.0, 40.0)
        check = np.clip(1 - np.abs((u + half_u) % gap - gap / 2) / 1.5, 0, 1) * c.rng.uniform(0.12, 0.3)
        edge = np.maximum(np.abs(u) - half_u, np.abs(v) - half_v)
        rim = np.clip(1 - np.abs(edge) / 2.0, 0, 1) * c.rng.uniform(0.2, 0.4)
        c.z += np.maximum(np.where(field, check, 0), rim).astype(np.float32)
        across = np.array([-np.sin(turn), np.cos(turn)])
        for sign in (-1.0, 1.0):
            start = np.array([x, y]) + sign * (half_u + 4) * np.array([np.cos(turn), np.sin(turn)]) - half_v * across
            path = c.line(float(start[0]), float(start[1]), turn + np.pi / 2, 2 * half_v)
            c.ditch(path, c.level(float(path.x[0]), float(path.y[0])) - 0.5, 0.0005)
        c.add(edge < 10, CROPS, bool(c.rng.random() < 0.5))


def furrowed_fields(c: Canvas) -> None:
    """Ridge tillage of 4-14 cm, dead furrows of 0.15-0.3 m and headlands, over land with faint hollows.

    Parameters
    ----------
    c : Canvas
    """
    for x, y in c.spots(2):
        turn = c.rng.uniform(0, np.pi)
        u, v = c.frame(x, y, turn)
        half = c.side / 4 - 12
        field = (np.abs(u) < half) & (np.abs(v) < half)
        spacing, high = float(c.rng.choice([0.9, 1.5, 3.0, 4.5])), c.rng.uniform(0.04, 0.14)
        # rows of 0.9 m cannot be seen in 1 m cells as rows: they are roughness
        high = min(high, 0.06) if spacing < 2 * c.cell else high
        rows = high / 2 * np.sin(2 * np.pi * v / max(spacing, 2.2 * c.cell))
        wide, deep = float(c.rng.uniform(14.0, 40.0)), c.rng.uniform(0.15, 0.3)
        off = np.abs((v + half) % wide - wide / 2)
        dead = -deep * np.clip(1 - off / c.rng.uniform(0.7, 1.5), 0, 1)
        head = 0.12 * np.clip(1 - np.abs(np.abs(u) - half + 6) / 5.0, 0, 1)
        c.z += np.where(field, rows + np.where(c.rng.random() < 0.7, dead, 0.0) + head, 0.0).astype(np.float32)
        c.add(field, CROPS, bool(c.rng.random() < 0.4))


def buildings(c: Canvas) -> None:
    """Farmyards: houses and sheds cut out of the ground and bridged flat, high or low; yards and drives between.

    Parameters
    ----------
    c : Canvas
    """
    for x, y in c.spots(3):
        turn = c.rng.uniform(0, np.pi)
        level = c.level(x, y, 30.0)
        u, v = c.frame(x, y, turn)
        yard = (np.abs(u) < 40) & (np.abs(v) < 32)
        flat = np.clip((38 - np.maximum(np.abs(u) - 2, np.abs(v) + 6)) / 10, 0, 1)
        c.z += (flat * (level - c.z) * 0.8).astype(np.float32)
        for _ in range(int(c.rng.integers(3, 7))):
            a, b = c.rng.uniform(-28, 28), c.rng.uniform(-20, 20)
            long, wide = c.rng.uniform(5.0, 22.0), c.rng.uniform(4.0, 10.0)
            hit = (np.abs(u - a) < long) & (np.abs(v - b) < wide)
            if hit.any():
                seen = float(np.quantile(c.z[hit], c.rng.random()))
                np.copyto(c.z, np.float32(seen + c.rng.choice([-0.5, -0.25, 0.0, 0.3])), where=hit)
        c.add(yard, BUILT + int(c.rng.integers(0, 3)))
