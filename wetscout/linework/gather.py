"""Run the test of cells over tiles and gather the kept ones of the whole DEM."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wetscout.linework import cells, trace

Window = tuple[int, int, int, int]
Work = Callable[[Window], tuple[trace.Cells, ...]]
RunTiles = Callable[[Work, int], list[tuple[trace.Cells, ...]]]


@dataclass(frozen=True)
class Test:
    """One test of all cells; `raised` looks for raised lines instead of cuts."""

    thresholds: cells.Thresholds
    raised: bool = False


def kept_cells(
    s: NDArray[np.float32], cell_m: float, tests: Sequence[Test], run_tiles: RunTiles | None
) -> list[trace.Cells]:
    """Cells that pass each test, of the whole DEM.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m].
    cell_m : float
        [m].
    tests : sequence of Test
        All are run on a tile while it is at hand.
    run_tiles : callable or None
        See `find_lines`.

    Returns
    -------
    list of Cells
        One for each test, sorted by cell number; the same whatever the tiles.
    """
    rows, cols = s.shape
    halo = max(cells.halo_cells(cell_m, t.thresholds) for t in tests)
    work = CellWork(s, cell_m, tuple(tests), halo)
    tiles = [work((0, rows, 0, cols))] if run_tiles is None else run_tiles(work, halo)
    return [_together([t[i] for t in tiles], cols) for i in range(len(tests))]


@dataclass(frozen=True)
class CellWork:
    """Tests the cells of a window; `cut` and `tested` are its two halves, for a machine that has not the whole DEM.

    Attributes
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m].
    cell_m : float
        [m].
    tests : tuple of Test
    halo : int
        [cells].
    """

    s: NDArray[np.float32]
    cell_m: float
    tests: tuple[Test, ...]
    halo: int

    def __call__(self, window: Window) -> tuple[trace.Cells, ...]:
        """Kept cells of a window."""
        return tested(*self.cut(window))

    def cut(self, window: Window) -> tuple[NDArray[np.float32], Window, tuple[int, int, int], float, tuple[Test, ...]]:
        """What `tested` needs of the DEM.

        Parameters
        ----------
        window : (row0, row1, col0, col1)

        Returns
        -------
        tuple
            Its arguments.
        """
        row0, row1, col0, col1 = window
        rows, cols = self.s.shape
        r0, c0 = max(0, row0 - self.halo), max(0, col0 - self.halo)
        part = self.s[r0 : min(rows, row1 + self.halo), c0 : min(cols, col1 + self.halo)]
        return np.array(part, order="C"), window, (r0, c0, cols), self.cell_m, self.tests

    @property
    def far(self) -> Callable[..., tuple[trace.Cells, ...]]:
        """The function to call with what `cut` gives."""
        return tested


def tested(
    part: NDArray[np.float32],
    window: Window,
    place: tuple[int, int, int],
    cell_m: float,
    tests: Sequence[Test],
) -> tuple[trace.Cells, ...]:
    """Kept cells of a window.

    Parameters
    ----------
    part : float32 (h, w)
        Smoothed ground with its halo [m].
    window : (row0, row1, col0, col1)
        Cells to answer for, in the whole DEM.
    place : (row, col, columns)
        Of part[0, 0] in the whole DEM, and its columns.
    cell_m : float
        [m].
    tests : sequence of Test

    Returns
    -------
    tuple of Cells
        One for each test.
    """
    row0, row1, col0, col1 = window
    r0, c0, cols = place
    own = np.zeros(part.shape, dtype=np.bool_)
    own[row0 - r0 : row1 - r0, col0 - c0 : col1 - c0] = True
    answers = []
    for test in tests:
        found = cells.respond_on(-part if test.raised else part, cell_m, test.thresholds)
        r, c = np.nonzero(found.keep & own)
        keys = (r.astype(np.int64) + r0) * cols + c + c0
        answers.append(trace.Cells(keys, found.depth[r, c], found.saturation[r, c], found.direction[r, c], cols))
    return tuple(answers)


def _together(parts: list[trace.Cells], cols: int) -> trace.Cells:
    """Cells of all tiles in order of their number."""
    keys = np.concatenate([t.keys for t in parts])
    order = np.argsort(keys, kind="stable")
    return trace.Cells(
        keys[order],
        np.concatenate([t.depth for t in parts])[order],
        np.concatenate([t.saturation for t in parts])[order],
        np.concatenate([t.direction for t in parts])[order],
        cols,
    )
