"""Where ditches run: straight with bends, crooked along low ground, and graded so that water really leaves."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra

from wetscout.prove.fields import sample, smooth_walk
from wetscout.prove.sweep import Path, resample
from wetscout.records import BOOL, F32, F64

STEP_M = 4.0


@dataclass
class Cut:
    """A ditch while the network grows; the bed may still be deepened for what joins it."""

    kind: str
    path: Path
    bed: F64
    width_m: float
    side: float
    old: bool = False
    spoil_m: tuple[float, float] = (0.0, 0.0)
    joins: tuple[int, int] | None = None
    feeders: list[int] = field(default_factory=list)
    rim: tuple[float, float] | None = None


class CoarseMap:
    """Least-cost routes on a coarse copy of the ground (one node each `step` metres)."""

    def __init__(self, ground: F32, cell_m: float, step_m: float) -> None:
        self.step = step_m
        self.size = (ground.shape[0] * cell_m, ground.shape[1] * cell_m)
        self.rows, self.cols = int(self.size[0] // step_m), int(self.size[1] // step_m)
        yy, xx = np.mgrid[0 : self.rows, 0 : self.cols]
        x, y = (xx + 0.5) * step_m, (yy + 0.5) * step_m
        self.z = sample(ground, x.ravel(), y.ravel(), cell_m).reshape(self.rows, self.cols)

    def node(self, x: float, y: float) -> int:
        """Number of the node nearest to a place [m].

        Parameters
        ----------
        x, y : float
            Place [m].

        Returns
        -------
        int
        """
        r = int(np.clip(y / self.step, 0, self.rows - 1))
        c = int(np.clip(x / self.step, 0, self.cols - 1))
        return r * self.cols + c

    def route(self, start: int, ends: NDArray[np.int64], cost: F64) -> Path | None:
        """Cheapest way from a node to the cheapest of `ends`; `cost` is a price per metre of each node.

        Parameters
        ----------
        start : int
            Node.
        ends : int64 (n,)
            Nodes.
        cost : float64 (nodes,)
            Price per metre.

        Returns
        -------
        Path or None
            None when no end can be reached.
        """
        number = np.arange(self.rows * self.cols).reshape(self.rows, self.cols)
        heads, tails, prices = [], [], []
        for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
            c0, c1 = max(0, -dc), self.cols - max(0, dc)
            a, b = number[: self.rows - dr, c0:c1], number[dr:, c0 + dc : c1 + dc]
            pay = 0.5 * (cost[: self.rows - dr, c0:c1] + cost[dr:, c0 + dc : c1 + dc]) * np.hypot(dr, dc)
            heads.append(a.ravel())
            tails.append(b.ravel())
            prices.append(pay.ravel())
        graph = coo_matrix((np.concatenate(prices), (np.concatenate(heads), np.concatenate(tails))), (number.size,) * 2)
        far, back = dijkstra(graph.tocsr(), directed=False, indices=start, return_predecessors=True)
        end = int(ends[np.argmin(far[ends])])
        if not np.isfinite(far[end]):
            return None
        chain = [end]
        while chain[-1] != start:
            chain.append(int(back[chain[-1]]))
        r, c = np.divmod(np.array(chain[::-1]), self.cols)
        return Path((c + 0.5) * self.step, (r + 0.5) * self.step)

    def border(self) -> NDArray[np.int64]:
        """Nodes along the raster's border."""
        number = np.arange(self.rows * self.cols).reshape(self.rows, self.cols)
        return np.unique(np.concatenate([number[0], number[-1], number[:, 0], number[:, -1]]))


def straighten(path: Path, tolerance_m: float) -> Path:
    """Keep only the corners needed to stay within a tolerance (Douglas & Peucker 1973).

    Parameters
    ----------
    path : Path
    tolerance_m : float
        [m].

    Returns
    -------
    Path
    """
    keep = np.zeros(path.x.size, dtype=bool)
    keep[[0, -1]] = True
    stack = [(0, path.x.size - 1)]
    while stack:
        a, b = stack.pop()
        if b - a < 2:
            continue
        dx, dy = path.x[b] - path.x[a], path.y[b] - path.y[a]
        off = np.abs((path.x[a + 1 : b] - path.x[a]) * dy - (path.y[a + 1 : b] - path.y[a]) * dx)
        worst = int(np.argmax(off))
        if off[worst] > tolerance_m * max(np.hypot(dx, dy), 1e-9):
            keep[a + 1 + worst] = True
            stack += [(a, a + 1 + worst), (a + 1 + worst, b)]
    return Path(path.x[keep], path.y[keep])


def round_corners(path: Path, times: int = 2) -> Path:
    """Cut corners (Chaikin 1974), both ends kept.

    Parameters
    ----------
    path : Path
    times : int

    Returns
    -------
    Path
    """
    x, y = path.x, path.y
    for _ in range(times):
        parts = []
        for v in (x, y):
            mid = np.stack([0.75 * v[:-1] + 0.25 * v[1:], 0.25 * v[:-1] + 0.75 * v[1:]], axis=1).ravel()
            parts.append(np.concatenate([v[:1], mid, v[-1:]]))
        x, y = parts
    return Path(x, y)


def wiggle(rng: np.random.Generator, path: Path, amplitude_m: float, length_m: float) -> Path:
    """Make a line crooked, both ends kept.

    Parameters
    ----------
    rng : Generator
    path : Path
    amplitude_m, length_m : float
        Sideways standard deviation and length of a swing [m].

    Returns
    -------
    Path
    """
    fine = resample(path, STEP_M)
    along = fine.along
    ends = np.clip(np.minimum(along, along[-1] - along) / 30.0, 0, 1)
    push = amplitude_m * ends * smooth_walk(rng, fine.x.size, STEP_M, length_m)
    tx, ty = np.gradient(fine.x), np.gradient(fine.y)
    long = np.maximum(np.hypot(tx, ty), 1e-9)
    return resample(Path(fine.x - push * ty / long, fine.y + push * tx / long), STEP_M)


def grade(level: F64, along: F64, start_m: float, fall: float, least_m: float) -> F64:
    """Bed that falls all the way: from `start_m` at `fall`, and at least `least_m` below the ground everywhere.

    Parameters
    ----------
    level : float64 (n,)
        Ground along the line [m].
    along : float64 (n,)
        [m].
    start_m, fall, least_m : float
        Bed at the first station [m]; least fall [m/m]; least depth of cut [m].

    Returns
    -------
    float64 (n,)
    """
    # the tilted running minimum: each station lies at least fall * distance below the one before
    tilted = np.minimum(level - least_m, start_m) + fall * along
    bed: F64 = np.minimum.accumulate(tilted) - fall * along
    return bed


def deepen(cuts: list[Cut], number: int, station: int, bed_m: float, fall: float) -> None:
    """Lower a ditch from a station on, and what it joins, so that water arriving at `bed_m` runs off.

    Parameters
    ----------
    cuts : list of Cut
        Changed in place.
    number, station : int
        Which ditch, from which station.
    bed_m : float
        Level of the arriving bed [m].
    fall : float
        Least fall from there [m/m].
    """
    while True:
        cut = cuts[number]
        along = cut.path.along
        cut.bed[station:] = np.minimum(cut.bed[station:], bed_m - fall * (along[station:] - along[station]))
        if cut.joins is None:
            return
        bed_m = float(cut.bed[-1])
        number, station = cut.joins
        if cuts[number].bed[station] <= bed_m:
            return


def mark(taken: BOOL, cell_m: float, path: Path) -> None:
    """Mark the cells a line runs over, with their neighbours.

    Parameters
    ----------
    taken : bool (rows, cols)
        Changed in place.
    cell_m : float
        Cell size of `taken` [m].
    path : Path
    """
    fine = resample(path, cell_m)
    r, c = np.rint(fine.y / cell_m).astype(int), np.rint(fine.x / cell_m).astype(int)
    for dr in (-1, 0, 1):
        for dc in (-1, 0, 1):
            ok = (r + dr >= 0) & (c + dc >= 0) & (r + dr < taken.shape[0]) & (c + dc < taken.shape[1])
            taken[r[ok] + dr, c[ok] + dc] = True
