"""Roads on fill, with ditches beside them that drain nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from otherground.dig import Line, Section, dense, sample
from scipy import ndimage

from .relief import Grid


@dataclass(frozen=True)
class Way:
    """A road: stations half a metre apart, its top [m], width of the top [m], run of its sides a metre of rise."""

    at: Grid
    top_m: Grid
    wide_m: float
    side: float


def roads(rng: Generator, z: Grid, count: int, angle: float) -> list[Way]:
    """Roads right across, along or square to the fields, on 0.3-1.5 m of fill over evened-out ground."""
    n, out = len(z), []
    for k in range(count):
        turn = angle + (k % 2) * np.pi / 2 + rng.normal(0, 0.03)
        mid = (n - 1) / 2 + rng.uniform(-0.32, 0.32, 2) * n
        t = np.linspace(-1.5 * n, 1.5 * n, 7)
        line = mid + t[:, None] * np.array([np.sin(turn), np.cos(turn)]) + rng.normal(0, 10, (7, 2))
        at = ndimage.gaussian_filter1d(dense(line), 50, axis=0, mode="nearest")
        at = at[(at > -15).all(1) & (at < n + 15).all(1)]
        ground = sample(z, at)
        even = ndimage.gaussian_filter1d(ground, rng.uniform(50, 160), mode="nearest")
        top = np.maximum(even, ground) + rng.uniform(0.3, 0.8)
        top = np.minimum(ndimage.gaussian_filter1d(top, 40, mode="nearest"), ground + 1.5)
        out.append(Way(at, top, float(rng.uniform(4.5, 8)), float(rng.uniform(1.6, 2.6))))
    return out


def roadside(rng: Generator, z: Grid, way: Way, off_limits: NDArray[np.bool_]) -> list[Line]:
    """Ditches at the toe of a road's fill, in stretches clear of hollows and other ditches, following the ground."""
    out = []
    step = np.gradient(way.at, axis=0)
    right = np.stack([-step[:, 1], step[:, 0]], 1) / np.maximum(np.hypot(*step.T), 1e-9)[:, None]
    fill = np.clip(way.top_m - sample(z, way.at), 0.3, 1.6)
    for sign in (-1, 1):
        if rng.random() < 0.25:
            continue
        off = way.wide_m / 2 + way.side * float(fill.mean()) + rng.uniform(1.8, 3.0)
        at = way.at + sign * off * right
        cell = np.rint(at).astype(int)
        inside = (cell >= 0).all(1) & (cell < len(z)).all(1)
        ok = inside.copy()
        ok[inside] = ~off_limits[tuple(cell[inside].T)]
        marks, count = ndimage.label(ok)
        deep = rng.uniform(0.35, 0.75)
        section = Section(float(rng.uniform(0.4, 0.8)), float(rng.uniform(1.5, 3.0)))
        for k in range(1, count + 1):
            part = at[marks == k]
            if len(part) < 120:
                continue
            s = np.arange(len(part)) / 2
            fade = np.clip(np.minimum(s, s[-1] - s) / 8, 0, 1)
            ground = ndimage.gaussian_filter1d(sample(z, part), 20, mode="nearest")
            out.append(Line("roadside", part, np.minimum(ground, sample(z, part)) - deep * fade, section))
    return out
