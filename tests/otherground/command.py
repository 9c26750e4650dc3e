"""The command that runs the screen on a maker's ground and prints what was found, missed and falsely offered."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable

from .make import Other
from .report import lines_of, summary
from .run import screened
from .score_covered import covered_lines, covered_summary


def run(prog: str, make: Callable[[int, str, float, int], Other], kinds: Iterable[str]) -> None:
    """Print a table of what was found, missed and falsely offered.

    Parameters
    ----------
    prog : str
        Name of the command.
    make : callable (seed, kind, cell size [m], side [m]) -> Other
    kinds : iterable of str
        Made when none is asked for.
    """
    ask = argparse.ArgumentParser(prog=prog, description="What was found, missed and falsely offered.")
    ask.add_argument("--seeds", default="1")
    ask.add_argument("--kinds", default=",".join(kinds))
    ask.add_argument("--cells", default="1")
    ask.add_argument("--size", type=int, default=1000)
    given = ask.parse_args()
    figures, covered = [], []
    for seed in given.seeds.split(","):
        for kind in given.kinds.split(","):
            for cell in given.cells.split(","):
                one, more = screened(make(int(seed), kind, float(cell), given.size))
                figures.append(one)
                covered += more
                sys.stdout.write("\n".join([*lines_of(one), *(line for f in more for line in covered_lines(f))]) + "\n")
                sys.stdout.flush()
    sys.stdout.write("\n".join(["", *summary(figures), *covered_summary(covered)]) + "\n")
