"""What every command knows about how it should speak."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

import click

from wetscout.io.environment import Surroundings

F = TypeVar("F", bound=Callable[..., Any])


@dataclass
class State:
    """How loud to be: `verbose` counts -v, `quiet` silences progress, `json` turns results into JSON.

    `surroundings` is what was set right before the command began; -v shows it.
    """

    verbose: int = 0
    quiet: bool = False
    json: bool = False
    surroundings: Surroundings = field(default_factory=Surroundings)

    def say(self, text: str) -> None:
        """Print a line of the result to stdout, unless the result is JSON.

        Parameters
        ----------
        text : str
            One or more lines.
        """
        if not self.json:
            click.echo(text)

    def note(self, text: str) -> None:
        """Print a remark to stderr, unless asked to be quiet.

        Parameters
        ----------
        text : str
            One or more lines.
        """
        if not self.quiet:
            click.echo(text, err=True)

    def give(self, result: Mapping[str, Any]) -> None:
        """Print the result as JSON to stdout, where JSON was asked for.

        Parameters
        ----------
        result : mapping
            Anything JSON can hold; numpy numbers become plain ones.
        """
        if self.json:
            click.echo(json.dumps(dict(result), indent=2, default=_plain))


def voice(with_json: bool = True) -> Callable[[F], F]:
    """Give a command the options that all share: -v, -q and, where it fits, --json.

    Parameters
    ----------
    with_json : bool
        Whether the command has a result that a script would read.

    Returns
    -------
    callable
        Decorator; the command still receives none of them but finds them in its `State`.
    """

    def decorate(function: F) -> F:
        if with_json:
            function = _flag("--json", words="Print the result as JSON.")(function)
        function = _flag("-q", "--quiet", words="No progress, no remarks.")(function)
        return click.option(
            "-v",
            "--verbose",
            count=True,
            expose_value=False,
            callback=_remember,
            help="Say more; -vv shows tracebacks.",
        )(function)

    return decorate


def _flag(*names: str, words: str) -> Callable[[F], F]:
    """An on/off option kept in the state."""
    return click.option(*names, is_flag=True, expose_value=False, callback=_remember, help=words)


def _remember(ctx: click.Context, param: click.Parameter, value: Any) -> Any:
    """Write an option into the state."""
    state = ctx.ensure_object(State)
    assert param.name is not None
    setattr(state, param.name, value)
    if param.name == "verbose" and value:
        for note in state.surroundings.notes:
            click.echo(note, err=True)
    return value


def _plain(value: Any) -> Any:
    """Turn a numpy number or a path into what JSON knows."""
    return value.item() if hasattr(value, "item") else str(value)
