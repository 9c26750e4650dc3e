"""Run the test of cells over tiles and gather the kept ones of the whole DEM."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from wetscout.linework import cells, trace

Window = tuple[int, int, int, int]
RunTiles = Callable[[Callable[[Window], trace.Cells], int], list[trace.Cells]]


def kept_cells(
    z: NDArray[np.float32], cell_m: float, thresholds: cells.Thresholds, run_tiles: RunTiles | None
) -> trace.Cells:
    """Cells that pass the test, of the whole DEM.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], negated for raised lines.
    cell_m : float
        [m].
    thresholds : Thresholds
    run_tiles : callable or None
        See `find_lines`.

    Returns
    -------
    Cells
        Sorted by cell number; the same whatever the tiles.
    """
    rows, cols = z.shape
    halo = cells.halo_cells(cell_m, thresholds)

    def work(window: Window) -> trace.Cells:
        row0, row1, col0, col1 = window
        r0, c0 = max(0, row0 - halo), max(0, col0 - halo)
        part = z[r0 : min(rows, row1 + halo), c0 : min(cols, col1 + halo)]
        found = cells.respond(part, cell_m, thresholds)
        own = np.zeros(part.shape, dtype=np.bool_)
        own[row0 - r0 : row1 - r0, col0 - c0 : col1 - c0] = True
        r, c = np.nonzero(found.keep & own)
        keys = (r.astype(np.int64) + r0) * cols + c + c0
        return trace.Cells(keys, found.depth[r, c], found.saturation[r, c], found.direction[r, c], cols)

    tiles = [work((0, rows, 0, cols))] if run_tiles is None else run_tiles(work, halo)
    keys = np.concatenate([t.keys for t in tiles])
    order = np.argsort(keys, kind="stable")
    return trace.Cells(
        keys[order],
        np.concatenate([t.depth for t in tiles])[order],
        np.concatenate([t.saturation for t in tiles])[order],
        np.concatenate([t.direction for t in tiles])[order],
        cols,
    )
