"""A raster of classes read onto the DEM's grid: each cell takes the class at its centre, nothing is mixed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray
from pyproj.exceptions import ProjError

from wetscout import large
from wetscout.errors import InputError
from wetscout.grid import Grid
from wetscout.io.rasters import RasterInfo, describe, read_window
from wetscout.io.vectors import horizontal

F64 = NDArray[np.float64]

# places are brought to the other CRS at every 32nd cell and read off straight between: over 32 cells of 1 m a map grid
# bends by less than 1e-3 m. The nodes are anchored at cell (0, 0), so a tile would get the same answer.
_NODES = 32


def _places(grid: Grid, own: pyproj.CRS) -> tuple[F64, F64]:
    """Coordinates of all cell centres in the raster's CRS, at nodes: x, y (n, m)."""
    rows = np.arange(0, grid.rows + _NODES, _NODES, dtype=np.float64)
    cols = np.arange(0, grid.cols + _NODES, _NODES, dtype=np.float64)
    x, y = grid.xy(np.repeat(rows, cols.size), np.tile(cols, rows.size))
    goal = horizontal(grid.crs_wkt)
    if own != goal:
        try:
            x, y = pyproj.Transformer.from_crs(goal, own, always_xy=True).transform(x, y, errcheck=True)
        except ProjError as error:
            raise InputError(f"no way is known from {goal.name} to {own.name}: {error}") from error
    return np.asarray(x).reshape(rows.size, cols.size), np.asarray(y).reshape(rows.size, cols.size)


def _between(nodes: F64, row: int, cols: int) -> F64:
    """Values of one row of cells, bilinear between the nodes."""
    i, f = divmod(row, _NODES)
    share = f / _NODES
    line = nodes[i] * (1.0 - share) + nodes[min(i + 1, nodes.shape[0] - 1)] * share
    j, g = np.divmod(np.arange(cols), _NODES)
    right = g / _NODES
    out: F64 = line[j] * (1.0 - right) + line[j + 1] * right
    return out


def _check(info: RasterInfo, what: str) -> pyproj.CRS:
    if not info.crs_wkt:
        raise InputError(
            f"the {what} raster {info.path} has no coordinate reference system. Write it in: "
            "gdal_edit.py -a_srs EPSG:CODE"
        )
    if info.bands > 1:
        raise InputError(
            f"the {what} raster {info.path} has {info.bands} bands: a picture, not class codes. "
            "Wanted: one band of codes."
        )
    if np.dtype(info.dtype).kind not in "ui":
        raise InputError(
            f"the {what} raster {info.path} holds {info.dtype}; wanted: whole numbers, one code a class. "
            "Save it with an integer type."
        )
    if info.transform[2] or info.transform[4]:
        raise InputError(f"the {what} raster {info.path} is rotated; warp it to a north-up grid with gdalwarp.")
    return horizontal(info.crs_wkt)


def read_nearest(path: str | Path, grid: Grid, what: str) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Read the class at the centre of every cell of a grid.

    Parameters
    ----------
    path : str or Path
        Raster of whole numbers, any CRS, any cell size.
    grid : Grid
        The DEM's.
    what : str
        What the raster is for the user ("land cover"), used in messages.

    Returns
    -------
    codes : integer (rows, cols)
        As stored.
    valid : bool (rows, cols)
        False outside of the raster and on its no-data.

    Raises
    ------
    InputError
        Missing, no codes, no CRS, or nothing over the DEM.
    """
    info = describe(path)
    own = _check(info, what)
    x0, dx, _, y0, _, dy = info.transform
    node_x, node_y = _places(grid, own)
    node_row, node_col = (node_y - y0) / dy, (node_x - x0) / dx
    r0, r1 = max(0, int(np.floor(node_row.min()))), min(info.rows, int(np.floor(node_row.max())) + 1)
    c0, c1 = max(0, int(np.floor(node_col.min()))), min(info.cols, int(np.floor(node_col.max())) + 1)
    if r0 >= r1 or c0 >= c1:
        raise InputError(
            f"the {what} raster {info.path} does not reach the DEM. Is it the right file, or is its CRS "
            f"({own.name}) declared wrongly?"
        )
    part, told = read_window(info, (r0, r1), (c0, c1))
    codes = large.zeros(grid.shape, part.dtype)
    valid = large.zeros(grid.shape, np.bool_)
    for row in range(grid.rows):
        r = np.floor(_between(node_row, row, grid.cols)).astype(np.int64) - r0
        c = np.floor(_between(node_col, row, grid.cols)).astype(np.int64) - c0
        inside = (r >= 0) & (c >= 0) & (r < part.shape[0]) & (c < part.shape[1])
        r, c = np.where(inside, r, 0), np.where(inside, c, 0)
        codes[row] = part[r, c]
        valid[row] = inside & told[r, c]
    if not valid.any():
        raise InputError(f"the {what} raster {info.path} holds no data over the DEM.")
    return codes, valid
