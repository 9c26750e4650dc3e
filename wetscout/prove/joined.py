"""Which part of a pool's ground is joined to its floor below the spill level: a ditch between its banks may not be."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import ndimage

from wetscout.prove.found import inside
from wetscout.prove.landscape import TrueLine
from wetscout.records import BOOL, F32, Patch

# Water stands so much deeper than the ground that parts it [m].
OVER_M = 0.02
# A part of the pool belongs to it with such a share of the deepest third of the floor.
SHARE = 0.1
# Water or a ditch that runs less far than this over a pool only grazes its shore [m].
GRAZES_M = 5.0
# A line that is in a pool within so many stations of its beginning begins there.
BEGINS = 20
# The floor is what lies under this part of the depth.
DEEP = 0.3


def joined_pool(pool: Patch, ground: F32, opened: F32, levels: tuple[float, float]) -> Patch:
    """Cells of a pool from which water at the spill level reaches the floor on today's ground without leaving it.

    A ditch that grazes a pool or passes through its margin between banks of its own does not carry its water into it,
    and a plug on the ditch of the pool does not stand in its way.

    Parameters
    ----------
    pool : Patch
    ground : float32 (rows, cols)
        Natural ground [m].
    opened : float32 (rows, cols)
        Today's ground, culverts open, no noise [m].
    levels : (float, float)
        Floor and spill level [m].

    Returns
    -------
    Patch
        In the window of the pool.
    """
    floor_m, spill_m = levels
    rows, cols = pool.mask.shape
    box = (slice(pool.row0, pool.row0 + rows), slice(pool.col0, pool.col0 + cols))
    low = pool.mask & (opened[box] < spill_m - OVER_M)
    parts, _ = ndimage.label(low, np.ones((3, 3), dtype=np.int8))
    deep = pool.mask & (ground[box] <= floor_m + DEEP * (spill_m - floor_m))
    of_floor = np.bincount(parts[deep], minlength=int(parts.max()) + 1)
    of_floor[0] = 0
    kept = np.flatnonzero(of_floor >= max(1.0, SHARE * np.count_nonzero(deep)))
    mask: BOOL = np.isin(parts, kept) & low
    return Patch(pool.row0, pool.col0, mask)


def comes_from_above(line: TrueLine, pool: Patch, area: Patch, lines: Sequence[TrueLine], cell_m: float) -> bool:
    """Whether a ditch brings water from outside of a pool: it runs over an area, or ends on it.

    Parameters
    ----------
    line : TrueLine
    pool : Patch
    area : Patch
        Ground joined to the floor, or water that stands.
    lines : sequence of TrueLine
        All ditches, by `line_id`: one may begin where another ends, before the shore.
    cell_m : float
        [m].

    Returns
    -------
    bool
        False for ditches beside roads.
    """
    if line.kind == "roadside" or begins_in(line, pool, lines):
        return False
    met = inside(area, line.row, line.col)
    if not met.any():
        return False
    # one that ends there need not go far: where it ends the ditch of the pool begins
    long = max(np.ptp(line.row[met]), np.ptp(line.col[met])) * cell_m
    return bool(long >= GRAZES_M or met[-1])


def begins_in(line: TrueLine, pool: Patch, lines: Sequence[TrueLine]) -> bool:
    """Whether a ditch begins in a pool, and none that does not joins it before its shore.

    Parameters
    ----------
    line : TrueLine
    pool : Patch
    lines : sequence of TrueLine

    Returns
    -------
    bool
    """
    wet = inside(pool, line.row[:BEGINS], line.col[:BEGINS])
    if not wet.any():
        return False
    first = int(wet.argmax())
    joining = [o for o in lines if o.joins == line.line_id and 0 <= o.joins_at <= first and o.kind != "roadside"]
    return not any(o.row.size > BEGINS and not inside(pool, o.row, o.col).any() for o in joining)
