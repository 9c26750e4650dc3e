"""Ground that ice left: kettle moraine, till plain, drumlins, pitted outwash, peat in the lows of till."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from otherground.ground import Stream

from .fields import (
    Grid,
    around,
    crept,
    dimpled,
    outline,
    rough,
    run_over,
    settled,
    smooth_max,
    spread,
    tilted,
    wander,
)  # fmt: skip
from .place import Place, channel, valley


def section_lines(rng: Generator) -> float:
    """Angle of roads and fences: mostly the surveyor's grid, here and there along something else."""
    return float(rng.normal(0, 0.02) if rng.random() < 0.75 else rng.uniform(-0.7, 0.7))


def soil(rng: Generator, n: int, size_m: float = 0.015) -> Grid:
    """Unevenness of a field that has been ploughed for long."""
    return size_m * rough(rng, n, 4, 60, 1.2)


def kettle_moraine(rng: Generator, n: int) -> Place:
    """Hummocks, ring ridges and kettles of stagnant ice, low enough to be farmed."""
    toward = float(rng.uniform(0, 2 * np.pi))
    z = tilted(n, float(rng.uniform(0.003, 0.007)), toward) + float(rng.uniform(0.5, 0.9)) * rough(rng, n, 250, 900)
    for at in spread(rng, n, 62):
        size = float(rng.uniform(26, 60))
        w, dr, dc = around(n, at, size * 2.4)
        u = outline(rng, dr, dc, (size, size * float(rng.uniform(0.55, 0.95))), float(rng.uniform(0, np.pi)), 0.2)
        high = float(rng.gamma(3.0, 0.34))
        ring = rng.random() < 0.3
        z[w] += high * (np.exp(-(((u - 0.95) / 0.42) ** 2)) if ring else 1 / (1 + u**4))
    for at in spread(rng, n, 150, 5):
        half = float(rng.lognormal(3.45, 0.45))
        w, dr, dc = around(n, at, half * 3)
        u = outline(rng, dr, dc, (half, half * float(rng.uniform(0.5, 1))), float(rng.uniform(0, np.pi)), 0.25)
        z[w] -= float(rng.uniform(0.7, 2.4)) / (1 + u**3)
    z = run_over(crept(dimpled(rng, z, 210), 7), 8, 0.006)
    z, stream = valley(rng, z, toward + float(rng.normal(0, 0.4)), float(rng.uniform(2.4, 3.4)), 22, 0.06)
    z = crept(settled(z, 1.1 + 0.5 * np.clip(rough(rng, n, 300, 900), -1, 2)), 5) + soil(rng, n)
    return Place(z, (stream,), toward, section_lines(rng), 3.0)


def till_plain(rng: Generator, n: int) -> Place:
    """Swell-and-swale ground moraine: faint ridges of a retreating ice edge, round flat basins, young swales."""
    toward = float(rng.uniform(0, 2 * np.pi))
    z = tilted(n, float(rng.uniform(0.0015, 0.003)), toward) + float(rng.uniform(0.45, 0.7)) * rough(rng, n, 120, 800)
    rr, cc = np.mgrid[0:n, 0:n].astype(float)
    lean = float(rng.uniform(0, np.pi))
    across = rr * np.sin(lean) + cc * np.cos(lean) + 45 * rough(rng, n, 250, 900)
    ridge = 0.5 + 0.5 * np.cos(2 * np.pi * across / float(rng.uniform(85, 140)))
    z += float(rng.uniform(0.35, 0.7)) * ridge**2 * np.clip(0.55 + 0.7 * rough(rng, n, 90, 300), 0, 1.4)
    for at in spread(rng, n, 125, 6):
        half = float(rng.lognormal(3.5, 0.4))
        w, dr, dc = around(n, at, half * 2.6)
        u = outline(rng, dr, dc, (half, half * float(rng.uniform(0.7, 1))), float(rng.uniform(0, np.pi)), 0.13)
        z[w] -= float(rng.uniform(0.5, 1.4)) / (1 + u**5)
    z = run_over(crept(dimpled(rng, z, 190), 7), 8, 0.003)
    streams: tuple[Stream, ...] = ()
    if rng.random() < 0.6:
        z, stream = valley(rng, z, toward + float(rng.normal(0, 0.3)), float(rng.uniform(1.8, 2.6)), 26, 0.035)
        streams = (stream,)
    z = crept(settled(z, 0.9 + 0.35 * np.clip(rough(rng, n, 300, 900), -1.2, 2)), 6) + soil(rng, n)
    return Place(z, streams, toward, section_lines(rng))


def drumlins(rng: Generator, n: int) -> Place:
    """A field of drumlins: long hills side by side, till and wet lows between them."""
    flow = float(rng.uniform(0, 2 * np.pi))
    toward = flow + float(rng.normal(0, 0.3))
    z = tilted(n, float(rng.uniform(0.002, 0.004)), toward) + 0.35 * rough(rng, n, 90, 700)
    tops = np.full((n, n), -9.0)
    for at in spread(rng, n, 165, 8):
        long, broad = float(rng.uniform(110, 260)), float(rng.uniform(38, 75))
        w, dr, dc = around(n, at, long * 1.6)
        turn = flow + float(rng.normal(0, 0.07))
        u = dr * np.sin(turn) + dc * np.cos(turn)
        v = dr * np.cos(turn) - dc * np.sin(turn)
        v = v + 0.05 * u * float(rng.normal(0, 1))
        nose = np.where(u < 0, u / (0.6 * long), u / (1.25 * long))
        body = 1 - nose**2 - (v / (broad * (1 - 0.25 * np.clip(nose, -1, 1)))) ** 2
        tops[w] = np.maximum(tops[w], float(rng.uniform(2.0, 5.0)) * body)
    z = z + smooth_max(tops, -0.3, 0.25)
    z += 0.3 * rough(rng, n, 45, 180, 1.5)
    z = crept(dimpled(rng, z, 200), 6)
    z, stream = valley(rng, z, toward, float(rng.uniform(1.6, 2.6)), 20, 0.06)
    z = crept(settled(z, 1.0 + 0.4 * np.clip(rough(rng, n, 250, 900), -1.2, 2)), 5) + soil(rng, n)
    return Place(z, (stream,), toward, section_lines(rng), 3.0)


def pitted_outwash(rng: Generator, n: int) -> Place:
    """An outwash plain: faint braided channels, kettles of all sizes alone and in strings, a stream along it."""
    toward = float(rng.uniform(0, 2 * np.pi))
    z = tilted(n, float(rng.uniform(0.0022, 0.004)), toward) + 0.3 * rough(rng, n, 300, 900)
    rr, cc = np.mgrid[0:n, 0:n].astype(float)
    for _ in range(int(rng.integers(5, 9))):
        off = float(rng.uniform(-0.6, 0.6)) * n
        along = (rr - n / 2) * np.sin(toward) + (cc - n / 2) * np.cos(toward)
        across = (rr - n / 2) * np.cos(toward) - (cc - n / 2) * np.sin(toward)
        bend = 22 * np.interp(along, np.linspace(-n, n, 400), wander(rng, 400, 12))
        far = across - off - bend
        z -= float(rng.uniform(0.15, 0.4)) * np.exp(-((far / float(rng.uniform(10, 24))) ** 4))
    for at in spread(rng, n, 100, 4):
        if rng.random() < 0.35:
            continue
        half = float(rng.lognormal(3.3, 0.4))
        w, dr, dc = around(n, at, half * 3)
        u = outline(rng, dr, dc, (half, half * float(rng.uniform(0.5, 1))), float(rng.uniform(0, np.pi)), 0.22)
        z[w] -= float(rng.uniform(0.5, 2.8)) / (1 + u ** float(rng.uniform(3, 6)))
    z = crept(dimpled(rng, z, 200), 5)
    z, stream = valley(rng, z, toward + float(rng.normal(0, 0.2)), float(rng.uniform(2.2, 3.2)), 25, 0.1)
    z = crept(settled(z, 1.4 + 0.6 * np.clip(rough(rng, n, 200, 900), -1.2, 2)), 4) + soil(rng, n)
    return Place(z, (stream,), toward, section_lines(rng))


def peat_flats(rng: Generator, n: int) -> Place:
    """Till whose lows filled with peat to near their spill: many flat floors, some of them large."""
    toward = float(rng.uniform(0, 2 * np.pi))
    z = tilted(n, float(rng.uniform(0.001, 0.0025)), toward) + float(rng.uniform(0.8, 1.2)) * rough(
        rng, n, 70, 420, 1.8
    )
    for at in spread(rng, n, 130, 5):
        half = float(rng.uniform(20, 50))
        w, dr, dc = around(n, at, half * 2.6)
        u = outline(rng, dr, dc, (half, half * float(rng.uniform(0.5, 1))), float(rng.uniform(0, np.pi)), 0.25)
        z[w] -= float(rng.uniform(0.4, 1.4)) / (1 + u**4)
    z = run_over(crept(dimpled(rng, z, 180), 8), 12, 0.006)
    streams: tuple[Stream, ...] = ()
    if rng.random() < 0.7:
        z, stream = valley(rng, z, toward + float(rng.normal(0, 0.3)), float(rng.uniform(1.8, 2.4)), 35, 0.04)
        streams = (stream,)
    z = settled(z, 0.75 + 0.3 * np.clip(rough(rng, n, 250, 900), -1.2, 2))
    return Place(crept(z, 4) + soil(rng, n, 0.02), streams, toward, section_lines(rng))


def loess(rng: Generator, n: int) -> tuple[Grid, float, tuple[Stream, ...]]:
    """Loess over till with valleys that have reached nearly everything."""
    toward = float(rng.uniform(0, 2 * np.pi))
    z = tilted(n, float(rng.uniform(0.006, 0.012)), toward) + 1.6 * rough(rng, n, 150, 900)
    z, stream = valley(rng, z, toward + float(rng.normal(0, 0.2)), float(rng.uniform(3.5, 5.5)), 40, 0.09)
    z = crept(run_over(z, 70, 0.02, pits_last=False), 7)
    z = channel(rng, z, stream.at, stream.bed_m) + soil(rng, n)
    return z, toward, (stream,)
