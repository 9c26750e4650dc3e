"""What a screen offered, as far as it is scored, and how patches of cells are compared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wetscout.records import BOOL, F64, Patch

# Words of `Found.drained_by` for covered drains; sites with them are a list of their own.
COVERED_WORDS = ("buried drain suspected", "ditch into covered pipe")


@dataclass(frozen=True)
class Found:
    """One offered site, as far as it is scored.

    Attributes
    ----------
    pool : Patch
    spill_m, volume_m3 : float
        [m], [m3].
    plugs : tuple of (row, col)
        [cells].
    drained_by, confidence, position : str
        Words of the result; `position` is `starts here` or `passes through`, empty where it is not told.
    below : int
        Place in the list of the next site down the way of the water; -1 none told.
    mouths : tuple of (row, col)
        Where to look for the mouth of a covered pipe, likeliest first [cells].
    plug_lines : tuple of (row, col)
        Stations of each plug across its ditch [cells].
    """

    pool: Patch
    spill_m: float
    volume_m3: float
    plugs: tuple[tuple[float, float], ...]
    drained_by: str = "ditch"
    confidence: str = ""
    position: str = ""
    below: int = -1
    mouths: tuple[tuple[float, float], ...] = ()
    plug_lines: tuple[tuple[F64, F64], ...] = ()

    @property
    def covered(self) -> bool:
        """Whether it is offered as drained by a covered pipe."""
        return self.drained_by in COVERED_WORDS


def overlap(a: Patch, b: Patch) -> int:
    """Count the cells two patches share.

    Parameters
    ----------
    a, b : Patch

    Returns
    -------
    int
    """
    row0, col0 = max(a.row0, b.row0), max(a.col0, b.col0)
    row1 = min(a.row0 + a.mask.shape[0], b.row0 + b.mask.shape[0])
    col1 = min(a.col0 + a.mask.shape[1], b.col0 + b.mask.shape[1])
    if row1 <= row0 or col1 <= col0:
        return 0
    one: BOOL = a.mask[row0 - a.row0 : row1 - a.row0, col0 - a.col0 : col1 - a.col0]
    two: BOOL = b.mask[row0 - b.row0 : row1 - b.row0, col0 - b.col0 : col1 - b.col0]
    return int(np.count_nonzero(one & two))


def inside(patch: Patch, row: NDArray[np.float64], col: NDArray[np.float64]) -> BOOL:
    """Tell which points (row, col) [cells] lie on cells of a patch.

    Parameters
    ----------
    patch : Patch
    row, col : float64 (n,)

    Returns
    -------
    bool (n,)
    """
    r = np.rint(row).astype(np.int64) - patch.row0
    c = np.rint(col).astype(np.int64) - patch.col0
    ok = (r >= 0) & (c >= 0) & (r < patch.mask.shape[0]) & (c < patch.mask.shape[1])
    out: BOOL = np.zeros(r.shape, dtype=np.bool_)
    out[ok] = patch.mask[r[ok], c[ok]]
    return out


def iou(a: Patch, b: Patch) -> float:
    """Shared cells of two patches over the cells of either.

    Parameters
    ----------
    a, b : Patch

    Returns
    -------
    float
        0-1.
    """
    both = overlap(a, b)
    return both / max(int(np.count_nonzero(a.mask)) + int(np.count_nonzero(b.mask)) - both, 1)
