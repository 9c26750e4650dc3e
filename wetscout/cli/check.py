"""`wetscout check`: is this DEM fit for the job?"""

from __future__ import annotations

from typing import Any

import click

from wetscout.cli.options import dems, layers
from wetscout.cli.state import State, voice


@click.command("check")
@dems
@layers
@voice()
@click.pass_obj
def command(state: State, /, **given: Any) -> None:
    """Say in plain words what a DEM is, whether it can be screened and what it can show; writes nothing.

    \b
    Example:
      wetscout check dem.tif
      wetscout check north.tif south.tif --z-unit ft
    """
