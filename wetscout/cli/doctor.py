"""`wetscout doctor`: is this installation well?"""

from __future__ import annotations

import click

from wetscout.cli.state import State, voice


@click.command("doctor")
@voice()
@click.pass_obj
def command(state: State) -> None:
    """Self-test: versions, the map projection data in use, the kernel cache and a tiny run.

    \b
    Example:
      wetscout doctor
    """
