"""More natural grounds: dunes with slacks between them, ridge and swale of a river's point bars, river terraces."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage

from .texture import spectral

Grid = NDArray[np.float64]


def _along_across(rng: Generator, n: int, bend_m: float) -> tuple[Grid, Grid]:
    """Ways along and across a direction, bent [m]."""
    rr, cc = np.mgrid[:n, :n].astype(float)
    turn = rng.uniform(0, np.pi)
    across = rr * np.cos(turn) + cc * np.sin(turn) + bend_m * spectral(rng, n, 0.9, 400, 120)
    return -rr * np.sin(turn) + cc * np.cos(turn), across


def dunes(rng: Generator, n: int) -> Grid:
    """Low dunes in rows, steep to one side, their crests wavering and broken: wet slacks between them."""
    _, across = _along_across(rng, n, 18.0)
    wave = rng.uniform(70, 130)
    phase = (across / wave) % 1.0
    shape = np.where(phase < 0.7, phase / 0.7, (1 - phase) / 0.3)  # gentle to windward, steep to lee
    high = np.clip(0.9 + 0.45 * spectral(rng, n, 0.8, 260, 60), 0.1, None)
    return np.asarray(rng.uniform(0.7, 1.3) * high * ndimage.gaussian_filter(shape, 4.0))


def ridge_and_swale(rng: Generator, n: int) -> Grid:
    """Arcs of old point bars round a common middle, each sweep cut off by the next."""
    z = np.full((n, n), -np.inf)
    rr, cc = np.mgrid[:n, :n].astype(float)
    for _ in range(max(4, round(n * n / 1.5e5))):
        mid, reach = rng.uniform(-0.1 * n, 1.1 * n, 2), rng.uniform(160, 320)
        far = np.hypot(rr - mid[0], cc - mid[1]) + 6 * spectral(rng, n, 0.9, 300, 90)
        high = np.clip(0.8 + 0.4 * spectral(rng, n, 0.9, 350, 80), 0.1, None)
        bar = rng.uniform(0.3, 0.5) * high * np.sin(2 * np.pi * far / rng.uniform(35, 60)) + rng.normal(0, 0.15)
        z = np.where((far < reach) & (far > 0.35 * reach), bar, z)  # the newest sweep lies over the older ones
    return np.asarray(ndimage.gaussian_filter(np.where(np.isfinite(z), z, 0.0), 4.0))


def terraces(rng: Generator, n: int) -> Grid:
    """Flat treads with scarps of 1-2 m between them; backwater hollows along the foot of each scarp."""
    _, across = _along_across(rng, n, 30.0)
    z = np.zeros((n, n))
    at = across.min() + rng.uniform(100, 250)
    while at < across.max():
        high, from_foot = rng.uniform(1.0, 2.2), at - across
        z += high / (1 + np.exp(from_foot / 5.0))
        deep = np.clip(0.35 + 0.35 * spectral(rng, n, 0.9, 280, 60), 0, None)
        z -= deep * np.exp(-(((from_foot - 32) / rng.uniform(14, 22)) ** 2))
        at += rng.uniform(220, 400)
    return z + 0.1 * spectral(rng, n, 1.0, 250, 50)


MORE = {"dunes": dunes, "swale": ridge_and_swale, "terraces": terraces}
