"""Ground of plain arithmetic with ditches, valleys and fills whose place and size are known."""

from __future__ import annotations

import numpy as np

from wetscout.grid import Grid
from wetscout.records import Terrain


def terrain_of(z, cell_m, water=None):
    """Clean terrain of an array."""
    z = np.asarray(z, dtype=np.float32)
    grid = Grid(z.shape[0], z.shape[1], 0.0, z.shape[0] * cell_m, cell_m, cell_m, cell_m)
    none = np.zeros(z.shape, dtype=bool)
    return Terrain(grid, z, none, none.copy() if water is None else water, 0.02, 0.02)


def frame(size_m, cell_m):
    """Coordinates [m] of cell centres: y southwards, x eastwards, from the middle."""
    n = round(size_m / cell_m)
    at = (np.arange(n) - 0.5 * (n - 1)) * cell_m
    return np.meshgrid(at, at, indexing="ij")


def along_across(y, x, angle_deg):
    """Distance along and across a line through the middle; the angle is from east, clockwise."""
    a = np.radians(angle_deg)
    return x * np.cos(a) + y * np.sin(a), -x * np.sin(a) + y * np.cos(a)


def trapezoid(across, bed, half_bed, side):
    """Level of a cut: bed, then sides that rise 1 in `side`."""
    return bed + np.maximum(np.abs(across) - half_bed, 0.0) / side


def rolling(y, x, height, wave_m):
    """Gentle ground with no line in it."""
    return height * (np.sin(2 * np.pi * y / wave_m + 0.3) + np.cos(2 * np.pi * x / (1.3 * wave_m) + 1.0))


def noise(shape, sigma, seed):
    """White noise [m]."""
    return np.random.default_rng(seed).normal(0.0, sigma, shape)


def distance_to(lines, along_points, cell_m):
    """Distance [m] of known points (row, col) from the nearest station of any line."""
    from scipy.spatial import cKDTree

    stations = np.concatenate([np.column_stack((d.row, d.col)) for d in lines])
    return cKDTree(stations).query(along_points)[0] * cell_m


def line_points(angle_deg, length_m, size_m, cell_m):
    """Points (row, col) every half metre on the middle `length_m` of the line."""
    t = np.arange(-0.5 * length_m, 0.5 * length_m, 0.5)
    a = np.radians(angle_deg)
    mid = 0.5 * (round(size_m / cell_m) - 1)
    return np.column_stack((mid + t * np.sin(a) / cell_m, mid + t * np.cos(a) / cell_m))


def ditch_through_ridge(cell_m, angle_deg=30.0, size_m=300.0, sigma=0.03, half_bed=0.6, side=1.5):
    """A ditch with falling bed through a ridge 1.2 m high; banks climb to its middle."""
    y, x = frame(size_m, cell_m)
    t, n = along_across(y, x, angle_deg)
    ground = 20.0 + 1.2 * np.exp(-((t / 60.0) ** 2)) + rolling(y, x, 0.05, 180.0)
    bed = 19.3 - 0.001 * t
    z = np.minimum(ground, trapezoid(n, bed, half_bed, side))
    return z + noise(z.shape, sigma, 7), ground, bed
