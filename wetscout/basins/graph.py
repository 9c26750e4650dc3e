"""From a raster to the spanning tree of passes between its pits, strip by strip on threads.

The answer does not depend on the number of strips or threads: pits are numbered in row, column order, passes are
compared in a strict order, and a strip joins only basins it sees whole.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.kernels import labels, passes
from wetscout.settings.basins import BasinSettings

T = TypeVar("T")
Floats = NDArray[np.floating[Any]]
I32 = NDArray[np.int32]
I64 = NDArray[np.int64]


@dataclass(frozen=True)
class Graph:
    """Pits of a raster and the spanning tree of lowest passes, rooted outside.

    Attributes
    ----------
    z : float32 or float64 (rows, cols)
        Ground; outlets -inf, walls +inf.
    label : int32 (rows, cols)
        Pit each cell drains to, from 1 in row, column order; 0 outside.
    pits : int64 (n + 1,)
        Flat index of each pit; entry 0 is -1.
    parent : int32 (n + 1,)
        Pit of the basin behind the lowest pass of the basin this pit stood for when it joined another; -1 no way out.
    level : like z (n + 1,)
        Level of that pass.
    lower : like z (n + 1,)
        Height of its lower cell.
    code : int64 (n + 1,)
        Place of that pass: 16 * flat index of its first cell + 4 * direction, + 2 if its second cell is the higher, + 1
        if the pit lies on the side of the first.
    nans, infs : int
        Cells that were NaN in `z`; cells that are +inf.
    inner : bool
        Whether there are outlets or walls at all.
    highest : float
        Highest absolute height.
    strips : tuple of (row, row)
    offsets : int64 (strips + 1,)
        Pits before each strip, and all.
    """

    z: Floats
    label: I32
    pits: I64
    parent: I32
    level: Floats
    lower: Floats
    code: I64
    nans: int
    infs: int
    inner: bool
    highest: float
    strips: tuple[tuple[int, int], ...]
    offsets: I64


@dataclass
class Crew:
    """Threads that work on strips; one thread works without a pool.

    Attributes
    ----------
    workers : int
        How many.
    """

    workers: int
    _pool: ThreadPoolExecutor | None = field(default=None, init=False)

    def __enter__(self) -> Crew:
        """Start the pool."""
        if self.workers > 1:
            self._pool = ThreadPoolExecutor(self.workers)
        return self

    def __exit__(self, *_: object) -> None:
        """Stop the pool."""
        if self._pool is not None:
            self._pool.shutdown()

    def map(self, work: Callable[..., T], *args: Iterable[Any]) -> list[T]:
        """Call a function on each set of arguments.

        Parameters
        ----------
        work : callable
            Takes one value of each of the iterables that follow; must not touch what another call of it writes.

        Returns
        -------
        list
            Results in order.
        """
        return list((self._pool.map if self._pool is not None else map)(work, *args))


def workers_of(settings: BasinSettings) -> int:
    """Threads to use.

    Parameters
    ----------
    settings : BasinSettings

    Returns
    -------
    int
        The setting, or one per processor.
    """
    return settings.workers or os.cpu_count() or 1


def cut(shape: tuple[int, ...], strips: int | None, settings: BasinSettings) -> tuple[tuple[int, int], ...]:
    """Cut the rows into strips of about equal height.

    Parameters
    ----------
    shape : (rows, cols)
    strips : int or None
        How many; None takes it from the settings.
    settings : BasinSettings

    Returns
    -------
    tuple of (first row, row after the last)
    """
    rows, cols = shape
    count = strips if strips is not None else -(-rows * cols // settings.strip_cells)
    count = max(1, min(count, rows))
    edges = [rows * k // count for k in range(count + 1)]
    return tuple(pairwise(edges))


def flat(array: NDArray[Any], strip: tuple[int, int]) -> NDArray[Any]:
    """The cells of a strip in one line.

    Parameters
    ----------
    array : ndarray (rows, cols), C order
    strip : (row, row)
        First row, row after the last.

    Returns
    -------
    ndarray (cells,)
        Not copied.
    """
    return array[strip[0] : strip[1]].reshape(-1)


def build(z: Floats, strips: tuple[tuple[int, int], ...], crew: Crew) -> Graph:
    """Label the raster and join its pits.

    Parameters
    ----------
    z : float32 or float64 (rows, cols), C order
        Ground [m]; NaN and -inf are outlets, +inf walls. NaN is turned into -inf in place.
    strips : tuple of (row, row)
        From `cut`.
    crew : Crew

    Returns
    -------
    Graph
    """
    _, cols = z.shape
    counts = crew.map(lambda s: labels.clean(z, *s), strips)
    label = large.empty(z.shape, np.int32)
    line = label.reshape(-1)
    pits = crew.map(lambda s: label_strip(z, flat(label, s), *s), strips)
    offsets = np.cumsum([0, *(p.size for p in pits)], dtype=np.int64)
    starts = np.array([s[0] for s in strips] + [z.shape[0]], dtype=np.int64)
    beside = labels.seams(line, cols, starts, offsets)
    crew.map(lambda k: labels.settle(flat(label, strips[k]), offsets[k], beside[k]), _upto(strips))
    n = int(offsets[-1])
    forest = empty_forest(n, z.dtype)
    left = crew.map(
        lambda k: join_strip(z, label, strips[k], (int(offsets[k]), int(offsets[k + 1])), forest), _upto(strips)
    )
    join_rest(left, forest)
    at = np.concatenate([np.array([-1], np.int64), *pits])
    nans, infs, outlets = (sum(c[k] for c in counts) for k in range(3))
    highest = max(c[3] for c in counts)
    _, parent, level, lower, code = forest
    return Graph(
        z, label, at, parent, level, lower, code, nans, infs, nans + infs + outlets > 0, highest, strips, offsets
    )


def empty_forest(n: int, dtype: np.dtype[Any]) -> tuple[Any, ...]:
    """Room for what the pits join: rep, parent, level, lower, code.

    Parameters
    ----------
    n : int
        Pits.
    dtype : dtype
        Of the heights.

    Returns
    -------
    tuple of array
        See `kernels.passes.join`; all but the first by label, from 0.
    """
    rep = large.empty(n, np.int32)
    rep[:] = np.arange(1, n + 1, dtype=np.int32)
    return (
        rep,
        large.full(n + 1, -1, np.int32),
        large.empty(n + 1, dtype),
        large.empty(n + 1, dtype),
        large.full(n + 1, -1, np.int64),
    )


def join_rest(left: list[tuple[Any, ...]], forest: tuple[Any, ...]) -> None:
    """Join what the strips could not, in place.

    Parameters
    ----------
    left : list of passes
        What each strip has left.
    forest : tuple of array
        From `empty_forest`.
    """
    rest = tuple(np.concatenate([part[k] for part in left]) for k in range(3))
    n = forest[0].size
    active = np.flatnonzero(forest[0] == np.arange(1, n + 1)).astype(np.int32)
    passes.join(rest, rest[2].size, 0, active, active.size, (forest[0], *(part[1:] for part in forest[1:])))


def _upto(strips: tuple[tuple[int, int], ...]) -> range:
    return range(len(strips))


def label_strip(z: Floats, lab: I32, r0: int, r1: int) -> I64:
    """Label one strip with its own numbers.

    Parameters
    ----------
    z : float32 or float64 (rows, cols)
        Ground [m], the strip and the rows beside it at least.
    lab : int32 (cells,)
        The strip's, written.
    r0, r1 : int
        Rows of the strip in `z`.

    Returns
    -------
    int64 (pits,)
        Flat indices in `z` of its pits.
    """
    cols = z.shape[1]
    code = np.empty((r1 - r0, cols), np.uint8)
    labels.receivers(z, r0, r1, code)
    pits: I64 = labels.number_pits(z, r0, code, lab)
    labels.follow(code, lab)
    return pits


def join_strip(
    z: Floats, label: I32, rows: tuple[int, int], own: tuple[int, int], forest: tuple[Any, ...], above: int = 0
) -> tuple[Any, ...]:
    """Collect the passes of one strip and join the basins it sees whole.

    Parameters
    ----------
    z : float32 or float64 (rows, cols)
        Ground [m], the strip and the rows beside it at least.
    label : int32, like z
    rows : (row, row)
        Rows of the strip in `z`.
    own : (int, int)
        Its labels are own[0] + 1 ... own[1].
    forest : tuple of array
        From `empty_forest`, written.
    above : int
        Rows of the raster above `z`.

    Returns
    -------
    tuple of array
        Passes that are left.
    """
    found, n = _collect(z, label, rows)
    found[2][:n] += 8 * above * z.shape[1]
    low, high = own
    frozen = np.zeros(high - low, np.uint8)
    passes.freeze(label, rows[0], rows[1], low, frozen)
    active = np.flatnonzero(frozen == 0).astype(np.int32)
    mine = (forest[0][low:high], *(part[low + 1 : high + 1] for part in forest[1:]))
    # before and after: many cells lie along the border of two basins, and joining lays new borders together
    n = passes.join(found, passes.thin(found, n), low, active, active.size, mine)
    n = passes.thin(found, n)
    return tuple(part[:n].copy() for part in found)


def _collect(z: Floats, label: I32, rows: tuple[int, int]) -> tuple[tuple[Any, ...], int]:
    """Passes of one strip in a list that grows as needed."""
    cols = z.shape[1]
    # 0.3 passes a cell on raw noise
    found = _empty_passes(8 * cols + (rows[1] - rows[0]) * cols // 3, z.dtype)
    row, n = rows[0], 0
    while True:
        row, n = passes.collect(z, label, row, rows[1], found, n)
        if row == rows[1]:
            return found, n
        found = _grown(found, n, 2 * found[2].size)


def _empty_passes(size: int, dtype: np.dtype[Any]) -> tuple[Any, ...]:
    return np.empty((size, 2), np.int32), np.empty((size, 2), dtype), np.empty(size, np.int64)


def _grown(found: tuple[Any, ...], n: int, size: int) -> tuple[Any, ...]:
    larger = _empty_passes(size, found[1].dtype)
    for old, new in zip(found, larger, strict=True):
        new[:n] = old[:n]
    return larger
