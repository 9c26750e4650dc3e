"""What a run will take: memory, disk and time, from the way it will really go."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from wetscout import large
from wetscout.grid import Grid
from wetscout.io import environment

__all__ = ["Cost", "cost_warnings", "estimate_cost", "reading_bytes", "room_for_check", "say_bytes", "say_cost"]


@dataclass(frozen=True)
class Cost:
    """What a run is likely to take.

    Attributes
    ----------
    cells : int
    memory_bytes, disk_bytes : int
        Peak memory; result and its temporary copy.
    seconds : float
    free_memory_bytes, free_disk_bytes : int or None
        What there is; None where it cannot be told.
    """

    cells: int
    memory_bytes: int
    disk_bytes: int
    seconds: float
    free_memory_bytes: int | None
    free_disk_bytes: int | None

    @property
    def fits(self) -> bool:
        """Whether memory and disk suffice, as far as known."""
        memory = self.free_memory_bytes is None or self.memory_bytes <= self.free_memory_bytes
        return memory and (self.free_disk_bytes is None or self.disk_bytes <= self.free_disk_bytes)


# Measured on invented ground (1, 4, 16 M cells of 1 m) and on the Dutch set (1.6 M cells of 2 m, dense ditches), two
# cores, November 2026; 1.9 and 5 s of one processor a km2, a third of it on one thread. Time goes with the ditches more
# than with the cells; it is told for ground between the two, half to twice.
_PROGRAM_BYTES = 450_000_000
_READ_BYTES_PER_CELL = 16
_SCREEN_BYTES_PER_CELL = 75
_SECONDS_PER_CELL = 1.0e-6
_SECONDS_PER_M2 = 2.5e-6
_SHARE_ON_ONE = 0.35
# from this many cells on heights lie on disk, and from four times as many masks too; see `large`
_NEAR_CELLS = large.SMALL_BYTES // 4
# then memory holds pages of them, two tiles and strips under way, masks, and what is known of lines and sites
_WORK_BYTES = 400_000_000
_MASK_BYTES_PER_CELL = 8
_LINE_BYTES_PER_CELL = 3
# the result, the temporary file it is written as, and the tiles kept; rasters that lie on disk while the run goes
_RESULT_BYTES_PER_CELL = 30 + 17
_RASTER_BYTES_PER_CELL = 60


def _memory(cells: int, per_cell: int) -> int:
    """Peak of a way that takes so many bytes a cell while everything is in memory."""
    if cells < _NEAR_CELLS:
        return _PROGRAM_BYTES + per_cell * cells
    masks = _MASK_BYTES_PER_CELL * cells if cells < 4 * _NEAR_CELLS else 0
    return _PROGRAM_BYTES + large.KEPT_BYTES + _WORK_BYTES + masks + _LINE_BYTES_PER_CELL * cells


def reading_bytes(cells: int) -> int:
    """Memory that reading and judging a DEM takes.

    Parameters
    ----------
    cells : int

    Returns
    -------
    int
        [bytes]
    """
    return _memory(cells, _READ_BYTES_PER_CELL)


def room_for_check() -> Path:
    """Folder for the nameless files of a check, which knows of no result.

    Returns
    -------
    Path
        The current folder, or that of temporary files where nothing can be written.
    """
    here = Path.cwd()
    return here if os.access(here, os.W_OK) else Path(tempfile.gettempdir())


def estimate_cost(grid: Grid, workers: int = 1, folder: Path | None = None) -> Cost:
    """Estimate memory, disk and time of a screen.

    Parameters
    ----------
    grid : Grid
        All cells that will be read.
    workers : int
        Threads.
    folder : Path, optional
        Where the result will be written; the current folder when not given.

    Returns
    -------
    Cost
    """
    cells = grid.rows * grid.cols
    threads = max(1, min(workers, os.cpu_count() or 1))
    alone = (_SECONDS_PER_CELL + _SECONDS_PER_M2 * grid.cell_m2) * cells
    rasters = 0 if cells < _NEAR_CELLS else _RASTER_BYTES_PER_CELL * cells
    return Cost(
        cells,
        _memory(cells, _SCREEN_BYTES_PER_CELL),
        5_000_000 + _RESULT_BYTES_PER_CELL * cells + rasters,
        4.0 + alone * (_SHARE_ON_ONE + (1.0 - _SHARE_ON_ONE) / threads),
        environment.free_memory(),
        environment.free_disk(folder or Path.cwd()),
    )


def say_bytes(size: int) -> str:
    """A size in words.

    Parameters
    ----------
    size : int
        [bytes]

    Returns
    -------
    str
    """
    return f"{size / 1e9:.2g} GB" if size >= 1e9 else f"{max(1, round(size / 1e6))} MB"


def say_cost(cost: Cost, workers: int) -> str:
    """What a run will take, in words.

    Parameters
    ----------
    cost : Cost
    workers : int
        Threads.

    Returns
    -------
    str
    """
    minutes = cost.seconds / 60.0
    time = f"{cost.seconds:.0f} s" if minutes < 2 else f"{minutes:.0f} min"
    free = "" if cost.free_memory_bytes is None else f" (free: {say_bytes(cost.free_memory_bytes)})"
    disk = "" if cost.free_disk_bytes is None else f" (free here: {say_bytes(cost.free_disk_bytes)})"
    return (
        f"about {time} with {workers} thread(s), {say_bytes(cost.memory_bytes)} of memory{free}, "
        f"{say_bytes(cost.disk_bytes)} on disk{disk}"
    )


def cost_warnings(cost: Cost) -> list[str]:
    """What will not suffice.

    Parameters
    ----------
    cost : Cost

    Returns
    -------
    list of str
    """
    told = []
    if cost.free_memory_bytes is not None and cost.memory_bytes > cost.free_memory_bytes:
        told.append(
            f"the run may need {say_bytes(cost.memory_bytes)} of memory, {say_bytes(cost.free_memory_bytes)} are free: "
            "screen in parts with --area, or close other programs"
        )
    if cost.free_disk_bytes is not None and cost.disk_bytes > cost.free_disk_bytes:
        told.append(
            f"the run and its result may need {say_bytes(cost.disk_bytes)} on disk, {say_bytes(cost.free_disk_bytes)} "
            "are free in this folder"
        )
    return told
