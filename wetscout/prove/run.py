"""A screen run over many landscapes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from wetscout.prove.found import Found
from wetscout.prove.landscape import Maps
from wetscout.prove.make import make_landscape
from wetscout.prove.report import Report, pool_scores
from wetscout.prove.score import Score, score
from wetscout.prove.score_covered import score_covered
from wetscout.records import F32

ScreenFunction = Callable[[F32, float, Maps | None], Sequence[Found]]


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
    screen_function : callable (z, cell_m, maps) -> sequence of Found
        Sees the DEM, its cell size, and the soil map and land cover. Where basins have covered drains it is asked a
        second time without the maps.
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
        one = score(land, screen_function(land.z.copy(), cell_m, land.maps))
        if land.covered:
            one = replace(one, bare=score_covered(land, screen_function(land.z.copy(), cell_m, None)))
        scores.append(one)
        if progress is not None:
            progress(len(scores), len(jobs), scores[-1])
    return pool_scores(scores)
