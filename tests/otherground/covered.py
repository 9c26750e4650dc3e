"""Covered drains: a pipe laid from a floor to an open ditch or stream, the trench closed, the rim graded down, the
floor raised. What stays is a shallower hollow that closes and is dry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from .dig import Line, Section, sample
from .flood import Hollow, pool_of
from .ground import Natural
from .plan import Kind, Plan, outlet_beds, paint, wanted
from .route import Limits, Outlets, to_outlet

Grid = NDArray[np.float64]


@dataclass(frozen=True)
class Pipe:
    """A covered drain: its way on 1 m cells downstream, where it comes out, and where the rim was graded."""

    hollow: int
    at: Grid
    bed_m: Grid
    mouth: tuple[float, float]
    open_ditch: bool


def _near_line(n: int, at: Grid, reach_m: float) -> tuple[tuple[slice, slice], Grid, NDArray[np.int64]]:
    """Window round a line with distance [m] and nearest station of each 1 m cell."""
    lo = np.clip(np.floor(at.min(0) - reach_m), 0, n).astype(int)
    hi = np.clip(np.ceil(at.max(0) + reach_m), 0, n).astype(int)
    rr, cc = np.mgrid[lo[0] : hi[0], lo[1] : hi[1]]
    far, who = cKDTree(at).query(np.stack([rr.ravel(), cc.ravel()], 1))
    return (slice(lo[0], hi[0]), slice(lo[1], hi[1])), far.reshape(rr.shape), who.reshape(rr.shape)


def _grade_rim(rng: Generator, z: Grid, at: Grid, crest: int, deep_m: float) -> None:
    """Lower the rim by 0.1-0.4 m over 10-30 m where the pipe goes through, shallow hollows by less."""
    part = at[max(crest - 60, 0) : crest + 60]
    w, far, who = _near_line(z.shape[0], part, 30.0)
    along = (np.arange(len(part)) - min(crest, 60)) * 0.5
    shape = np.exp(-((along[who] / rng.uniform(5, 15)) ** 2) - (far / rng.uniform(7, 14)) ** 2)
    z[w] -= min(rng.uniform(0.1, 0.4), 0.4 * deep_m) * shape


def _raise_floor(rng: Generator, z: Grid, h: Hollow, pool: NDArray[np.bool_]) -> None:
    """Spread 0.1-0.3 m of soil over the lowest ground."""
    up = min(rng.uniform(0.1, 0.3), 0.35 * (h.spill_m - h.floor_m))
    level = h.floor_m + up
    z[pool] = np.logaddexp(z[pool] * 25, level * 25) / 25 - 0.01


def _close_trench(rng: Generator, z: Grid, at: Grid) -> None:
    """The backfill stands a little high or has settled: 0-0.15 m, about 1.5 m wide, uneven."""
    w, far, who = _near_line(z.shape[0], at, 4.0)
    uneven = np.clip(0.7 + 0.4 * ndimage.gaussian_filter1d(rng.normal(0, 5, len(at)), 25), 0, 1)
    z[w] += np.clip(rng.normal(0, 0.07), -0.15, 0.15) * uneven[who] * np.exp(-((far / rng.uniform(0.7, 1.1)) ** 2))


def lay_pipes(rng: Generator, nat: Natural, kind: Kind, found: list[Hollow], plan: Plan) -> tuple[Grid, list[Pipe]]:
    """Cover drains of a share of the hollows that no ditch drains; the ground as it is afterwards, and the pipes."""
    z = nat.z.copy()
    pipes: list[Pipe] = []
    beds = outlet_beds(nat, plan)
    taken = {line.target for line in plan.lines}
    for h in wanted(rng, found, kind.covered):
        if h.spill_m - h.floor_m < 0.35 or h.number in taken:
            continue
        pool = pool_of(nat.z, h.floor_at, h.spill_m)
        if any(pool[tuple(np.clip(np.rint(x.at), 0, len(z) - 1).astype(int).T)].any() for x in plan.lines):
            continue
        limits = Limits(3.2, rng.uniform(0.0005, 0.002), rng.uniform(0.55, 0.9), float(rng.choice([12.0, 25.0])))
        made = to_outlet(nat.z, (float(h.floor_at[0]), float(h.floor_at[1])), h.floor_m, Outlets(beds), limits)
        if made is None:
            continue
        at, bed = made
        cell = np.clip(np.rint(at), 0, len(z) - 1).astype(int)
        wet = np.flatnonzero(pool[cell[:, 0], cell[:, 1]])
        rim = int(wet[-1]) + 1
        mouth = rim + int(2 * rng.uniform(20, 300))
        open_ditch = mouth < len(at) - 30
        mouth = mouth if open_ditch else len(at) - 1
        if mouth - rim < 40:
            continue
        crest = rim + int(np.argmax(sample(nat.z, at[rim : min(rim + 160, mouth)])))
        _grade_rim(rng, z, at, crest, h.spill_m - h.floor_m)
        _raise_floor(rng, z, h, pool)
        _close_trench(rng, z, at[:mouth])
        pipes.append(
            Pipe(h.number, at[: mouth + 1], bed[: mouth + 1], (float(at[mouth, 0]), float(at[mouth, 1])), open_ditch)
        )
        if open_ditch:
            line = Line("lateral", at[mouth:], bed[mouth:], Section(float(rng.uniform(0.6, 1.4)), 1.6), h.number)
            plan.lines.append(line)
            paint(beds, line.at, line.bed_m)
    return z, pipes
