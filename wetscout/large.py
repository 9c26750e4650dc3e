"""Where large arrays live: in memory, or in files that are mapped and whose pages are given back.

Within `on_disk` every array of `SMALL_BYTES` or more that is asked for here lies in a file without a name. The machine
reads and writes its pages as they are touched, so code that works on windows needs no change and gives the same bits.
Pages that were touched count as the program's memory until they are given back; a watching thread does that whenever
more than `KEPT_BYTES` of them are held. What they hold stays with the system, in its cache or on the disk.
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import math
import mmap
import os
import tempfile
import threading
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

from wetscout.errors import OutputError

__all__ = ["KEPT_BYTES", "SMALL_BYTES", "copy", "empty", "full", "keep", "on_disk", "strips", "zeros"]

# smaller arrays stay in memory: a raster of 4 million cells needs no disk
SMALL_BYTES = 1 << 25
# pages held before they are given back: large enough for two tiles and their surroundings in all arrays
KEPT_BYTES = 3 << 27
# a thread touches 1-2 GB/s, so this often bounds what is held beyond that to some 40 MB
_EVERY_S = 0.02
# a system maps 65 000 files at most; smaller masks are not worth one
_MOST_FILES = 30_000
_KEEP_BYTES = 1 << 16
_HELD_BYTES = 1 << 27
_M_TRIM_THRESHOLD, _M_MMAP_THRESHOLD = -1, -3
# cells of a strip of rows worked on at once
_STRIP_CELLS = 1 << 21

Shape = int | tuple[int, ...]


class _Disk:
    """A folder for files of arrays, and the thread that gives their pages back."""

    def __init__(self, folder: Path, small_bytes: int, kept_bytes: int) -> None:
        self.folder, self.small_bytes, self.kept_bytes = folder, small_bytes, kept_bytes
        self.maps: weakref.WeakSet[mmap.mmap] = weakref.WeakSet()
        self.lock = threading.Lock()
        self.ended = threading.Event()

    def array(self, shape: Shape, dtype: np.dtype[Any]) -> NDArray[Any]:
        """An array of zeros in a file that goes with it."""
        size = math.prod(shape if isinstance(shape, tuple) else (shape,)) * dtype.itemsize
        try:
            with tempfile.TemporaryFile(dir=self.folder) as file:
                # room is taken now: a full disk found later would end the program without a word
                file.truncate(size)
                _take_room(file.fileno(), size)
                area = mmap.mmap(file.fileno(), size)
        except OSError as error:
            raise OutputError(
                f"{self.folder}: {size / 1e9:.2g} GB of intermediate cells find no room here ({error.strerror}). "
                "Make room on this disk, or give a result on another one"
            ) from error
        with self.lock:
            self.maps.add(area)
        return np.ndarray(shape, dtype, buffer=area)

    def give_back(self) -> None:
        """Let all pages go; they come back when they are touched."""
        with self.lock:
            areas = list(self.maps)
        for area in areas:
            area.madvise(mmap.MADV_DONTNEED)

    def watch(self) -> None:
        """Give pages back whenever too many are held, until the end."""
        with _STATM.open("rb", buffering=0) as statm:
            while not self.ended.wait(_EVERY_S):
                if _file_pages(statm) > self.kept_bytes:
                    self.give_back()


def _take_room(handle: int, size: int) -> None:
    """Claim a file's room, where the system and the kind of disk can."""
    try:
        os.posix_fallocate(handle, 0, size)
    except AttributeError:
        return
    except OSError as error:
        if error.errno not in (errno.EOPNOTSUPP, errno.EINVAL):
            raise


def _hold_freed() -> None:
    """Let the allocator keep up to `_HELD_BYTES` of what is freed for what is asked next, where it can be told so.

    Tiles and strips make and drop arrays of some megabytes all the time. Given back and fetched again, each page costs
    more than what is worked out on it: half of all page faults, 2 of 70 s of processor on 16 million cells.
    """
    try:
        tell = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):
        return
    # numbers of the GNU allocator's malloc.h: arrays below the first come from what is held
    tell(_M_MMAP_THRESHOLD, SMALL_BYTES)
    tell(_M_TRIM_THRESHOLD, _HELD_BYTES)


_disks: list[_Disk] = []
_STATM = Path("/proc/self/statm")


def _file_pages(statm: IO[bytes]) -> int:
    """Memory of this process that stands for files, its programs among them [bytes]."""
    statm.seek(0)
    return int(statm.read().split()[2]) * mmap.PAGESIZE


@contextlib.contextmanager
def on_disk(folder: Path, small_bytes: int = SMALL_BYTES, kept_bytes: int = KEPT_BYTES) -> Iterator[None]:
    """Keep large arrays that are made within in files of a folder.

    Parameters
    ----------
    folder : Path
        Exists. The files have no names and go when their arrays do, even if the program is killed.
    small_bytes : int
        Smaller arrays stay in memory.
    kept_bytes : int
        Pages held before they are given back. Where the system does not tell, as outside Linux, it gives them back by
        its own rules.

    Yields
    ------
    None
    """
    disk = _Disk(folder, small_bytes, kept_bytes)
    _hold_freed()
    watch = None
    if _STATM.exists() and hasattr(mmap, "MADV_DONTNEED"):
        with _STATM.open("rb", buffering=0) as statm:
            disk.kept_bytes += _file_pages(statm)
        watch = threading.Thread(target=disk.watch, name="wetscout pages", daemon=True)
        watch.start()
    _disks.append(disk)
    try:
        yield
    finally:
        _disks.remove(disk)
        disk.ended.set()
        if watch is not None:
            watch.join()


def empty(shape: Shape, dtype: DTypeLike) -> NDArray[Any]:
    """An array whose cells hold anything.

    Parameters
    ----------
    shape : int or tuple of int
    dtype : dtype

    Returns
    -------
    ndarray
        C order, writable.

    Raises
    ------
    OutputError
        The disk has no room for it.
    """
    kind = np.dtype(dtype)
    disk = _disks[-1] if _disks else None
    if disk is None or math.prod(shape if isinstance(shape, tuple) else (shape,)) * kind.itemsize < disk.small_bytes:
        return np.empty(shape, kind)
    return disk.array(shape, kind)


def full(shape: Shape, value: Any, dtype: DTypeLike) -> NDArray[Any]:
    """An array of one value.

    Parameters
    ----------
    shape : int or tuple of int
    value : number
    dtype : dtype

    Returns
    -------
    ndarray
        As `empty`.
    """
    out = empty(shape, dtype)
    out[...] = value
    return out


def zeros(shape: Shape, dtype: DTypeLike) -> NDArray[Any]:
    """An array of zeros; those on disk take no memory until they are touched.

    Parameters
    ----------
    shape : int or tuple of int
    dtype : dtype

    Returns
    -------
    ndarray
        As `empty`.
    """
    kind = np.dtype(dtype)
    out = empty(shape, kind)
    # files begin as zeros
    return out if out.base is not None else np.zeros(shape, kind)


def copy(array: NDArray[Any]) -> NDArray[Any]:
    """A copy of an array.

    Parameters
    ----------
    array : ndarray

    Returns
    -------
    ndarray
        As `empty`.
    """
    out = empty(array.shape, array.dtype)
    out[...] = array
    return out


def keep(array: NDArray[Any]) -> NDArray[Any]:
    """An array that lives long and is one of thousands: moved to a file from 64 kB on, while there are not too many.

    Parameters
    ----------
    array : ndarray

    Returns
    -------
    ndarray
        The same values.
    """
    disk = _disks[-1] if _disks else None
    if disk is None or array.nbytes < min(_KEEP_BYTES, disk.small_bytes + 1) or len(disk.maps) > _MOST_FILES:
        return array
    out = disk.array(array.shape, array.dtype)
    out[...] = array
    return out


def strips(shape: tuple[int, int], halo: int = 0) -> Iterator[tuple[slice, slice, slice]]:
    """Cut rows into strips that cover them once.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    halo : int
        Rows read beyond a strip on both sides.

    Yields
    ------
    own, read, inner : slice
        Rows of the strip; with those beside it, clipped to the array; the strip within these.
    """
    rows, cols = shape
    # short strips with wide halos would read everything several times
    step = max(1, _STRIP_CELLS // max(1, cols), 2 * halo)
    for top in range(0, rows, step):
        end, low = min(rows, top + step), max(0, top - halo)
        yield slice(top, end), slice(low, min(rows, end + halo)), slice(top - low, end - low)
