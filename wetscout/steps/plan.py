"""How the work is cut, and what of it is kept while it runs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any, TypeVar

from numpy.typing import NDArray

from wetscout.engine.each import each
from wetscout.engine.tiles import Tile, Tiling, map_tiles, tiles_of
from wetscout.io.work_folder import WorkFolder
from wetscout.linework.gather import CellWork
from wetscout.records import Linework
from wetscout.steps.cluster import Cluster
from wetscout.steps.pack import pack_cells, pack_lines, unpack_cells, unpack_lines

__all__ = ["Arrays", "Keep", "Plan", "TileFunction"]

T = TypeVar("T")
U = TypeVar("U")
Arrays = Mapping[str, NDArray[Any]]
TileFunction = Callable[[dict[str, NDArray[Any]], Tile], Arrays]


@dataclass
class Keep:
    """Finished parts of this run by the order in which they are asked for, which is always the same.

    Attributes
    ----------
    folder : WorkFolder
    """

    folder: WorkFolder
    _calls: dict[str, int] = field(default_factory=dict, init=False)

    def call(self, kind: str) -> str:
        """Name of the next piece of work of a kind.

        Parameters
        ----------
        kind : str
            Kinds are counted apart: once the lines are kept, nobody asks for their cells any more.

        Returns
        -------
        str
        """
        self._calls[kind] = self._calls.get(kind, 0) + 1
        return f"{kind}{self._calls[kind]}"

    def arrays(self, name: str, work: Callable[[], Arrays]) -> Arrays:
        """Arrays from the folder, or worked out and kept.

        Parameters
        ----------
        name : str
        work : callable

        Returns
        -------
        mapping of str to array
        """
        found = self.folder.get(name)
        if found is not None:
            return found
        made = work()
        self.folder.put(name, made)
        return made


@dataclass(frozen=True)
class Plan:
    """How the work is cut.

    Attributes
    ----------
    tile_cells : int
        Rows and columns of a tile.
    workers : int
        Threads.
    keep : Keep, optional
        Where finished tiles are kept; nowhere when not given.
    cluster : Cluster, optional
        Who works out tiles; threads of this program when not given.
    """

    tile_cells: int = 2048
    workers: int = 2
    keep: Keep | None = None
    cluster: Cluster | None = None

    def run(self, function: TileFunction, inputs: Arrays, outputs: Arrays, halo_cells: int) -> None:
        """Fill arrays tile by tile.

        Parameters
        ----------
        function : callable
            See `engine.tiles.map_tiles`.
        inputs, outputs : mapping of str to array
        halo_cells : int
            Reach of the function [cells].
        """
        keep, call = self.keep, "" if self.keep is None else self.keep.call("ground")

        def work(windows: dict[str, NDArray[Any]], tile: Tile) -> Arrays:
            if keep is None:
                made: Arrays = self._do(function, windows, tile)
                return made
            return keep.arrays(_name(call, tile), lambda: self._do(function, windows, tile))

        map_tiles(work, inputs, outputs, Tiling(self.tile_cells, halo_cells, self._threads))

    @property
    def _threads(self) -> int:
        """Threads that wait for tiles: one more than a cluster works on, so that it always has the next one."""
        return self.workers if self.cluster is None else self.cluster.threads + 1

    def _do(self, function: Callable[..., Any], *args: Any) -> Any:
        """Call a function here or in the cluster."""
        return function(*args) if self.cluster is None else self.cluster.call(function, *args)

    def each(self, work: Callable[[T], U], things: Iterable[T]) -> list[U]:
        """Call a function on each of many things.

        Parameters
        ----------
        work : callable
            Must not touch what another call of it writes.
        things : iterable

        Returns
        -------
        list
            Answers in the order of the things.
        """
        return each(work, things, self.workers)

    def windows(self, shape: tuple[int, int], work: CellWork, halo_cells: int) -> list[Any]:
        """Ask a function for the kept cells of windows that cover an array once; it reads its own halo.

        Parameters
        ----------
        shape : (int, int)
            Rows and columns of the array.
        work : CellWork
            Tests the cells of (row0, row1, col0, col1), half open.
        halo_cells : int
            Unused: the function cuts its own halo.

        Returns
        -------
        list
            Answers in tile order.
        """
        keep, call = self.keep, "" if self.keep is None else self.keep.call("cells")

        def tested(window: tuple[int, int, int, int]) -> Any:
            return self._do(work.far, *work.cut(window))

        def answer(tile: Tile) -> Any:
            window = (tile.row0, tile.row1, tile.col0, tile.col1)
            if keep is None:
                return tested(window)
            return unpack_cells(keep.arrays(_name(call, tile), lambda: pack_cells(tested(window))))

        with ThreadPoolExecutor(self._threads) as pool:
            return list(pool.map(answer, tiles_of(shape, self.tile_cells)))

    def lines(self, work: Callable[[], Linework]) -> Linework:
        """Lines of the whole, kept once they are found.

        Parameters
        ----------
        work : callable
            Finds them.

        Returns
        -------
        Linework
        """
        if self.keep is None:
            return work()
        return unpack_lines(self.keep.arrays("lines", lambda: pack_lines(work())))


def _name(call: str, tile: Tile) -> str:
    """A name by place, so that tiles of another size are never taken for these."""
    return f"{call}-{tile.row0}-{tile.row1}-{tile.col0}-{tile.col1}"
