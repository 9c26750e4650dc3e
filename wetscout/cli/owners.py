"""`wetscout owners`: the owner list for outreach."""

from __future__ import annotations

from pathlib import Path

import click

from wetscout.cli.state import State, voice
from wetscout.errors import OutputError


@click.command("owners")
@click.argument("result", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.gpkg")
@click.option("--out", required=True, type=click.Path(dir_okay=False, path_type=Path), help="CSV file to write.")
@click.option("--overwrite", is_flag=True, help="Replace a list that is already there.")
@voice()
@click.pass_obj
def command(state: State, result: Path, out: Path, overwrite: bool) -> None:
    """Write one row per owner, best prospects first, from a result that was made with --parcels.

    \b
    Example:
      wetscout owners county.gpkg --out owners.csv
    """
    from wetscout.people import owners_csv  # noqa: PLC0415  heavy

    if out.exists() and not overwrite:
        raise OutputError(f"{out} is there already; give another name or --overwrite")
    owners_csv(result, out, overwrite)
    state.say(f"Owner list: {out} (names and addresses: handle with care)")
    state.give({"file": str(out)})
