"""Run the screen on invented ground: `python -m otherground --seeds 1,2 --size 1000` from `tests/`."""

from __future__ import annotations

import argparse
import sys

from wetscout.pipeline import screen_array

from . import KINDS, make, score
from .report import lines_of, summary


def main() -> None:
    """Print a table of what was found, missed and falsely offered."""
    ask = argparse.ArgumentParser(prog="otherground", description=main.__doc__)
    ask.add_argument("--seeds", default="1")
    ask.add_argument("--kinds", default=",".join(KINDS))
    ask.add_argument("--cells", default="1")
    ask.add_argument("--size", type=int, default=1000)
    given = ask.parse_args()
    figures = []
    for seed in given.seeds.split(","):
        for kind in given.kinds.split(","):
            for cell in given.cells.split(","):
                other = make(int(seed), kind, float(cell), given.size)
                figures.append(score(other, screen_array(other.z, other.cell_m)))
                sys.stdout.write("\n".join(lines_of(figures[-1])) + "\n")
                sys.stdout.flush()
    sys.stdout.write("\n".join(["", *summary(figures)]) + "\n")


main()
