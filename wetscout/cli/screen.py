"""`wetscout screen`: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from wetscout.cli.options import dems, layers, settings_file, tile, workers
from wetscout.cli.state import State, voice


@click.command("screen")
@dems
@click.option("--out", required=True, type=click.Path(dir_okay=False, path_type=Path), help="GeoPackage to write.")
@settings_file
@tile
@workers
@click.option("--scheduler", metavar="ADDRESS", help="Dask scheduler whose workers work out tiles; extra [cluster].")
@click.option("--resume", is_flag=True, help="Go on with what a run that was stopped has kept.")
@click.option("--overwrite", is_flag=True, help="Replace a result that is already there.")
@click.option("--us-units", is_flag=True, help="Add fields in feet, acres, cubic yards and acre-feet.")
@layers
@voice()
@click.pass_obj
def command(state: State, /, **given: Any) -> None:
    """Find drained basins in one or more DEMs and write them ranked to a GeoPackage.

    Several DEMs are one mosaic. A map picture is written beside the result. Not read by this version, and refused
    when given: ditches-known, hydrography, wetlands, imagery, historic, buildings, utilities, protected,
    districts, restored, weather.

    Finished tiles are kept beside the result until it stands: after Ctrl-C or a crash the same command with --resume
    goes on from there.

    \b
    Example:
      wetscout screen dem.tif --out county.gpkg
      wetscout screen north.tif south.tif --out county.gpkg --parcels parcels.gpkg --workers 2
      wetscout screen dem.tif --out county.gpkg --soils soils.gpkg --landcover cover.tif
      wetscout screen state.vrt --out state.gpkg --scheduler tcp://10.0.0.5:8786
    """
    from wetscout.cli.running import run_screen, say_what_it_takes, summary, tell  # noqa: PLC0415  heavy

    paths, out = given.pop("dems"), given.pop("out")
    say_what_it_takes(state, paths, out, given)
    found = summary(run_screen(state, paths, out, given))
    tell(state, found)
    state.give(found)
