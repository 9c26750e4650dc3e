"""The raster grid as one value: shape, cell size in metres, place on the map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Grid:
    """A north-up grid of (nearly) square cells.

    Attributes
    ----------
    rows, cols : int
        Shape.
    x0, y0 : float
        Map coordinates of the outer corner of cell (0, 0), the north-west corner [CRS unit].
    dx, dy : float
        Cell width and height, both positive [CRS unit].
    cell_m : float
        Cell size [m] (mean of width and height).
    crs_wkt : str
        Coordinate reference system as WKT.
    """

    rows: int
    cols: int
    x0: float
    y0: float
    dx: float
    dy: float
    cell_m: float
    crs_wkt: str = ""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows, self.cols

    @property
    def cell_m2(self) -> float:
        """Area of a cell [m2]."""
        return self.cell_m * self.cell_m

    def xy(self, row: NDArray[np.float64], col: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Map coordinates of points given in cells; (0, 0) is the centre of the first cell.

        Parameters
        ----------
        row, col : ndarray of float64
            Any shape [cells].

        Returns
        -------
        x, y : ndarray of float64
            [CRS unit].
        """
        x = self.x0 + (np.asarray(col, dtype=np.float64) + 0.5) * self.dx
        y = self.y0 - (np.asarray(row, dtype=np.float64) + 0.5) * self.dy
        return x, y

    def row_col(
        self, x: NDArray[np.float64], y: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Cell coordinates (fractional) of map points; the inverse of `xy`.

        Parameters
        ----------
        x, y : ndarray of float64
            [CRS unit].

        Returns
        -------
        row, col : ndarray of float64
            [cells].
        """
        row = (self.y0 - np.asarray(y, dtype=np.float64)) / self.dy - 0.5
        col = (np.asarray(x, dtype=np.float64) - self.x0) / self.dx - 0.5
        return row, col


@dataclass(frozen=True)
class Patch:
    """A set of cells inside a window of the grid."""

    row0: int
    col0: int
    mask: NDArray[np.bool_]

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the window."""
        return self.mask.shape[0], self.mask.shape[1]

    @property
    def labelled(self) -> tuple[NDArray[Any], int, int]:
        """Numbers in the window, and the first and the last of those that its cells have."""
        return self.mask.view(np.uint8), 1, 1
