"""`wetscout prove`: the screen against invented landscapes with known answers."""

from __future__ import annotations

import click

from wetscout.cli.state import State, voice


@click.command("prove")
@click.option("--kinds", help="Kinds of landscape, separated by commas; all when not given.")
@click.option("--seeds", default=20, show_default=True, type=click.IntRange(1, 10000), help="How many landscapes.")
@click.option("--seed-start", default=1000, show_default=True, type=click.IntRange(0), help="First seed.")
@click.option("--cell", default=1.0, show_default=True, type=click.FloatRange(0.5, 5.0), help="Cell size [m].")
@click.option("--size", default=1000.0, show_default=True, type=click.FloatRange(300.0, 5000.0), help="Side [m].")
@voice()
@click.pass_obj
def command(state: State, kinds: str | None, seeds: int, seed_start: int, cell: float, size: float) -> None:
    """Run the screen on invented landscapes and print recall, precision and errors.

    The answers are taken from the ground before its ditches were cut, so the proof needs nothing but this command.

    \b
    Example:
      wetscout prove --seeds 20
      wetscout prove --kinds "flat lake plain,old ditches" --seeds 4 --cell 2 --json
    """
