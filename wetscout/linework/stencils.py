"""Which cells make the bed and the bank bands of a strip, in each direction and at any cell size."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

N_DIRECTIONS = 16
# ground is averaged over about this width before sampling: the bed of a small ditch with its slopes
BED_M = 3.0
# below this cell size the nearest cell is near enough; above it points are weighted between four cells
NEAREST_BELOW_M = 1.25


@dataclass(frozen=True)
class Scale:
    """Offsets of the bank bands from the centre and length of the strip, all [m]."""

    near: tuple[float, float]
    far: tuple[float, float]
    length: float

    @property
    def reach_m(self) -> float:
        """Farthest ground any stencil touches [m]."""
        return float(np.hypot(max(self.near[1], self.far[1]), 0.5 * self.length)) + BED_M


@dataclass(frozen=True)
class Stencils:
    """Five stencils a direction (bed, near left, near right, far left, far right), flattened for the kernels.

    Attributes
    ----------
    dr, dc : int32 (n,)
        Offsets [cells].
    w : float64 (n,)
        Weights; those of one stencil add up to 1.
    start : int64 (5 x directions + 1,)
        Where each stencil begins.
    unit : float64 (directions, 2)
        Unit vector (row, col) along each direction.
    """

    dr: NDArray[np.int32]
    dc: NDArray[np.int32]
    w: NDArray[np.float64]
    start: NDArray[np.int64]
    unit: NDArray[np.float64]

    @property
    def margin(self) -> int:
        """Cells of margin the kernels need all round."""
        return int(max(np.abs(self.dr).max(), np.abs(self.dc).max()))

    def parts(self, width: int) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]:
        """Offsets in a flattened array of a given width, weights and starts: what the kernels want.

        Parameters
        ----------
        width : int
            Columns of the array [cells].

        Returns
        -------
        offsets, weights, starts : int64 (n,), float64 (n,), int64 (m,)
        """
        return self.dr.astype(np.int64) * width + self.dc, self.w, self.start


def scale_for(cell_m: float, near: tuple[float, float], length_m: float) -> Scale:
    """Bands of a wanted near band, widened where cells are too coarse for it.

    The inner edge stays at least 1.3 cells out and the band at least 1.3 cells wide: at 3 m cells a band of 3..7 m
    rounded to whole cells lost a quarter of the ditches, 4..8 m did not.

    Parameters
    ----------
    cell_m : float
        Cell size [m].
    near : (float, float)
        Wanted near band [m].
    length_m : float
        Strip length [m].

    Returns
    -------
    Scale
        The far band begins where the near one ends and is twice as far out.
    """
    inner = max(near[0], 1.3 * cell_m)
    outer = max(near[1], inner + 1.3 * cell_m)
    return Scale((inner, outer), (outer, 2.0 * outer), max(length_m, 5.0 * cell_m))


def box_cells(cell_m: float) -> int:
    """Odd number of cells whose width is nearest to the bed strip, 1 from 1.5 m cells on.

    Parameters
    ----------
    cell_m : float
        Cell size [m].

    Returns
    -------
    int
        [cells].
    """
    return 2 * int(0.5 * BED_M / cell_m) + 1


def _spread(low: float, high: float, step: float) -> NDArray[np.float64]:
    """Centres of equal parts, none longer than `step`, of low..high."""
    n = max(1, int(np.ceil((high - low) / step - 1e-9)))
    return low + (np.arange(n) + 0.5) * (high - low) / n


def _strip(
    unit: NDArray[np.float64], along: NDArray[np.float64], across: NDArray[np.float64], cell_m: float
) -> dict[tuple[int, int], float]:
    """Cells and weights of the points along x across of one strip."""
    cells: dict[tuple[int, int], float] = {}
    share = 1.0 / (along.size * across.size)
    for t in along:
        for n in across:
            r = (t * unit[0] - n * unit[1]) / cell_m
            c = (t * unit[1] + n * unit[0]) / cell_m
            for rr, wr in _between(r, cell_m):
                for cc, wc in _between(c, cell_m):
                    cells[rr, cc] = cells.get((rr, cc), 0.0) + share * wr * wc
    return cells


def _between(x: float, cell_m: float) -> list[tuple[int, float]]:
    """Whole cells next to a fractional position and their linear weights."""
    if cell_m < NEAREST_BELOW_M:
        # halves go away from zero on both sides, so that left mirrors right
        return [(int(np.copysign(np.floor(abs(x) + 0.5 + 1e-9), x)), 1.0)]
    low = int(np.floor(x))
    part = x - low
    return [(i, w) for i, w in ((low, 1.0 - part), (low + 1, part)) if w > 1e-9]


def build(scale: Scale, cell_m: float) -> Stencils:
    """Stencils of one scale at one cell size.

    Parameters
    ----------
    scale : Scale
        Bands and length [m].
    cell_m : float
        Cell size [m].

    Returns
    -------
    Stencils
        Bed and near points stand one box width (about 3 m) apart along and two across, far ones two both ways.
    """
    step = box_cells(cell_m) * cell_m
    angle = np.arange(N_DIRECTIONS) * np.pi / N_DIRECTIONS
    unit = np.column_stack((np.sin(angle), np.cos(angle)))
    along = _spread(-0.5 * scale.length, 0.5 * scale.length, max(step, 0.8 * BED_M))
    along_far = _spread(-0.5 * scale.length, 0.5 * scale.length, 2.0 * step)
    near = _spread(*scale.near, 2.0 * step)
    far = _spread(*scale.far, 2.0 * step)
    dr: list[int] = []
    dc: list[int] = []
    w: list[float] = []
    start = [0]
    for u in unit:
        strips = ((along, np.zeros(1)), (along, near), (along, -near), (along_far, far), (along_far, -far))
        for t, n in strips:
            cells = _strip(u, t, n, cell_m)
            for (r, c), weight in sorted(cells.items()):
                dr.append(r)
                dc.append(c)
                w.append(weight)
            start.append(len(dr))
    return Stencils(
        np.array(dr, dtype=np.int32),
        np.array(dc, dtype=np.int32),
        np.array(w, dtype=np.float64),
        np.array(start, dtype=np.int64),
        unit,
    )


def across_offsets(unit: NDArray[np.float64], reach_m: float, cell_m: float) -> NDArray[np.int64]:
    """Whole-cell offsets across each direction out to `reach_m`.

    Parameters
    ----------
    unit : float64 (directions, 2)
    reach_m, cell_m : float
        [m].

    Returns
    -------
    int64 (directions, n, 2)
        Row and column offsets of one side, at least one cell out.
    """
    n = max(1, int(reach_m / cell_m + 0.5))
    k = np.arange(1, n + 1, dtype=np.float64)
    rows = np.floor(-unit[:, 1:2] * k + 0.5)
    cols = np.floor(unit[:, 0:1] * k + 0.5)
    return np.stack((rows, cols), axis=-1).astype(np.int64)


def ring_offsets(scale: Scale, cell_m: float) -> NDArray[np.int64]:
    """Whole-cell offsets of 16 places all round, in the middle of the near band.

    Parameters
    ----------
    scale : Scale
    cell_m : float
        [m].

    Returns
    -------
    int64 (16, 2)
        Row and column offsets.
    """
    angle = np.arange(16) * np.pi / 8.0
    radius = 0.5 * (scale.near[0] + scale.near[1]) / cell_m
    return np.rint(radius * np.column_stack((np.sin(angle), np.cos(angle))) + 0.0).astype(np.int64)
