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
    z: NDArray[np.float32], cell_m: float, tests: Sequence[Test], run_tiles: RunTiles | None
) -> list[trace.Cells]:
    """Cells that pass each test, of the whole DEM.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
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
    rows, cols = z.shape
    halo = max(cells.halo_cells(cell_m, t.thresholds) for t in tests)

    def work(window: Window) -> tuple[trace.Cells, ...]:
        row0, row1, col0, col1 = window
        r0, c0 = max(0, row0 - halo), max(0, col0 - halo)
        part = z[r0 : min(rows, row1 + halo), c0 : min(cols, col1 + halo)]
        s = cells.smooth_ground(part, cell_m)
        own = np.zeros(part.shape, dtype=np.bool_)
        own[row0 - r0 : row1 - r0, col0 - c0 : col1 - c0] = True
        answers = []
        for test in tests:
            found = cells.respond_on(-s if test.raised else s, cell_m, test.thresholds)
            r, c = np.nonzero(found.keep & own)
            keys = (r.astype(np.int64) + r0) * cols + c + c0
            answers.append(trace.Cells(keys, found.depth[r, c], found.saturation[r, c], found.direction[r, c], cols))
        return tuple(answers)

    tiles = [work((0, rows, 0, cols))] if run_tiles is None else run_tiles(work, halo)
    return [_together([t[i] for t in tiles], cols) for i in range(len(tests))]


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
