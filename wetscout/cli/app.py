"""The group of commands, and what happens when one fails."""

from __future__ import annotations

import importlib
import logging
import sys
import traceback
from collections.abc import Sequence

import click

from wetscout.cli.state import State
from wetscout.errors import WetscoutError
from wetscout.io.environment import prepare

COMMANDS = ("check", "screen", "demo", "prove", "owners", "settings", "doctor")

DONE, COULD_NOT, WRONG_USAGE, INTERRUPTED = 0, 1, 2, 130


class Commands(click.Group):
    """A group that imports a command's module only when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Name the commands in the order in which they are used."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"wetscout.cli.{cmd_name}").command
        return command


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="wetscout", prog_name="wetscout")
def group() -> None:
    """Find wetland basins that were drained by a cut through the rim.

    \b
    Example:
      wetscout demo
      wetscout check dem.tif
      wetscout screen dem.tif --out county.gpkg
    """


def run(args: Sequence[str] | None = None) -> int:
    """Run a command line.

    Parameters
    ----------
    args : sequence of str, optional
        Words after `wetscout`; the process's own when None.

    Returns
    -------
    int
        Exit code: 0 done, 1 could not, 2 wrong usage, 130 interrupted.
    """
    # what libraries warn about is for the log, not for the person waiting for a county
    logging.captureWarnings(True)
    # another program's map projection data must be out of the way before any library reads it
    state = State(surroundings=prepare())
    try:
        code = group.main(args=args, prog_name="wetscout", standalone_mode=False, obj=state)
        return code if isinstance(code, int) else DONE
    except click.UsageError as error:
        error.show()
        return WRONG_USAGE
    except BrokenPipeError:
        # whoever read our output has seen enough (| head); Python would complain again while closing stdout
        sys.stderr.close()
        return COULD_NOT
    except (Exception, KeyboardInterrupt) as error:
        words, code = _explain(error)
        return _tell(state, words, error, code)


def _explain(error: BaseException) -> tuple[str, int]:
    """Turn an exception into one plain message and an exit code."""
    if isinstance(error, KeyboardInterrupt | click.Abort):
        # click turns an interruption into an exception of its own
        words = str(error.__cause__ or error)
        return words or "interrupted; no half-written result is left behind", INTERRUPTED
    if isinstance(error, click.ClickException):
        return error.format_message(), COULD_NOT
    if isinstance(error, WetscoutError):
        return str(error), COULD_NOT
    if isinstance(error, MemoryError):
        return "the machine ran out of memory; ask for less at a time: --tile 1024 --workers 1, or --area", COULD_NOT
    words = f"unexpected {type(error).__name__}: {error}; run the same again with -vv and report what it prints"
    return words, COULD_NOT


def _tell(state: State, words: str, error: BaseException, code: int) -> int:
    """Say one plain sentence on stderr; the traceback only when asked for twice."""
    if state.verbose >= 2:
        traceback.print_exception(error, file=sys.stderr)
    click.echo(f"wetscout: {words}", err=True)
    return code
