"""Random fields: spectral noise, cells round points, and the errors of a lidar survey."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

Grid = NDArray[np.float64]


def spectral(rng: Generator, n: int, roughness: float, longest_m: float, shortest_m: float) -> Grid:
    """A Gaussian field with a power-law spectrum between two wavelengths, on 1 m cells, spread 1."""
    big = int(n * 1.25) + 8  # not periodic over the piece that is used
    f = np.hypot(np.fft.fftfreq(big)[:, None], np.fft.rfftfreq(big)[None, :])
    with np.errstate(divide="ignore"):
        weight = np.where(f > 0, f ** -(1.0 + roughness), 0.0)
    weight *= np.exp(-((f * shortest_m) ** 2)) * (1 - np.exp(-((f * longest_m) ** 2)))
    wave = np.fft.rfft2(rng.standard_normal((big, big))) * weight
    field = np.fft.irfft2(wave, s=(big, big))[:n, :n]
    return np.asarray((field - field.mean()) / field.std())


def cells_of(rng: Generator, n: int, spacing_m: float, warp_m: float) -> tuple[Grid, Grid, NDArray[np.int64], Grid]:
    """Distance to the nearest and second nearest of scattered points, seen through a warp; number of the nearest."""
    pad = spacing_m
    k = max(int(((n + 2 * pad) / spacing_m) ** 2), 8)
    points = rng.uniform(-pad, n + pad, (k, 2))
    step = 2  # half resolution is enough for shapes of tens of metres
    m = -(-n // step)
    rr, cc = np.meshgrid(np.arange(m) * step, np.arange(m) * step, indexing="ij")
    bend = [spectral(rng, m, 0.8, 150 / step, 50 / step) * warp_m for _ in range(2)]
    at = np.stack([(rr + bend[0]).ravel(), (cc + bend[1]).ravel()], 1)
    far, who = cKDTree(points).query(at, k=2)

    def up(a: Grid, order: int) -> Grid:
        return np.asarray(ndimage.zoom(a.reshape(m, m), step, order=order)[:n, :n])

    return up(far[:, 0], 1), up(far[:, 1], 1), up(who[:, 0].astype(float), 0).astype(np.int64), points


def lidar_error(rng: Generator, n: int, sigma_m: float) -> Grid:
    """Survey error on 1 m cells: white and short-range parts, stronger where few points fell."""
    white = rng.standard_normal((n, n))
    near = ndimage.gaussian_filter(rng.standard_normal((n, n)), 1.2)
    near /= near.std()
    density = np.exp(0.25 * spectral(rng, n, 0.5, 200, 30))
    return np.asarray(sigma_m * np.clip(density, 0.6, 1.8) * (0.94 * white + 0.34 * near))


def furrows(rng: Generator, n: int) -> Grid:
    """Tillage of 2-3 cm in fields of their own direction; some fields smooth."""
    far, _, who, points = cells_of(rng, n, 260.0, 0.0)
    del far
    k = len(points)
    angle, wave = rng.choice([0.0, np.pi / 2, 0.3], k), rng.uniform(3.0, 6.0, k)
    high = np.where(rng.random(k) < 0.6, rng.uniform(0.02, 0.03, k), 0.0)
    rr, cc = np.mgrid[:n, :n]
    phase = (rr * np.sin(angle[who]) + cc * np.cos(angle[who])) * 2 * np.pi / wave[who]
    return np.asarray(high[who] * np.sin(phase))


def stripes(rng: Generator, n: int, high_m: float) -> Grid:
    """Flight lines that do not agree: bands of 60-140 m a little higher or lower, and a fine corduroy of scan lines."""
    rr, cc = np.mgrid[:n, :n].astype(float)
    turn = rng.uniform(0, np.pi)
    across, along = rr * np.cos(turn) + cc * np.sin(turn), -rr * np.sin(turn) + cc * np.cos(turn)
    bounds = across.min() + np.cumsum(rng.uniform(60, 140, int(3 * n / 60) + 4))
    step = rng.normal(0, high_m, len(bounds) + 1)[np.searchsorted(bounds, across)]
    return np.asarray(step + 0.5 * high_m * np.sin(2 * np.pi * along / rng.uniform(2.5, 4.0)))
