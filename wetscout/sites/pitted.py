"""A pit dug into a basin: its floor is not the floor of the basin, and its water is not the basin's."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from wetscout.records import BOOL, F32
from wetscout.settings.sites import SiteSettings


def pit_levels(
    lowest: NDArray[np.float32], cells: int, ends: tuple[float, float], s: SiteSettings
) -> tuple[float, float]:
    """Level up to which a pit reaches that was dug into a basin, and one half way up its walls.

    Walls take little ground: where at most `pit_walls` of a pool spans `pit_drop` of its depth, with no more than
    `pit_within` of the pool below, that part is a pit and the floor lies above. A cone has 25 % of its cells below half
    its depth and 8 % of them span at most 0.28 of it, a paraboloid 0.08 (plain geometry).

    Parameters
    ----------
    lowest : float32 (n,)
        Natural ground in the pool, ascending; as much of it as walls and pit can take, or all [m].
    cells : int
        Cells of the whole pool.
    ends : (float, float)
        Spill level and floor of the pool, pit and all [m].
    s : SiteSettings

    Returns
    -------
    top, middle : float
        [m]; minus infinity without a pit.
    """
    depth = ends[0] - ends[1]
    below, walls = int(s.pit_within * cells), int(s.pit_walls * cells)
    if depth < s.pit_from_m:
        return -np.inf, -np.inf
    ordered = lowest[int(0.01 * cells) :]
    rise = ordered[walls : walls + below + 1] - ordered[: below + 1]
    at = int(np.argmax(rise))
    if rise[at] < s.pit_drop * depth:
        return -np.inf, -np.inf
    return float(ordered[at + walls]), float(ordered[at + walls] - 0.5 * rise[at])


def deep_ground(natural: F32, pool: BOOL, levels: tuple[float, float, float], depth_m: float) -> BOOL:
    """Ground of a pool that is as deep as a basin must be, or half as deep as the pool; a pit dug into it left out.

    Around a dug pond on flat ground stand films of 0.02-0.06 m, which only its edge, a ring of 2-4 m, makes deep.

    Parameters
    ----------
    natural : float32 (h, w)
        [m]
    pool : bool (h, w)
    levels : (float, float, float)
        Spill level, floor, level up to which a pit reaches, minus infinity without one [m].
    depth_m : float
        Least depth of a basin [m].

    Returns
    -------
    bool (h, w)
    """
    spill, floor, pit = levels
    deep: BOOL = pool & (natural <= spill - min(depth_m, 0.5 * (spill - floor))) & (natural > pit)
    return deep


def walled(ranks: NDArray[np.int64], heights: NDArray[np.float32], walls: int, rise_m: float) -> bool:
    """Whether walls of a pit may be among cells of which only some are known by their rank.

    Parameters
    ----------
    ranks : int64 (n,)
        Ascending.
    heights : float32 (n,)
        Of the cells at these ranks, 0 the lowest [m].
    walls : int
        Most cells that walls take.
    rise_m : float
        Least that they rise [m].

    Returns
    -------
    bool
        False where no `walls` ranks that follow each other rise so far: not from any rank between two known ones.
    """
    above = np.minimum(np.searchsorted(ranks, ranks[1:] + walls), ranks.size - 1)
    return bool((heights[above] - heights[:-1] >= rise_m).any())


def slimness(at: NDArray[np.int32] | NDArray[np.int64], cols: int) -> float:
    """Outline squared over area of cells, along cell edges; of several pieces each by its area.

    A square has 16, a disc 20, a long channel 4 times its length over its width, three ponds what one has.

    Parameters
    ----------
    at : int (n,)
        Places of the cells in a raster, row after row; at least one.
    cols : int
        Columns of the raster.

    Returns
    -------
    float
    """
    row, col = at // cols, at % cols
    mask = np.zeros((int(np.ptp(row)) + 3, int(np.ptp(col)) + 3), np.int8)
    mask[row - row.min() + 1, col - col.min() + 1] = 1
    piece = ndimage.label(mask, np.ones((3, 3)))[0]
    # no two pieces share an edge, so the greater of two labels is the piece's whose outline runs between them
    across = np.maximum(piece[1:], piece[:-1])[np.diff(mask, axis=0) != 0]
    along = np.maximum(piece[:, 1:], piece[:, :-1])[np.diff(mask, axis=1) != 0]
    outline = np.bincount(np.concatenate((across, along)))
    return float((outline * outline).sum()) / at.size
