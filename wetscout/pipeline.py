"""The order of the steps: a table of contents that runs."""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from numpy.typing import NDArray

from wetscout import large
from wetscout.engine.progress import Progress, Silent, Timed
from wetscout.ingest import from_array
from wetscout.records import Screen, Terrain
from wetscout.records_covered import Evidence
from wetscout.settings import Settings
from wetscout.steps import find, name
from wetscout.steps.opened import ScreenResult
from wetscout.steps.plan import Plan
from wetscout.steps.read import Request, read_inputs
from wetscout.steps.resume import kept
from wetscout.steps.write import write_all

# usual share of the time of each stage, for the time left; see `find.STAGES`
STAGES = {"reading": 1.3, **find.STAGES, "ranking": 0.3, "writing": 2.5}


# new objects before those that refer to each other in a ring are looked for, and the two rarer, larger searches
COLLECT = (50_000, 20, 50)


@contextmanager
def seldom_collected() -> Iterator[None]:
    """Let objects that refer to each other in a ring lie longer, as it was before at the end.

    A screen keeps hundreds of thousands of small records and drops few rings; the usual search every 700 objects took a
    tenth of the processor time on dense ground (32 to 28 s), the memory is the same.
    The compiler of a first run keeps as many.

    Yields
    ------
    None
    """
    before = gc.get_threshold()
    if before[0] > 0:
        gc.set_threshold(*(max(pair) for pair in zip(before, COLLECT, strict=True)))
    try:
        yield
    finally:
        gc.set_threshold(*before)


def screen_array(
    z: NDArray[Any],
    cell_m: float,
    settings: Settings | None = None,
    progress: Progress | None = None,
    plan: Plan | None = None,
    evidence: Evidence | None = None,
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
    evidence : Evidence, optional
        Soils and land cover on the cells of `z`, as `steps.evidence.gather` makes it.

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
    return screen_terrain(from_array(z, cell_m, settings.ingest), settings, progress, plan, evidence)


def screen_terrain(
    terrain: Terrain,
    settings: Settings,
    progress: Progress | None = None,
    plan: Plan | None = None,
    evidence: Evidence | None = None,
) -> Screen:
    """Screen a clean terrain.

    Parameters
    ----------
    terrain : Terrain
    settings : Settings
    progress : Progress, optional
    plan : Plan, optional
    evidence : Evidence, optional
        Soils and land cover on the terrain's grid.

    Returns
    -------
    Screen
        Sites in rank order.
    """
    progress = progress or Silent()
    screen = find.find_screen(terrain, settings, progress, plan or Plan(), evidence=evidence)
    progress.stage("ranking")
    return name.name_and_rank(screen, settings)


def screen(
    dems: str | Path | Sequence[str | Path],
    out: str | Path,
    *,
    settings: Settings | None = None,
    progress: Progress | None = None,
    **options: Any,
) -> ScreenResult:
    """Screen elevation rasters and write the result.

    Parameters
    ----------
    dems : path or sequence of paths
        Bare-earth DEMs; several, or a VRT, are one mosaic.
    out : path
        GeoPackage to write; a map picture is written beside it.
    settings : Settings, optional
    progress : Progress, optional
    **options
        Fields of `steps.read.Request`: z_unit, area, known, roads, culverts, soils, landcover, parcels, tile,
        workers, scheduler, overwrite, us_units, resume.

    Returns
    -------
    ScreenResult
        The opened result.

    Raises
    ------
    InputError, SettingsError, OutputError
        With what was found, where, what was wanted and what to do next. Nothing half-written is left; finished tiles of
        a run that was stopped stay in the folder FILE.gpkg.work for `resume`.
    """
    paths = [dems] if isinstance(dems, str | Path) else list(dems)
    request = Request.of(paths, out, settings or Settings(), options)
    progress = Timed(progress or Silent())
    progress.stage("reading")
    # rasters that are too large for memory lie beside the result while the run goes
    with large.on_disk(request.out.absolute().parent), seldom_collected():
        inputs = read_inputs(request)
        older = name.older_result(request.out, request.overwrite)
        with kept(request, inputs.terrain.grid) as plan:
            found = find.find_screen(inputs.terrain, request.settings, progress, plan, inputs.given, inputs.evidence)
            progress.stage("ranking")
            ranked = name.name_and_rank(inputs.only_area(found), request.settings, older)
            progress.stage("writing")
            return write_all(ranked, inputs, request, progress.seconds())
