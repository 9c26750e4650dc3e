"""Options that more than one command has, and the layers a run may be given.

LAYERS_READ are read by this version. LAYERS_LATER are named already, so that a script that gives one is told plainly
that it is not read instead of believing that it was.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])

FILE = click.Path(exists=False, dir_okay=False, path_type=Path)

LAYERS_READ = {
    "area": "Polygons: screen only these, a farm or a township.",
    "known": "Points: for each, was it found, and if not, which test failed by how much.",
    "roads": "Road centre lines.",
    "culverts": "Culverts, points or lines.",
    "soils": "Soil polygons with percent hydric (hydclprs) or drainage class (drclassdcd).",
    "landcover": "Raster of land cover codes; which code is what stands in the settings.",
    "parcels": "Parcels, with owners if they carry them.",
}

LAYERS_LATER = (
    "ditches-known",
    "hydrography",
    "wetlands",
    "imagery",
    "historic",
    "buildings",
    "utilities",
    "protected",
    "districts",
    "restored",
    "weather",
)

# Ways of running that are named already and not built; True where the option stands alone.
WAYS_LATER: dict[str, bool] = {}


def dems(function: F) -> F:
    """Give a command its elevation rasters and what their heights are measured in.

    Parameters
    ----------
    function : callable
        Takes `dems` (tuple of Path) and `z_unit` (str or None).

    Returns
    -------
    callable
    """
    function = click.option(
        "--z-unit",
        type=click.Choice(["m", "ft", "us-ft"]),
        help="Unit of the heights, where the DEM does not say it.",
    )(function)
    return click.argument("dems", nargs=-1, required=True, type=FILE, metavar="DEM...")(function)


def layers(function: F) -> F:
    """Give a command the optional layers.

    Parameters
    ----------
    function : callable
        Takes a keyword for each name in LAYERS_READ (Path or None).

    Returns
    -------
    callable
    """
    for name in LAYERS_LATER:
        function = _later(name, False)(function)
    for name, alone in WAYS_LATER.items():
        function = _later(name, alone)(function)
    for name, words in reversed(LAYERS_READ.items()):
        function = click.option(f"--{name}", type=FILE, help=words)(function)
    return function


def settings_file(function: F) -> F:
    """Give a command the settings file.

    Parameters
    ----------
    function : callable
        Takes `settings` (Path or None).

    Returns
    -------
    callable
    """
    words = "TOML file, one table per part; unknown keys are refused. See `wetscout settings`."
    return click.option("--settings", type=FILE, help=words)(function)


def workers(function: F) -> F:
    """Give a command the number of threads.

    Parameters
    ----------
    function : callable
        Takes `workers` (int); as many as there are cores when not given.

    Returns
    -------
    callable
    """
    return click.option(
        "--workers",
        type=click.IntRange(1, 1024),
        default=lambda: os.cpu_count() or 1,
        help="Threads; as many as there are cores when not given.",
    )(function)


def tile(function: F) -> F:
    """Give a command the tile width.

    Parameters
    ----------
    function : callable
        Takes `tile` (int or None).

    Returns
    -------
    callable
    """
    return click.option(
        "--tile", type=click.IntRange(128, 65536), help="Tile width in cells; the result does not depend on it."
    )(function)


def _later(name: str, alone: bool) -> Callable[[F], F]:
    """An option that is refused when given, and not shown in the list."""
    kind: dict[str, Any] = {"is_flag": True} if alone else {"multiple": True}
    return click.option(f"--{name}", hidden=True, expose_value=False, callback=_not_read_yet, is_eager=True, **kind)


def _not_read_yet(ctx: click.Context, param: click.Parameter, value: Any) -> None:
    """Refuse an option that names data this version does not use."""
    if not value:
        return
    name = param.opts[0]
    if name.removeprefix("--") in WAYS_LATER:
        raise click.UsageError(f"{name} is not built in this version; leave it out", ctx)
    raise click.UsageError(
        f"{name} is not read by this version, so nothing of it would reach the result; leave {name} out "
        f"(layers read: {', '.join('--' + layer for layer in LAYERS_READ)})",
        ctx,
    )
