"""The pool that closing the cuts gives: area, depth, volume, stage by stage."""

from __future__ import annotations

import numpy as np

from wetscout.records import BOOL, F32, F64

UNIT_M = 2.0**-14


def volume_m3(depth: F64, cell_m2: float) -> float:
    """Sum of depths times cell area, summed as integers of 2^-14 m so that the order of cells does not matter.

    Parameters
    ----------
    depth : float64 (n,)
        Depths [m].
    cell_m2 : float
        Cell area [m2].

    Returns
    -------
    float
        [m3]
    """
    return float(np.rint(np.clip(depth, 0.0, None) / UNIT_M).astype(np.int64).sum()) * UNIT_M * cell_m2


def stage_table(
    ground: F32, pool: BOOL, levels: tuple[float, float], steps: int, cell_m2: float
) -> tuple[tuple[float, float, float], ...]:
    """Stage-area-volume table from the floor to the spill.

    Parameters
    ----------
    ground : float32 (h, w)
        Natural ground [m].
    pool : bool (h, w)
        Cells under water at the spill level.
    levels : (float, float)
        Floor and spill [m].
    steps : int
        Rows of the table.
    cell_m2 : float
        Cell area [m2].

    Returns
    -------
    tuple of (level [m], area [m2], volume [m3])
        From low to high; the last row is the spill level.
    """
    heights = ground[pool].astype(np.float64)
    out = []
    for k in range(1, steps + 1):
        level = levels[0] + (levels[1] - levels[0]) * k / steps
        wet = heights < level
        out.append((float(level), float(wet.sum() * cell_m2), volume_m3(level - heights[wet], cell_m2)))
    return tuple(out)
