"""How far a long job has come: stage names, share done, time passed, time left."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

__all__ = ["Progress", "Report", "Silent", "StageClock", "Timed"]


class Progress(Protocol):
    """What a long job tells while it runs."""

    def stage(self, name: str) -> None:
        """Begin a stage.

        Parameters
        ----------
        name : str
            Its name, in the user's words.
        """

    def update(self, fraction: float) -> None:
        """Tell how much of the stage is done.

        Parameters
        ----------
        fraction : float
            0 to 1.
        """


class Silent:
    """Tells nothing."""

    def stage(self, name: str) -> None:
        """Begin a stage, unheard.

        Parameters
        ----------
        name : str
            Its name.
        """

    def update(self, fraction: float) -> None:
        """Tell nothing.

        Parameters
        ----------
        fraction : float
            0 to 1.
        """


class Timed:
    """Passes on what it is told and keeps the time of each stage.

    Parameters
    ----------
    told : Progress
        Who is told.
    """

    def __init__(self, told: Progress) -> None:
        self._told = told
        self._name = ""
        self._began = 0.0
        self._seconds: dict[str, float] = {}

    def stage(self, name: str) -> None:
        """Begin a stage; the one before is done.

        Parameters
        ----------
        name : str
            Its name.
        """
        self.seconds()
        self._name = name
        self._told.stage(name)

    def update(self, fraction: float) -> None:
        """Tell how much of the stage is done.

        Parameters
        ----------
        fraction : float
            0 to 1.
        """
        self._told.update(fraction)

    def seconds(self) -> dict[str, float]:
        """Time of each stage so far.

        Returns
        -------
        dict of str to float
            [s], in order.
        """
        now = time.monotonic()
        if self._name:
            self._seconds[self._name] = self._seconds.get(self._name, 0.0) + now - self._began
        self._began = now
        return dict(self._seconds)


@dataclass(frozen=True)
class Report:
    """One message about a running job.

    Attributes
    ----------
    stage : str
        Name of the stage.
    stage_fraction, fraction : float
        Share done of the stage and of the whole job, 0-1.
    elapsed_s : float
        Time since the start [s].
    left_s : float or None
        Estimate of the time left [s]; None as long as too little is done to tell.
    """

    stage: str
    stage_fraction: float
    fraction: float
    elapsed_s: float
    left_s: float | None


@dataclass
class StageClock:
    """A `Progress` that turns stages and fractions into one share of the whole job and the time left.

    Attributes
    ----------
    weights : mapping of str to float
        Stages in order with their usual share of the time, in any unit; a stage not listed counts as nothing.
    tell : callable
        Called with a `Report`: at the start of each stage, at its end, and else at most once every `every_s`.
    every_s : float
        Shortest time between two reports of the same stage [s].
    clock : callable
        Seconds, growing.
    """

    weights: Mapping[str, float]
    tell: Callable[[Report], None]
    every_s: float = 0.2
    clock: Callable[[], float] = time.monotonic
    _began: float | None = field(default=None, init=False)
    _last: float = field(default=0.0, init=False)
    _name: str = field(default="", init=False)
    _seconds: dict[str, float] = field(default_factory=dict, init=False)
    _stage_began: float = field(default=0.0, init=False)

    def stage(self, name: str) -> None:
        """Begin a stage; the one before is done.

        Parameters
        ----------
        name : str
            Its name.
        """
        now = self.clock()
        self._began = now if self._began is None else self._began
        self._close(now)
        self._name, self._stage_began = name, now
        self._send(now, 0.0)

    def update(self, fraction: float) -> None:
        """Tell how much of the stage is done.

        Parameters
        ----------
        fraction : float
            0 to 1; values outside are cut off.
        """
        now = self.clock()
        share = min(1.0, max(0.0, fraction))
        if share >= 1.0 or now - self._last >= self.every_s:
            self._send(now, share)

    def finish(self) -> dict[str, float]:
        """End the last stage.

        Returns
        -------
        dict of str to float
            Time each stage took [s], in order; a stage begun twice has the sum.
        """
        self._close(self.clock())
        self._name = ""
        return dict(self._seconds)

    def _close(self, now: float) -> None:
        if self._name:
            self._seconds[self._name] = self._seconds.get(self._name, 0.0) + now - self._stage_began

    def _send(self, now: float, share: float) -> None:
        self._last = now
        names = list(self.weights)
        before = names[: names.index(self._name)] if self._name in names else [n for n in names if n in self._seconds]
        done = sum(self.weights[n] for n in before) + share * self.weights.get(self._name, 0.0)
        total = sum(self.weights.values())
        fraction = done / total if total > 0 else 0.0
        elapsed = now - (self._began if self._began is not None else now)
        # under 2 % done the estimate swings by hours; say nothing rather than that
        left = elapsed * (1.0 - fraction) / fraction if fraction >= 0.02 else None
        self.tell(Report(self._name, share, fraction, elapsed, left))
