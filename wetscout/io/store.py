"""Large intermediate arrays in plain files: read and written by windows, never mapped into memory.

A file holds the cells row by row, uncompressed, in the machine's own byte order. Files are sparse until written: a cell
never written reads as 0. Reads and writes name their place, so threads share one handle.
"""

from __future__ import annotations

import os
import threading
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wetscout.errors import OutputError

__all__ = ["Store", "StoredField"]

# Windows has no calls that name their place
_PLACED = hasattr(os, "preadv") and hasattr(os, "pwrite")


class StoredField:
    """A two-dimensional array in a file; see `records_field.Field`.

    Parameters
    ----------
    path : Path
        Made anew.
    shape : (int, int)
        Rows and columns.
    dtype : dtype
        Type of a cell.

    Raises
    ------
    OutputError
        The file cannot be made.
    """

    def __init__(self, path: Path, shape: tuple[int, int], dtype: np.dtype[Any] | type[Any]) -> None:
        self.path, self.shape, self.dtype = path, shape, np.dtype(dtype)
        self._lock = threading.Lock()
        flags = os.O_RDWR | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0)
        try:
            self._handle = os.open(path, flags, 0o600)
            os.truncate(self._handle, shape[0] * shape[1] * self.dtype.itemsize)
        except OSError as error:
            raise _told(path, error) from error

    def read(self, row0: int, row1: int, col0: int, col1: int) -> NDArray[Any]:
        """Part of it.

        Parameters
        ----------
        row0, row1, col0, col1 : int
            Half open, inside the array [cells].

        Returns
        -------
        array (row1 - row0, col1 - col0)
            C order, writable.

        Raises
        ------
        OutputError
            The file cannot be read there.
        """
        out = np.empty((max(0, row1 - row0), max(0, col1 - col0)), self.dtype)
        try:
            for begin, piece in self._pieces(row0, col0, out):
                self._fill(piece.view(np.uint8).data, begin)
        except OSError as error:
            raise _told(self.path, error) from error
        return out

    def write(self, row0: int, col0: int, part: NDArray[Any]) -> None:
        """Replace a part of it.

        Parameters
        ----------
        row0, col0 : int
            Where its first cell goes [cells].
        part : array
            Of the same type.

        Raises
        ------
        ValueError
            Another type, or a part that reaches beyond the array.
        OutputError
            The file cannot be written, mostly for want of room.
        """
        rows, cols = part.shape
        inside = row0 >= 0 and col0 >= 0 and row0 + rows <= self.shape[0] and col0 + cols <= self.shape[1]
        if part.dtype != self.dtype or not inside:
            raise ValueError(f"a part {part.shape} {part.dtype} at {row0}, {col0} of {self.shape} {self.dtype}")
        try:
            for begin, piece in self._pieces(row0, col0, np.ascontiguousarray(part)):
                self._pour(piece.view(np.uint8).data, begin)
        except OSError as error:
            raise _told(self.path, error) from error

    def close(self) -> None:
        """Close the file and remove it."""
        os.close(self._handle)
        self.path.unlink(missing_ok=True)

    def _pieces(self, row0: int, col0: int, part: NDArray[Any]) -> list[tuple[int, NDArray[Any]]]:
        """Runs of a part that are one run in the file, with their place in bytes."""
        size, cols = self.dtype.itemsize, self.shape[1]
        if part.size == 0:
            return []
        if part.shape[1] == cols:
            return [(row0 * cols * size, part.reshape(-1))]
        return [(((row0 + k) * cols + col0) * size, row) for k, row in enumerate(part)]

    def _fill(self, view: memoryview, begin: int) -> None:
        """Read until a piece is full."""
        at = 0
        while at < len(view):
            if _PLACED:
                got = os.preadv(self._handle, [view[at:]], begin + at)
            else:
                with self._lock:
                    os.lseek(self._handle, begin + at, os.SEEK_SET)
                    data = os.read(self._handle, len(view) - at)
                got = len(data)
                view[at : at + got] = data
            if got == 0:
                raise OSError(5, "the file ends too early")
            at += got

    def _pour(self, view: memoryview, begin: int) -> None:
        """Write until all of a piece is written."""
        at = 0
        while at < len(view):
            if _PLACED:
                at += os.pwrite(self._handle, view[at:], begin + at)
            else:
                with self._lock:
                    os.lseek(self._handle, begin + at, os.SEEK_SET)
                    at += os.write(self._handle, view[at:])


class Store:
    """A folder of fields that goes when the work is done; use as a context manager.

    Parameters
    ----------
    folder : Path
        Exists; the fields' files are made in it.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._fields: list[StoredField] = []

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        while self._fields:
            self._fields.pop().close()

    def field(self, name: str, shape: tuple[int, int], dtype: np.dtype[Any] | type[Any]) -> StoredField:
        """Make a field.

        Parameters
        ----------
        name : str
            Letters, digits, dashes; once in a store.
        shape : (int, int)
            Rows and columns.
        dtype : dtype

        Returns
        -------
        StoredField
            All 0.

        Raises
        ------
        OutputError
            It cannot be made.
        """
        made = StoredField(self.folder / f"{name}.raw", shape, dtype)
        self._fields.append(made)
        return made


def _told(path: Path, error: OSError) -> OutputError:
    return OutputError(
        f"{path}: intermediate cells cannot be kept here ({error.strerror}). Is the disk full? Make room, or give a "
        "result on another disk"
    )
