"""Run the screen on invented ground: `python -m otherground --seeds 1,2 --size 1000` from `tests/`."""

from __future__ import annotations

from .command import run
from .make import KINDS, make

run("otherground", make, KINDS)
