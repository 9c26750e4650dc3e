"""Covered drains: a pipe from the floor through the rim, its trench closed, its mouth in the head of an open ditch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wetscout.prove.fields import smooth_walk
from wetscout.prove.found import inside
from wetscout.prove.kinds import Options
from wetscout.prove.network import Hollow, Network
from wetscout.prove.routes import STEP_M
from wetscout.prove.sweep import Path, sweep
from wetscout.prove.truth import Pool
from wetscout.records import F32, F64

# The mouth lies this far outside the rim [m]; at least so much open ditch goes on from it.
_NEAREST_M, _FARTHEST_M, _OPEN_M = 20.0, 300.0, 40.0


@dataclass(frozen=True)
class Pipe:
    """A pipe in the ground: line and invert [m] from the floor to the mouth, the open ditch it runs into, its trench.

    `pool` is the number of the original basin, `spill_m` its spill level; `trench_m` the height of what the backfill
    left (> 0 ridge), `half_m` half its width.
    """

    pool: int
    path: Path
    invert: F64
    cut: int
    trench_m: float
    half_m: float
    spill_m: float


def lay_pipe(
    rng: np.random.Generator, network: Network, hollow: Hollow, pool: Pool, number: int, cell_m: float
) -> Pipe | None:
    """Lay a covered drain from the floor of a basin.

    Parameters
    ----------
    rng : Generator
    network : Network
        Gets the open ditch at the mouth as its last cut.
    hollow : Hollow
        Where the pipe begins.
    pool : Pool
        The basin.
    number : int
        Of the basin, kept in the pipe.
    cell_m : float
        [m].

    Returns
    -------
    Pipe or None
        None where no way was found, or where the ditch it would run into begins too close to the rim: then the basin
        was given an open drain, or none.
    """
    cover = rng.uniform(0.6, 1.0)
    across = 1.3 * float(np.sqrt(pool.area_m2 / np.pi))
    if not network.drain_at(hollow, hollow.floor_m - cover, across + _NEAREST_M + _OPEN_M):
        return None
    cut = network.cuts[-1]
    along = cut.path.along
    wet = inside(pool.patch, cut.path.y / cell_m, cut.path.x / cell_m)
    rim = float(along[np.flatnonzero(wet)[-1]]) if wet.any() else 0.0
    wish = rim + np.exp(rng.uniform(np.log(_NEAREST_M), np.log(_FARTHEST_M)))
    i = int(np.searchsorted(along, min(wish, along[-1] - _OPEN_M)))
    height = float(rng.uniform(0.0, 0.15)) * (1.0 if rng.random() < 0.65 else -1.0)
    half = float(rng.uniform(1.2, 2.4))
    if along[i] < rim + _NEAREST_M:
        return None
    pipe = Pipe(
        number,
        Path(cut.path.x[: i + 1].copy(), cut.path.y[: i + 1].copy()),
        cut.bed[: i + 1].copy(),
        len(network.cuts) - 1,
        height,
        half,
        pool.node.spill_m,
    )
    cut.path, cut.bed = Path(cut.path.x[i:], cut.path.y[i:]), cut.bed[i:].copy()
    cut.rim = None
    return pipe


def lay_pipes(
    rng: np.random.Generator, network: Network, wishes: list[tuple[int, Pool, Hollow]], options: Options, cell_m: float
) -> list[Pipe]:
    """Lay covered drains from a share of the basins wished for, lowest first.

    Parameters
    ----------
    rng : Generator
    network : Network
    wishes : list of (number, Pool, Hollow)
    options : Options
        `covered` is the share.
    cell_m : float
        [m].

    Returns
    -------
    list of Pipe
    """
    pipes = []
    network.rng = rng
    for number, pool, hollow in sorted(wishes, key=lambda w: w[1].node.floor_m):
        if rng.random() < options.covered:
            pipe = lay_pipe(rng, network, hollow, pool, number, cell_m)
            if pipe is not None:
                pipes.append(pipe)
    return pipes


def backfill(rng: np.random.Generator, z: F32, cell_m: float, pipes: list[Pipe]) -> None:
    """Leave over each trench what its backfill left: a straight ridge or trough of changing height.

    Parameters
    ----------
    rng : Generator
    z : float32 (rows, cols)
        Changed in place [m].
    cell_m : float
        [m].
    pipes : list of Pipe
    """
    for pipe in pipes:
        n = pipe.path.x.size
        top = pipe.trench_m * np.clip(1 + 0.3 * smooth_walk(rng, n, STEP_M, 30.0), 0.3, 1.4)
        # ploughed and silted over on the floor, where the pipe begins
        top = top * np.clip(pipe.path.along / 12.0, 0, 1)
        heap: F32 = np.zeros_like(z)
        for piece in sweep((z.shape[0], z.shape[1]), cell_m, pipe.path, 1.2 * pipe.half_m):
            bump = piece.between(top) * np.clip(1 - (piece.distance / pipe.half_m) ** 2, 0, 1)
            larger = np.abs(bump) > np.abs(heap[piece.window])
            np.copyto(heap[piece.window], bump, where=larger, casting="same_kind")
        z += heap
