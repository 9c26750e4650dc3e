"""Progress on stderr: the stage by name, percent of the whole job, time left."""

from __future__ import annotations

import time
from collections.abc import Mapping
from types import TracebackType

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

from wetscout.engine.progress import Report, StageClock

# Without a terminal (a log file, CI) a line every so many seconds is enough; a bar would fill the file.
_PLAIN_EVERY_S = 10.0


def say_time(seconds: float | None) -> str:
    """Write a span of time.

    Parameters
    ----------
    seconds : float or None
        [s]; None when it cannot be told yet.

    Returns
    -------
    str
        "12 s", "3 min", "1 h 05 min", or "" for None.
    """
    if seconds is None:
        return ""
    if seconds < 100.0:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


class ShownProgress:
    """A `wetscout.engine.progress.Progress` that a person can watch; use as a context manager.

    Parameters
    ----------
    weights : mapping of str to float
        Stages in order with their usual share of the time, any unit.
    quiet : bool
        Show nothing, only keep the time.
    """

    def __init__(self, weights: Mapping[str, float], quiet: bool = False) -> None:
        self._clock = StageClock(weights, self._tell)
        self._console = Console(stderr=True)
        self._bar: Progress | None = None
        self._quiet = quiet
        self._stage = ""
        self._said = 0.0

    def __enter__(self) -> ShownProgress:
        if not self._quiet and self._console.is_terminal:
            columns = (
                TextColumn("{task.description:<30}"),
                BarColumn(),
                TaskProgressColumn(),
                TextColumn("{task.fields[left]}"),
            )
            self._bar = Progress(*columns, console=self._console, transient=True)
            self._bar.add_task("starting", total=1.0, left="")
            self._bar.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def stage(self, name: str) -> None:
        """Begin a stage.

        Parameters
        ----------
        name : str
            Its name, in words.
        """
        self._clock.stage(name)

    def update(self, fraction: float) -> None:
        """Tell how much of the stage is done.

        Parameters
        ----------
        fraction : float
            0 to 1 [-].
        """
        self._clock.update(fraction)

    def finish(self) -> dict[str, float]:
        """End the last stage.

        Returns
        -------
        dict of str to float
            Time each stage took [s].
        """
        return self._clock.finish()

    def _tell(self, report: Report) -> None:
        """Show one report, as a bar or as a line."""
        if self._quiet:
            return
        left = say_time(report.left_s)
        if self._bar is not None:
            words = f"{left} left" if left else ""
            self._bar.update(self._bar.task_ids[0], description=report.stage, completed=report.fraction, left=words)
            return
        now = time.monotonic()
        if report.stage == self._stage and now - self._said < _PLAIN_EVERY_S:
            return
        self._stage, self._said = report.stage, now
        click.echo(
            f"{100.0 * report.fraction:3.0f} %  {report.stage}" + (f", about {left} left" if left else ""), err=True
        )
