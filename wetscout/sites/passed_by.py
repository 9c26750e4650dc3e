"""Pools that a ditch only runs past, cutting their shore: a pipe beneath fill, which nobody saw, is to lead to it."""

from __future__ import annotations

import numpy as np

from wetscout.records import Candidate, Ditch

# a ditch that takes up a pipe at the rim begins or ends no farther from it: 8 m at most at six right sites into which
# less than 10 m of a listed ditch run, 40 and 183 m at two hollows left whole
MOUTH_M = 30.0
# so much of a listed ditch in the pool is no ditch that enters it: 0 and 5 m in those two, 14 m and more in 43 right
# ones and others with a longer ditch behind the pipe
TOUCHED_M = 10.0
# so much of the shore is held by level carried over the ditch, with lower ground behind: 20-88 m at those two and one
# on strangers' ground; at three shallow basins there whose own faint ditch runs under a bank into a passing one, none
OPEN_SHORE_M = 10.0


def passed_by(c: Candidate, main: Ditch | None, cell_m: float) -> bool:
    """Whether the way out is a supposed pipe into the side of a ditch that runs past.

    Parameters
    ----------
    c : Candidate
    main : Ditch or None
        Line at the first cut.
    cell_m : float
        [m].

    Returns
    -------
    bool
        False where the first cut is open, its line is no listed ditch, or the user named the pipe.
    """
    if main is None or not main.sure or main.kind not in ("ditch", "straightened stream"):
        return False
    if not c.cuts or not c.cuts[0].under_road or c.signs["named_at_cut"] > 0.0:
        return False
    if c.signs["sure_in_pool_m"] >= TOUCHED_M or c.signs["unheld_m"] < OPEN_SHORE_M:
        return False
    row, col = c.cuts[0].row, c.cuts[0].col
    ends = np.hypot(main.row[[0, -1]] - row, main.col[[0, -1]] - col) * cell_m
    return float(ends.min()) > MOUTH_M


__all__ = ["passed_by"]
