"""Run the screen on this ground: `python -m surveyedground --seeds 1,2 --size 1000` from `tests/`."""

from __future__ import annotations

from otherground.command import run

from .make import KINDS, make

if __name__ == "__main__":
    run("surveyedground", make, KINDS)
