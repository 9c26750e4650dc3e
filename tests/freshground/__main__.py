"""Run the screen on this ground: `python -m freshground --seeds 1,2 --size 1000` from `tests/`."""

from __future__ import annotations

import argparse
import sys

from otherground.report import lines_of, summary
from otherground.run import screened

from .make import KINDS, make


def main() -> None:
    """Print a table of what was found, missed and falsely offered."""
    ask = argparse.ArgumentParser(prog="freshground", description=main.__doc__)
    ask.add_argument("--seeds", default="1")
    ask.add_argument("--kinds", default=",".join(KINDS))
    ask.add_argument("--cells", default="1")
    ask.add_argument("--size", type=int, default=1000)
    given = ask.parse_args()
    figures = []
    for seed in given.seeds.split(","):
        for kind in given.kinds.split(","):
            for cell in given.cells.split(","):
                figures.append(screened(make(int(seed), kind, float(cell), given.size))[0])
                sys.stdout.write("\n".join(lines_of(figures[-1])) + "\n")
                sys.stdout.flush()
    sys.stdout.write("\n".join(["", *summary(figures)]) + "\n")


if __name__ == "__main__":
    main()
