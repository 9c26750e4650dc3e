"""Work on large arrays tile by tile, in threads, with the same answer for any tile size.

The function is called with a window that reaches `halo_cells` beyond the part it answers for (less at the array's
edge: windows are clipped, never padded). If its answer for a cell depends on nothing farther than that, tiled and
whole answers are equal to the bit.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from wetscout.engine.progress import Progress, Silent

__all__ = ["Tile", "Tiling", "Windows", "each_tile", "map_tiles", "tiles_of"]

Windows = dict[str, NDArray[Any]]
Answer = TypeVar("Answer")


@dataclass(frozen=True)
class Tiling:
    """How to cut the work.

    Attributes
    ----------
    tile_cells : int
        Rows and columns a tile answers for.
    halo_cells : int
        Cells it may look beyond that on each side.
    workers : int
        Threads; 1 works in the calling thread.
    executor : concurrent.futures.Executor, optional
        Used instead of own threads; must share memory with the caller, since outputs are written in place.
    """

    tile_cells: int = 1024
    halo_cells: int = 0
    workers: int = 1
    executor: Executor | None = None

    def __post_init__(self) -> None:
        """Refuse sizes that make no tile."""
        if self.tile_cells < 1 or self.halo_cells < 0 or self.workers < 1:
            raise ValueError(
                f"tile of {self.tile_cells}, halo {self.halo_cells}, {self.workers} workers: wanted >= 1, 0, 1"
            )


@dataclass(frozen=True)
class Tile:
    """A part of an array that one call answers for, and the window around it that the call sees.

    Attributes
    ----------
    row0, row1, col0, col1 : int
        Owned part, half open [cells].
    top, bottom, left, right : int
        Window with its halo, clipped to the array, half open [cells].
    """

    row0: int
    row1: int
    col0: int
    col1: int
    top: int
    bottom: int
    left: int
    right: int

    @property
    def owned(self) -> tuple[slice, slice]:
        """Owned part as slices of the whole array."""
        return slice(self.row0, self.row1), slice(self.col0, self.col1)

    @property
    def window(self) -> tuple[slice, slice]:
        """Window as slices of the whole array."""
        return slice(self.top, self.bottom), slice(self.left, self.right)

    @property
    def inner(self) -> tuple[slice, slice]:
        """Owned part as slices of the window."""
        return (
            slice(self.row0 - self.top, self.row1 - self.top),
            slice(self.col0 - self.left, self.col1 - self.left),
        )

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the owned part."""
        return self.row1 - self.row0, self.col1 - self.col0


def tiles_of(shape: tuple[int, int], tile_cells: int, halo_cells: int = 0) -> Iterator[Tile]:
    """Cut an array into tiles, row by row, anchored at cell (0, 0).

    Parameters
    ----------
    shape : (int, int)
        Rows and columns of the array.
    tile_cells, halo_cells : int
        Size of the owned part and reach beyond it [cells].

    Yields
    ------
    Tile
        Each cell is owned by exactly one.
    """
    rows, cols = shape
    for row0 in range(0, rows, tile_cells):
        row1 = min(rows, row0 + tile_cells)
        for col0 in range(0, cols, tile_cells):
            col1 = min(cols, col0 + tile_cells)
            yield Tile(
                row0,
                row1,
                col0,
                col1,
                max(0, row0 - halo_cells),
                min(rows, row1 + halo_cells),
                max(0, col0 - halo_cells),
                min(cols, col1 + halo_cells),
            )


def map_tiles(
    function: Callable[[Windows, Tile], Mapping[str, NDArray[Any]]],
    inputs: Mapping[str, NDArray[Any]],
    outputs: Mapping[str, NDArray[Any]],
    tiling: Tiling,
    progress: Progress | None = None,
) -> None:
    """Fill output arrays tile by tile.

    Parameters
    ----------
    function : callable
        Gets the windows of all inputs by name (its own C-order copies) and the `Tile`; returns the owned part of every
        output by name (cut it out with `tile.inner`). It is called from several threads at once.
    inputs : mapping of str to array (rows, cols, ...)
        All of the same first two dimensions.
    outputs : mapping of str to array (rows, cols, ...)
        Written in place; none may share memory with an input.
    tiling : Tiling
        Tile, halo, threads.
    progress : Progress, optional
        Told the share of tiles done.

    Raises
    ------
    ValueError
        Shapes differ, or an answer has another shape or type than its output.
    """
    _one_shape({**inputs, **outputs})
    for name, array in outputs.items():
        for other, given in inputs.items():
            if np.may_share_memory(array, given):
                raise ValueError(f"output {name!r} and input {other!r} share memory")

    def fill(windows: Windows, tile: Tile) -> None:
        answers = function(windows, tile)
        if set(answers) != set(outputs):
            raise ValueError(f"answers {sorted(answers)}, wanted {sorted(outputs)}")
        for name, answer in answers.items():
            target = outputs[name][tile.owned]
            if answer.shape != target.shape or answer.dtype != target.dtype:
                raise ValueError(
                    f"answer {name!r} is {answer.shape} {answer.dtype}, wanted {target.shape} {target.dtype}"
                )
            target[...] = answer

    for _done in _run(fill, inputs, tiling, progress):
        pass


def each_tile(
    function: Callable[[Windows, Tile], Answer],
    inputs: Mapping[str, NDArray[Any]],
    tiling: Tiling,
    progress: Progress | None = None,
) -> Iterator[tuple[Tile, Answer]]:
    """Ask a function about every tile and hand its answers on in tile order: histograms, lists of parts.

    Parameters
    ----------
    function : callable
        Gets the windows of all inputs by name and the `Tile`; returns anything.
    inputs : mapping of str to array (rows, cols, ...)
        All of the same first two dimensions.
    tiling : Tiling
        Tile, halo, threads.
    progress : Progress, optional
        Told the share of tiles done.

    Yields
    ------
    tile, answer
        In row-major order of the tiles whatever the number of threads.

    Raises
    ------
    ValueError
        Shapes differ.
    """
    _one_shape(inputs)
    yield from _run(function, inputs, tiling, progress)


def _one_shape(arrays: Mapping[str, NDArray[Any]]) -> None:
    shapes = {array.shape[:2] for array in arrays.values()}
    if len(shapes) != 1:
        listed = ", ".join(f"{name} {array.shape}" for name, array in arrays.items())
        raise ValueError(f"arrays of one shape wanted, got: {listed or 'none'}")


def _run(
    function: Callable[[Windows, Tile], Answer],
    inputs: Mapping[str, NDArray[Any]],
    tiling: Tiling,
    progress: Progress | None,
) -> Iterator[tuple[Tile, Answer]]:
    """Call the function for each tile; at most two tiles a worker are under way, which bounds memory."""
    shape = next(iter(inputs.values())).shape
    tiles = list(tiles_of((shape[0], shape[1]), tiling.tile_cells, tiling.halo_cells))
    told = progress or Silent()

    def call(tile: Tile) -> Answer:
        # copies: C order and writable, as kernels are compiled for, and no function can spoil an input
        windows = {name: np.array(array[tile.window], order="C") for name, array in inputs.items()}
        try:
            return function(windows, tile)
        except Exception as error:
            error.add_note(f"in rows {tile.row0}-{tile.row1}, columns {tile.col0}-{tile.col1}")
            raise

    if tiling.workers == 1 and tiling.executor is None:
        for done, tile in enumerate(tiles, start=1):
            answer = call(tile)
            told.update(done / len(tiles))
            yield tile, answer
        return
    with _threads(tiling) as executor:
        waiting: deque[tuple[Tile, Future[Answer]]] = deque()
        todo = iter(tiles)
        done = 0
        try:
            while True:
                while len(waiting) < 2 * tiling.workers and (tile_next := next(todo, None)) is not None:
                    waiting.append((tile_next, executor.submit(call, tile_next)))
                if not waiting:
                    return
                tile, future = waiting.popleft()
                answer = future.result()
                done += 1
                told.update(done / len(tiles))
                yield tile, answer
        finally:
            # an error or Ctrl-C: what has not begun shall not begin
            for _tile, future in waiting:
                future.cancel()


@contextmanager
def _threads(tiling: Tiling) -> Iterator[Executor]:
    if tiling.executor is not None:
        yield tiling.executor
        return
    with ThreadPoolExecutor(tiling.workers, thread_name_prefix="wetscout") as executor:
        yield executor
