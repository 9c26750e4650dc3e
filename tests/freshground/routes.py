"""Where a ditch goes and how deep: ways over the ground, and beds that fall all along."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator
from otherground.dig import dense, sample
from scipy import ndimage
from scipy.spatial import cKDTree
from shapely import LineString
from skimage.graph import MCP_Geometric

from .fields import Grid

STEP = 4  # metres a cell of the map on which ways are looked for
LEAST_FALL = 0.0003  # m a metre
SHALLOWEST_M = 0.2


@dataclass
class Outlets:
    """Everything that can take water so far: positions (k, 2), level of the bed [m], number of its line (-1 stream)."""

    at: Grid = field(default_factory=lambda: np.zeros((0, 2)))
    bed_m: Grid = field(default_factory=lambda: np.zeros(0))
    of: Grid = field(default_factory=lambda: np.zeros(0))

    def add(self, at: Grid, bed_m: Grid, of: int) -> None:
        """One more ditch or stream that takes water."""
        self.at = np.vstack([self.at, at])
        self.bed_m = np.concatenate([self.bed_m, bed_m])
        self.of = np.concatenate([self.of, np.full(len(at), float(of))])


@dataclass(frozen=True)
class Map:
    """Ground on coarse cells, for finding ways."""

    z: Grid

    @classmethod
    def of(cls, z: Grid) -> Map:
        """Coarse map of 1 m ground."""
        n = len(z) // STEP * STEP
        return cls(z[:n, :n].reshape(n // STEP, STEP, n // STEP, STEP).mean((1, 3)))

    def cell(self, at: Grid) -> tuple[int, int]:
        """Coarse cell of a position."""
        r, c = (int(np.clip((v - (STEP - 1) / 2) / STEP + 0.5, 0, len(self.z) - 1)) for v in at)
        return r, c

    def way(self, cost: Grid, start: Grid, ends: list[tuple[int, int]]) -> Grid | None:
        """Cheapest way (k, 2) from a position to any of some coarse cells."""
        search = MCP_Geometric(cost)
        costs, _ = search.find_costs([self.cell(start)], ends, find_all_ends=False)
        reached = [e for e in ends if np.isfinite(costs[e])]
        if not reached:
            return None
        best = min(reached, key=lambda e: costs[e])
        return np.asarray(search.traceback(best), float) * STEP + (STEP - 1) / 2


def surveyed(points: Grid, off_m: float) -> Grid:
    """A way staked out in straight reaches, nowhere further than `off_m` from the given one."""
    return np.asarray(LineString(points).simplify(off_m).coords, float)


def crooked(rng: Generator, points: Grid) -> Grid:
    """A way along the lows, cleaned out as it was found."""
    at = dense(points, 0.5)
    soft = ndimage.gaussian_filter1d(at, float(rng.uniform(8, 18)), axis=0, mode="nearest")
    soft[0], soft[-1] = at[0], at[-1]
    return dense(soft, 0.5)


def along_fences(start: Grid, end: Grid, grid: float, first: int) -> Grid:
    """A way along two field edges: a corner between start and end, edges at angle `grid`."""
    axes = np.array([[np.sin(grid), np.cos(grid)], [np.cos(grid), -np.sin(grid)]])
    share = axes @ (end - start)
    return np.array([start, start + share[first] * axes[first], end])


def meets(at: Grid, outlets: Outlets, free_m: float = 12.0) -> tuple[int, int] | None:
    """First station that comes within 4 m of an outlet, with the outlet's number; the first `free_m` do not count."""
    if not len(outlets.at):
        return None
    far, who = cKDTree(outlets.at).query(at, distance_upper_bound=4.0)
    hit = np.flatnonzero(np.isfinite(far) & (np.arange(len(at)) * 0.5 > free_m))
    return (int(hit[0]), int(who[hit[0]])) if len(hit) else None


def graded(ground: Grid, head_m: float, out_m: float) -> Grid:
    """Bed from a head to an outlet: one even fall, lower where the ground would leave it too shallow."""
    even = np.linspace(head_m, out_m, len(ground))
    low = ndimage.minimum_filter1d(ground, 9, mode="nearest") - SHALLOWEST_M
    bed = np.minimum.accumulate(np.minimum(even, low))
    return np.asarray(np.maximum(bed, out_m))


def main_bed(rng: Generator, ground: Grid, deep_m: float) -> Grid:
    """Bed of a district ditch along stations: about `deep_m` deep in reaches of even fall, falling all the way."""
    soft = ndimage.gaussian_filter1d(ground, float(rng.uniform(60, 160)), mode="nearest")
    low = np.minimum.accumulate(np.minimum(soft - deep_m, ground - 0.5 * deep_m))
    low = ndimage.gaussian_filter1d(low, 120, mode="nearest")
    low = np.minimum(low, ground - SHALLOWEST_M)
    return np.asarray(np.minimum.accumulate(low) - np.arange(len(low)) * 0.5 * LEAST_FALL)


def joined(at: Grid, end: Grid) -> Grid:
    """Stations led on to the place where they join something."""
    return np.vstack([at[:-1], dense(np.stack([at[-1], end]), 0.5)]) if len(at) else at


def at_stations(z: Grid, points: Grid) -> tuple[Grid, Grid]:
    """Half-metre stations of a way and the ground along them [m]."""
    at = dense(points, 0.5)
    return at, sample(z, at)
