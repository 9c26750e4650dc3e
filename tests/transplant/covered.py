"""Lay covered drains out of closed basins of real ground, and say what is true of them.

A pipe leaves the floor 0.9-1.3 m down on a fall of 0.1-0.3 % and comes out in the head of an open ditch 20-300 m
outside the rim; the rim over it is graded down by 0.1-0.4 m over 10-30 m, and the backfilled trench stays as a ridge or
a trough of up to 0.15 m (issue 3, build 1). The truth is the basin as it closes afterwards, filled by scikit-image.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from .cutter import Section, dig
from .ground import BOOL, ClosedBasin, closed_basins, fill, whole
from .route import BEYOND_M, STATION_M, Line, at, least_cut, straighten

F64 = NDArray[np.float64]

LEAST_DEPTH_M, LEAST_AREA_M2 = 0.15, 400.0  # issue 3, Must hold 1: closed depth left; area as for open drains
DEEPEST_M = 2.6  # deepest ditch and pipe trench of a farm [m]
DITCH_LEAST_M = 60.0  # the open ditch below the mouth is at least this long [m]
HEAD_LEAST_M = 0.7  # and at least this deep at its head: cover of 0.6 m and a pipe of 0.1 m
SHARE = 0.6  # of the basins, are drained by a pipe


@dataclass(frozen=True)
class Pipe:
    """What is drawn for one pipe: invert below the floor [m], fall [m/m], mouth outside the rim [m], traces [m]."""

    below_m: float
    fall: float
    mouth_m: float
    graded_m: float
    graded_width_m: float
    trench_m: float
    trench_width_m: float
    ditch: Section


@dataclass(frozen=True)
class Truth:
    """A basin as it is now, and its pipe.

    Attributes
    ----------
    pool : bool (rows, cols)
        As it closes now.
    before : bool (rows, cols)
        The pool on the untouched ground.
    spill_m, depth_m, area_m2 : float
        As it is now.
    mouth : (row, col) or None
        Where the pipe comes out; None where none was laid.
    mouth_out_m : float
        Of the pipe, from the rim [m].
    trench_m, graded_m : float
        Height of what stayed over the trench (ridge > 0), how far the rim came down [m].
    why : str
        Why no pipe was laid, else empty.
    """

    pool: BOOL
    before: BOOL
    spill_m: float
    depth_m: float
    area_m2: float
    mouth: tuple[float, float] | None
    mouth_out_m: float
    trench_m: float
    graded_m: float
    why: str = ""

    @property
    def scored(self) -> bool:
        """Drained by a pipe, and enough of it left."""
        return self.mouth is not None and self.depth_m >= LEAST_DEPTH_M and self.area_m2 >= LEAST_AREA_M2


@dataclass(frozen=True)
class CoveredTransplant:
    """A DEM with covered drains, the same DEM untouched, and the truth."""

    z: F64
    untouched: F64
    cell_m: float
    truths: tuple[Truth, ...]


def draw_pipe(rng: np.random.Generator) -> Pipe:
    """Draw a pipe from the ranges of the issue; depth and fall are common practice, no source."""
    sides = ((), (-1,), (1,), (-1, 1))[int(rng.integers(0, 4))]
    ditch = Section(
        bed_w=float(rng.uniform(0.8, 2.0)),
        side=float(rng.uniform(1.3, 2.0)),
        spoil_m=float(rng.uniform(0.1, 0.35)),
        spoil_sides=sides,
        depth0_m=0.0,
        grade=float(rng.uniform(0.0006, 0.002)),
    )
    return Pipe(
        below_m=float(rng.uniform(0.9, 1.3)),
        fall=float(rng.uniform(0.001, 0.003)),
        mouth_m=float(rng.uniform(20.0, 300.0)),
        graded_m=float(rng.uniform(0.1, 0.4)),
        graded_width_m=float(rng.uniform(10.0, 30.0)),
        trench_m=float(rng.uniform(-0.15, 0.15)),
        trench_width_m=float(rng.uniform(1.2, 2.5)),
        ditch=ditch,
    )


@dataclass(frozen=True)
class Laid:
    """A route: all stations from the floor to the end of the open ditch, where the rim and the mouth are on it."""

    line: Line
    rim: int
    mouth: int


def lay_pipe(z: F64, basin: ClosedBasin, pipe: Pipe, cell_m: float) -> tuple[Laid | None, str]:
    """Route of pipe and ditch on the ground so far; None and the reason when there is none.

    Where the ditch cannot begin as far outside as drawn (the ground falls below the pipe before), it begins earlier.
    """
    filled = fill(z)
    start = basin.floor_m - pipe.below_m
    cells = least_cut(z, filled, basin, cell_m, start, pipe.fall)
    if cells is None or len(cells) < 3:
        return None, "no lower ground within reach"
    row, col, along = straighten(cells, cell_m, within_m=max(6.0, 2.0 * cell_m))
    ground, level = at(whole(z), row, col), at(whole(filled), row, col)
    inside = np.flatnonzero(basin.pool[np.rint(row).astype(int), np.rint(col).astype(int)])
    rim = int(inside[-1]) if len(inside) else 0
    bed = start - pipe.fall * along
    done = np.flatnonzero((along > along[rim] + 0.8 * BEYOND_M) & (level <= bed))
    stop = int(done[0]) + 1 if len(done) else len(row)
    longest = along[stop - 1] - DITCH_LEAST_M
    deep = (ground - bed)[:stop] >= HEAD_LEAST_M
    could = np.flatnonzero(deep & (along[:stop] >= along[rim] + 20.0) & (along[:stop] <= longest))
    if not len(could):
        return None, "no room for a ditch outside"
    mouth = int(could[np.argmin(np.abs(along[could] - along[rim] - pipe.mouth_m))])
    if float((ground - bed)[: mouth + 1].max()) > DEEPEST_M or float((ground - bed)[mouth:stop].max()) > DEEPEST_M:
        return None, "deeper than a farm trench"
    bed[mouth:] = np.minimum(bed[mouth] - pipe.ditch.grade * (along[mouth:] - along[mouth]), bed[mouth])
    # out on a slope the ditch follows the ground and comes out at the end
    left = np.clip((along[stop - 1] - along) / 10.0, 0.0, 1.0)
    bed[mouth:] = np.minimum.accumulate(
        np.minimum(bed, np.where(along > along[mouth] + 20.0, ground - 0.3 * left, bed))[mouth:]
    )
    bed = bed - 1e-4 * along
    return Laid(Line(row[:stop], col[:stop], along[:stop], bed[:stop]), rim, mouth), ""


def _points(z: F64, line: Line, cell_m: float, reach_m: float) -> tuple[NDArray[np.int64], F64, NDArray[np.int64], int]:
    """Cells near a line; distance [m] and nearest station of half-metre points in them; points a cell."""
    n = max(1, round(cell_m / 0.5))
    pad = int(np.ceil(reach_m / cell_m)) + 1
    r0, c0 = max(int(line.row.min()) - pad, 0), max(int(line.col.min()) - pad, 0)
    r1, c1 = min(int(line.row.max()) + pad + 1, z.shape[0]), min(int(line.col.max()) + pad + 1, z.shape[1])
    cells = np.stack(np.meshgrid(np.arange(r0, r1), np.arange(c0, c1), indexing="ij"), axis=-1).reshape(-1, 2)
    tree = cKDTree(np.stack([line.row, line.col], axis=1))
    cells = cells[tree.query(cells)[0] * cell_m <= reach_m + cell_m]
    off = (np.arange(n) + 0.5) / n - 0.5
    sub = np.stack(np.meshgrid(off, off, indexing="ij"), axis=-1).reshape(-1, 2)
    dist, near = tree.query((cells[:, None, :] + sub[None, :, :]).reshape(-1, 2))
    return cells, dist * cell_m, near, n * n


def grade_rim(z: F64, laid: Laid, basin: ClosedBasin, pipe: Pipe, cell_m: float) -> F64:
    """Ground with the rim over the pipe graded down: towards a level below the spill, fading to both sides."""
    cells, dist, near, per = _points(z, laid.line, cell_m, pipe.graded_width_m / 2)
    deep = min(pipe.graded_m, basin.depth_m - LEAST_DEPTH_M - 0.05)
    if deep <= 0.0:
        return z
    line = laid.line
    from_rim = np.abs(line.along_m - line.along_m[laid.rim])[near]
    share = np.cos(np.clip(dist / (pipe.graded_width_m / 2), 0.0, 1.0) * np.pi / 2) ** 0.5
    share = share * np.clip((60.0 - from_rim) / 20.0, 0.0, 1.0)
    over = np.clip(np.repeat(whole(z)[cells[:, 0], cells[:, 1]], per) - (basin.spill_m - deep), 0.0, deep)
    out = z.copy()
    out[cells[:, 0], cells[:, 1]] -= (share * over).reshape(-1, per).mean(axis=1)
    return out


def leave_trench(z: F64, laid: Laid, pipe: Pipe, cell_m: float, rng: np.random.Generator) -> F64:
    """Ground with a ridge or a trough over the pipe, from the floor to the head of the ditch; of uneven height."""
    line = Line(
        *(part[: laid.mouth + 1] for part in (laid.line.row, laid.line.col, laid.line.along_m, laid.line.bed_m))
    )
    cells, dist, near, per = _points(z, line, cell_m, pipe.trench_width_m)
    step = max(1, round(15.0 / STATION_M))
    knots = rng.uniform(0.6, 1.0, len(line.row) // step + 2)
    height = pipe.trench_m * np.interp(np.arange(len(line.row)) / step, np.arange(len(knots)), knots)
    shape = np.where(
        dist < pipe.trench_width_m, np.cos(np.clip(dist / pipe.trench_width_m, 0, 1) * np.pi / 2) ** 2, 0.0
    )
    out = z.copy()
    out[cells[:, 0], cells[:, 1]] += (height[near] * shape).reshape(-1, per).mean(axis=1)
    return out


def open_ditch(z: F64, uncut: F64, laid: Laid, pipe: Pipe, cell_m: float) -> F64:
    """Ground with the open ditch below the mouth."""
    part = slice(laid.mouth, None)
    line = Line(laid.line.row[part], laid.line.col[part], laid.line.along_m[part], laid.line.bed_m[part])
    return dig(z, uncut, line, pipe.ditch, cell_m)


def transplant_covered(
    z: F64,
    cell_m: float,
    seed: int,
    *,
    noise_m: float = 0.0,
    only: tuple[tuple[int, int], ...] | None = None,
    share: float = SHARE,
) -> CoveredTransplant:
    """Drain a share of the closed basins of a DEM by covered pipes.

    Parameters
    ----------
    z : float64 (rows, cols)
        Bare ground [m], NaN where unknown.
    cell_m : float
        Cell size [m].
    seed : int
    noise_m : float
        Standard deviation of white noise laid over both DEMs afterwards [m].
    only : tuple of (row, col), optional
        Drain only basins whose pool holds one of these cells; the others stay as they are and are in no truth.
    share : float
        Of the basins, drained.

    Returns
    -------
    CoveredTransplant
    """
    rng = np.random.default_rng([seed, 7])
    basins = closed_basins(z, cell_m, LEAST_AREA_M2, 0.25)
    if only is not None:
        basins = [b for b in basins if any(b.pool[p] for p in only)]
    uncut, now = whole(z), z.copy()
    jobs: list[tuple[ClosedBasin, Pipe, Laid | None, str]] = []
    for basin in basins:
        pipe, drained = draw_pipe(rng), rng.random() < share
        laid, why = lay_pipe(now, basin, pipe, cell_m) if drained else (None, "left whole")
        if laid is not None:
            now = grade_rim(now, laid, basin, pipe, cell_m)
            now = leave_trench(now, laid, pipe, cell_m, rng)
            now = open_ditch(now, uncut, laid, pipe, cell_m)
        jobs.append((basin, pipe, laid, why))
    depth = np.nan_to_num(fill(now) - now)
    truths = tuple(_truth(job, now, depth, cell_m) for job in jobs)
    noise = rng.normal(0.0, noise_m, z.shape) if noise_m > 0 else np.zeros(z.shape)
    return CoveredTransplant(now + noise, z + noise, cell_m, truths)


def _truth(job: tuple[ClosedBasin, Pipe, Laid | None, str], now: F64, depth: F64, cell_m: float) -> Truth:
    """The basin as it closes once all is done: the largest part of the old pool that holds water."""
    basin, pipe, laid, why = job
    label, n = ndimage.label((depth > 0) & ndimage.binary_dilation(basin.pool, iterations=3), np.ones((3, 3)))
    size = np.bincount(label.ravel(), minlength=n + 1)
    size[0] = 0
    pool = label == int(np.argmax(size)) if n and size.max() > 0 else np.zeros(now.shape, dtype=bool)
    spill = float((now + depth)[pool].max()) if pool.any() else float("nan")
    truth = Truth(
        pool=pool,
        before=basin.pool,
        spill_m=spill,
        depth_m=float(depth[pool].max()) if pool.any() else 0.0,
        area_m2=float(pool.sum()) * cell_m**2,
        mouth=None,
        mouth_out_m=float("nan"),
        trench_m=pipe.trench_m,
        graded_m=pipe.graded_m,
        why=why,
    )
    if laid is None:
        return truth
    out = float(laid.line.along_m[laid.mouth] - laid.line.along_m[laid.rim])
    mouth = float(laid.line.row[laid.mouth]), float(laid.line.col[laid.mouth])
    return replace(truth, mouth=mouth, mouth_out_m=out)
