"""A screen run over many landscapes."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from wetscout.prove.landscape import Found
from wetscout.prove.make import make_landscape
from wetscout.prove.report import Report, pool_scores
from wetscout.prove.score import Score, score
from wetscout.records import F32

ScreenFunction = Callable[[F32, float], Sequence[Found]]


def run_proof(
    screen_function: ScreenFunction,
    kinds: Sequence[str],
    seeds: Sequence[int],
    cell_m: float = 1.0,
    size_m: float = 2000.0,
    progress: Callable[[int, int, Score], None] | None = None,
) -> Report:
    """Make landscapes, screen them and score the result.

    Parameters
    ----------
    screen_function : callable (z, cell_m) -> sequence of Found
        Sees the DEM and its cell size only.
    kinds : sequence of str
        Out of `KINDS`.
    seeds : sequence of int
        Each kind is made with each seed.
    cell_m, size_m : float
        Cell size and side of each square [m].
    progress : callable (done, of, score) or None
        Told after each landscape.

    Returns
    -------
    Report
    """
    jobs = [(kind, seed) for kind in kinds for seed in seeds]
    scores: list[Score] = []
    for kind, seed in jobs:
        land = make_landscape(kind, seed, cell_m, size_m)
        scores.append(score(land, screen_function(land.z.copy(), cell_m)))
        if progress is not None:
            progress(len(scores), len(jobs), scores[-1])
    return pool_scores(scores)
