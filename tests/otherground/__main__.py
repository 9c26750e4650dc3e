"""Run the screen on invented ground: `python -m otherground --seeds 1,2 --size 1000` from `tests/`."""

from __future__ import annotations

import argparse
import sys

from .make import KINDS, make
from .report import lines_of, summary
from .run import screened
from .score_covered import covered_lines, covered_summary


def main() -> None:
    """Print a table of what was found, missed and falsely offered."""
    ask = argparse.ArgumentParser(prog="otherground", description=main.__doc__)
    ask.add_argument("--seeds", default="1")
    ask.add_argument("--kinds", default=",".join(KINDS))
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


main()
