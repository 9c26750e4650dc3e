"""`wetscout check`: is this DEM fit for the job?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from wetscout.cli.options import LAYERS_READ, dems, layers, settings_file, workers
from wetscout.cli.state import State, voice
from wetscout.errors import InputError


@click.command("check")
@dems
@settings_file
@workers
@layers
@voice()
@click.pass_obj
def command(state: State, /, **given: Any) -> None:
    """Say in plain words what a DEM is, whether it can be screened and what it can show; writes nothing.

    \b
    Example:
      wetscout check dem.tif
      wetscout check north.tif south.tif --z-unit ft --parcels parcels.gpkg
    """
    from wetscout.ingest.check import preflight  # noqa: PLC0415  heavy
    from wetscout.io.settings_file import read_settings  # noqa: PLC0415
    from wetscout.settings import Settings  # noqa: PLC0415

    file: Path | None = given["settings"]
    report = preflight(
        given["dems"],
        {name: given[name] for name in LAYERS_READ},
        read_settings(file) if file else Settings(),
        given["z_unit"],
        given["workers"],
    )
    state.say("\n".join(report.lines()))
    state.give(report.as_dict())
    if not report.ready:
        raise InputError("; ".join(report.problems))
