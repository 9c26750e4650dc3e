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
# files of at least this size serve again, while those that wait take no more than an eighth of the machine's memory
_AGAIN_BYTES = SMALL_BYTES
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
        # files of arrays that are gone: size, handle
        self.gone: list[tuple[int, int]] = []
        self.spare_bytes = _memory_bytes() // 8

    def array(self, shape: Shape, dtype: np.dtype[Any], again: bool = False) -> NDArray[Any]:
        """An array of zeros in a file that goes with it; `again`: of anything, in one that served before.

        The system clears pages of a new file as they are touched, which may cost more than all that is written to them
        then: 2 of 55 s of processor on 16 million cells.
        """
        size = math.prod(shape if isinstance(shape, tuple) else (shape,)) * dtype.itemsize
        again = again and _AGAIN_BYTES <= size <= self.spare_bytes
        try:
            handle = self._spare_of(size) if again else None
            handle = self._new_file(size) if handle is None else handle
            try:
                area = mmap.mmap(handle, size)
            except OSError:
                os.close(handle)
                raise
        except OSError as error:
            raise OutputError(
                f"{self.folder}: {size / 1e9:.2g} GB of intermediate cells find no room here ({error.strerror}). "
                "Make room on this disk, or give a result on another one"
            ) from error
        if again:
            weakref.finalize(area, self._gone, size, handle)
        else:
            os.close(handle)
        with self.lock:
            self.maps.add(area)
        return np.ndarray(shape, dtype, buffer=area)

    def _new_file(self, size: int) -> int:
        """Handle of a file of zeros without a name."""
        with tempfile.TemporaryFile(dir=self.folder) as file:
            # room is taken now: a full disk found later would end the program without a word
            file.truncate(size)
            try:
                _take_room(file.fileno(), size)
            except OSError:
                self.let_go()
                _take_room(file.fileno(), size)
            return os.dup(file.fileno())

    def _spare_of(self, size: int) -> int | None:
        """Take a file of that size whose array is gone; the oldest of the others go while they are too large."""
        with self.lock:
            held, found, room = self.gone[:], None, self.spare_bytes
            # arrays may go meanwhile: theirs come behind
            del self.gone[: len(held)]
            for one in held[::-1]:
                if found is None and one[0] == size:
                    found = one[1]
                elif one[0] <= room:
                    room -= one[0]
                    self.gone.insert(0, one)
                else:
                    os.close(one[1])
        return found

    def _gone(self, size: int, handle: int) -> None:
        """Note the file of an array that is gone. May be called anywhere, so it takes no lock."""
        if self.ended.is_set():
            os.close(handle)
        else:
            self.gone.append((size, handle))

    def let_go(self) -> None:
        """Let go of the files of all arrays that are gone."""
        with self.lock:
            while self.gone:
                os.close(self.gone.pop()[1])

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


def _memory_bytes() -> int:
    """Memory of the machine, 0 where it does not tell."""
    try:
        return os.sysconf("SC_PHYS_PAGES") * mmap.PAGESIZE
    except (AttributeError, ValueError, OSError):
        return 0


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
        disk.let_go()
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
    disk = _disk_for(shape, kind)
    return np.empty(shape, kind) if disk is None else disk.array(shape, kind, again=True)


def _disk_for(shape: Shape, kind: np.dtype[Any]) -> _Disk | None:
    """Where an array is kept; None in memory."""
    disk = _disks[-1] if _disks else None
    size = math.prod(shape if isinstance(shape, tuple) else (shape,)) * kind.itemsize
    return None if disk is None or size < disk.small_bytes else disk


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
    disk = _disk_for(shape, kind)
    # new files begin as zeros
    return np.zeros(shape, kind) if disk is None else disk.array(shape, kind)


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
