"""`wetscout settings`: every number that may be tuned, as a file to start from."""

from __future__ import annotations

import click

from wetscout.cli.state import State, voice


@click.command("settings")
@voice(with_json=False)
@click.pass_obj
def command(state: State) -> None:
    """Print all settings with unit, range, meaning and source, as a TOML file for --settings.

    \b
    Example:
      wetscout settings > mine.toml
      wetscout screen dem.tif --out county.gpkg --settings mine.toml
    """
    from wetscout.io.settings_file import describe_settings  # noqa: PLC0415

    state.say(describe_settings())
