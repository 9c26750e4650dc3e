"""From a ranked screen to its files: all layers in one move, and the map beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from wetscout.io.environment import peak_memory, versions
from wetscout.io.geopackage_lock import hold
from wetscout.outputs import basins_later, to_layers, write_layers
from wetscout.outputs.picture import draw_map
from wetscout.people import add_to_sites, parcels
from wetscout.records import Screen
from wetscout.steps.known import explain
from wetscout.steps.opened import ScreenResult, open_screen
from wetscout.steps.read import Inputs, Request


def _facts(path: Path) -> dict[str, Any]:
    """Name, size and date of an input, without its folder: results travel."""
    if not path.exists():
        return {"name": str(path)}
    stat = path.stat()
    date = datetime.fromtimestamp(stat.st_mtime, UTC).isoformat(timespec="seconds")
    return {"name": path.name, "bytes": stat.st_size, "date": date}


def _run(screen: Screen, inputs: Inputs, request: Request, seconds: Mapping[str, float]) -> dict[str, Any]:
    layers = {
        name: _facts(Path(str(path).partition("::")[0]))
        for name in ("area", "known", "roads", "culverts", "soils", "landcover", "parcels")
        if (path := getattr(request, name)) is not None
    }
    down: dict[str, int] = {}
    for basin in screen.not_offered:
        down[str(basin.reason)] = down.get(str(basin.reason), 0) + 1
    run = {
        **screen.run,
        "versions": versions(),
        "settings": asdict(request.settings),
        "inputs": {"dems": [_facts(path) for path in request.dems], **layers},
        "z_unit": request.z_unit,
        "notes": list(inputs.notes),
        "timings": {name: round(value, 2) for name, value in seconds.items()},
        "peak_memory_bytes": peak_memory(),
        "not_offered": down,
    }
    if inputs.known is not None:
        run["known"] = [explain(screen, float(p.x), float(p.y)) for p in inputs.known.geometry]
    return run


def write_all(screen: Screen, inputs: Inputs, request: Request, seconds: Mapping[str, float]) -> ScreenResult:
    """Write the result and the map picture.

    Parameters
    ----------
    screen : Screen
        Ranked.
    inputs : Inputs
    request : Request
    seconds : mapping of str to float
        Time of each stage before this one [s].

    Returns
    -------
    ScreenResult

    Raises
    ------
    OutputError
        The target cannot be written; an older result stays as it was.
    """
    screen = replace(screen, run=_run(screen, inputs, request, seconds))
    with hold(request.out):
        layers = to_layers(replace(screen, basins=()), request.us_units)
        if inputs.parcels is not None:
            people = parcels(inputs.parcels, layers["sites"], request.settings.people)
            layers["sites"] = add_to_sites(layers["sites"], people)
            layers["parcels"], layers["owners"] = people.parcels, people.owners
        write_layers(request.out, {**layers, "basins": basins_later(screen)}, request.overwrite)
        draw_map(screen, request.out.with_suffix(".png"))
    result = open_screen(request.out)
    given = (*request.dems, *(p for p in (request.roads, request.culverts) if p is not None))
    result.folders = tuple(dict.fromkeys(path.parent.resolve() for path in given))
    return result
