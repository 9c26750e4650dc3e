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
    seconds : (float, float)
        From open ground to ground full of ditches and faint lines.
    free_memory_bytes, free_disk_bytes : int or None
        What there is; None where it cannot be told.
    """

    cells: int
    memory_bytes: int
    disk_bytes: int
    seconds: tuple[float, float]
    free_memory_bytes: int | None
    free_disk_bytes: int | None

    @property
    def fits(self) -> bool:
        """Whether memory and disk suffice, as far as known."""
        memory = self.free_memory_bytes is None or self.memory_bytes <= self.free_memory_bytes
        return memory and (self.free_disk_bytes is None or self.disk_bytes <= self.free_disk_bytes)


# Measured on two cores, November 2026. Memory: invented ground (1, 4, 16 M cells of 1 m) and the Dutch set (1.6 M cells
# of 2 m). Time goes with the ditches and faint lines, not with the cells: open ground takes 2-5 microseconds a cell;
# woods, yards and dense ditches 20 at 2 m (the Dutch set) and 40 at 5 m (10 M cells around it), since a coarse cell
# holds more of them. Both are told. Most of the work on busy ground is on one thread.
_PROGRAM_BYTES = 450_000_000
_READ_BYTES_PER_CELL = 16
_SCREEN_BYTES_PER_CELL = 75
_START_SECONDS = 5.0
_OPEN_SECONDS_PER_CELL = 1.8e-6
_BUSY_SECONDS_PER_CELL = 6.0e-6
_BUSY_SECONDS_PER_CELL_AND_M = 9.0e-6
_OPEN_SHARE_ON_ONE, _BUSY_SHARE_ON_ONE = 0.35, 0.75
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
    busy = _BUSY_SECONDS_PER_CELL + _BUSY_SECONDS_PER_CELL_AND_M * grid.cell_m
    kinds = ((_OPEN_SECONDS_PER_CELL, _OPEN_SHARE_ON_ONE), (busy, _BUSY_SHARE_ON_ONE))
    least, most = (_START_SECONDS + each * cells * (one + (1.0 - one) / threads) for each, one in kinds)
    rasters = 0 if cells < _NEAR_CELLS else _RASTER_BYTES_PER_CELL * cells
    return Cost(
        cells,
        _memory(cells, _SCREEN_BYTES_PER_CELL),
        5_000_000 + _RESULT_BYTES_PER_CELL * cells + rasters,
        (least, most),
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
    least, most = (_say_seconds(seconds) for seconds in cost.seconds)
    free = "" if cost.free_memory_bytes is None else f" (free: {say_bytes(cost.free_memory_bytes)})"
    disk = "" if cost.free_disk_bytes is None else f" (free here: {say_bytes(cost.free_disk_bytes)})"
    return (
        f"{least} on open ground, up to {most} where it is full of ditches, with {workers} thread(s); "
        f"{say_bytes(cost.memory_bytes)} of memory{free}, {say_bytes(cost.disk_bytes)} on disk{disk}"
    )


def _say_seconds(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120.0 else f"{seconds / 60.0:.0f} min"


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
