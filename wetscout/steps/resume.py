"""What a run keeps of itself, and whether a later run may go on with it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from wetscout.grid import Grid
from wetscout.io.environment import versions
from wetscout.io.geopackage_lock import hold
from wetscout.io.rasters import files_of
from wetscout.io.work_folder import WorkFolder, work_path
from wetscout.steps.cluster import cluster_at, code_of
from wetscout.steps.plan import Keep, Plan
from wetscout.steps.read import Request

LAYERS = ("area", "known", "roads", "culverts", "soils", "landcover", "parcels")


def facts_of(request: Request) -> dict[str, Any]:
    """What the parts of a run depend on.

    Parameters
    ----------
    request : Request

    Returns
    -------
    dict
        Plain values; tile size and threads are left out, for nothing depends on them.
    """
    layers = {name: Path(str(path).partition("::")[0]) for name in LAYERS if (path := getattr(request, name))}
    return {
        "version": versions()["wetscout"],
        "program files": code_of(),
        "settings": asdict(request.settings),
        "--z-unit": request.z_unit,
        "DEM": {str(path): _look(Path(path)) for dem in request.dems for path in files_of(dem)},
        **{f"--{name}": _look(path) for name, path in layers.items()},
    }


def _look(path: Path) -> dict[str, Any]:
    """Size and date of a file that is here; what stands elsewhere goes by its name alone."""
    if not path.exists():
        return {"name": str(path)}
    stat = path.stat()
    return {"name": str(path.resolve()), "bytes": stat.st_size, "changed": stat.st_mtime}


@contextlib.contextmanager
def kept(request: Request, grid: Grid) -> Iterator[Plan]:
    """The plan of a run whose finished tiles are kept until it ends well.

    Parameters
    ----------
    request : Request
    grid : Grid
        Cells of the run; one that is a single tile keeps nothing, for there is little to save.

    Yields
    ------
    Plan

    Raises
    ------
    InputError
        `resume`, and what is there does not fit.
    KeyboardInterrupt
        With what is kept and how to go on.
    """
    with hold(request.out), cluster_at(request.scheduler) as cluster:
        plan = replace(request.plan, cluster=cluster)
        folder = WorkFolder(work_path(request.out), facts_of(request), request.resume)
        small = max(grid.shape) <= plan.tile_cells
        try:
            yield plan if small else replace(plan, keep=Keep(folder))
        except KeyboardInterrupt:
            if folder.path.exists():
                words = (
                    f"interrupted; {folder.taken + folder.kept} finished parts are kept in {folder.path}. The same "
                    "command with --resume goes on from there; without it, it begins anew"
                )
                raise KeyboardInterrupt(words) from None
            raise
        folder.remove()
