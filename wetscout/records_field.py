"""Arrays that are read and written by windows, so that none need be in memory whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

__all__ = ["ArrayField", "Field"]


class Field(Protocol):
    """A two-dimensional array somewhere."""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a cell."""

    def read(self, row0: int, row1: int, col0: int, col1: int) -> NDArray[Any]:
        """Part of it: a copy of one's own, C order, writable.

        Parameters
        ----------
        row0, row1, col0, col1 : int
            Half open, inside the array [cells].

        Returns
        -------
        array (row1 - row0, col1 - col0)
        """

    def write(self, row0: int, col0: int, part: NDArray[Any]) -> None:
        """Replace a part of it; parts that do not overlap may be written at once.

        Parameters
        ----------
        row0, col0 : int
            Where its first cell goes [cells].
        part : array
            Of the same type.
        """


@dataclass(frozen=True)
class ArrayField:
    """A field in memory.

    Attributes
    ----------
    array : array (rows, cols)
        Read and written in place.
    """

    array: NDArray[Any]

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, cols = self.array.shape
        return rows, cols

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a cell."""
        return self.array.dtype

    def read(self, row0: int, row1: int, col0: int, col1: int) -> NDArray[Any]:
        """Part of it, copied.

        Parameters
        ----------
        row0, row1, col0, col1 : int
            Half open [cells].

        Returns
        -------
        array
        """
        return np.array(self.array[row0:row1, col0:col1], order="C")

    def write(self, row0: int, col0: int, part: NDArray[Any]) -> None:
        """Replace a part of it.

        Parameters
        ----------
        row0, col0 : int
            Where its first cell goes [cells].
        part : array
        """
        rows, cols = part.shape
        self.array[row0 : row0 + rows, col0 : col0 + cols] = part
