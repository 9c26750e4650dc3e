"""The order of the steps: a table of contents that runs."""

from __future__ import annotations

from typing import Any

from numpy.typing import NDArray

from wetscout.engine.progress import Progress, Silent
from wetscout.ingest import from_array
from wetscout.records import Screen, Terrain
from wetscout.settings import Settings
from wetscout.steps import find, name
from wetscout.steps.find import Plan

# usual share of the time of each stage, for the time left
STAGES = {"reading": 1.0, **find.STAGES, "ranking": 0.2, "writing": 1.0}


def screen_array(
    z: NDArray[Any],
    cell_m: float,
    settings: Settings | None = None,
    progress: Progress | None = None,
    plan: Plan | None = None,
) -> Screen:
    """Screen an array of heights: everything the main job finds, without files.

    Parameters
    ----------
    z : real (rows, cols)
        Bare-earth ground [m], north up; NaN where there is none.
    cell_m : float
        Cell size [m].
    settings : Settings, optional
    progress : Progress, optional
    plan : Plan, optional
        Tile size and workers.

    Returns
    -------
    Screen
        Sites in rank order.

    Raises
    ------
    InputError
        The array is no ground.
    """
    settings = settings or Settings()
    return screen_terrain(from_array(z, cell_m, settings.ingest), settings, progress, plan)


def screen_terrain(
    terrain: Terrain, settings: Settings, progress: Progress | None = None, plan: Plan | None = None
) -> Screen:
    """Screen a clean terrain.

    Parameters
    ----------
    terrain : Terrain
    settings : Settings
    progress : Progress, optional
    plan : Plan, optional

    Returns
    -------
    Screen
        Sites in rank order.
    """
    progress = progress or Silent()
    screen = find.find_screen(terrain, settings, progress, plan or Plan())
    progress.stage("ranking")
    return name.name_and_rank(screen, settings)
