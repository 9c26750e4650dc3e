"""Straight steps along rows or columns: seams of surveys or tiles that do not fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wetscout.records import F32, F64

__all__ = ["Seam", "find_seams"]

_RUN_CELLS = 500
_LEAST_CELLS = 100
_EVERY = 4
_BAND_ROWS = 1024


@dataclass(frozen=True)
class Seam:
    """A step along a line between two rows or two columns.

    Attributes
    ----------
    along : {"row", "column"}
    index : int
        The step lies between this row or column and the next one.
    begin, end : int
        Cells along it, half open.
    step_m : float
        Median height difference beyond what the ground on both sides explains [m].
    """

    along: str
    index: int
    begin: int
    end: int
    step_m: float


def find_seams(z: F32, least_m: float) -> list[Seam]:
    """Look for steps that follow a row or column exactly for 500 cells.

    Banks and roads seldom do: one that deviates by half a degree leaves its row after 100 cells. The step must also end
    within a cell on both sides, as no bank does.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m], NaN where unknown.
    least_m : float
        Smallest step told [m].

    Returns
    -------
    list of Seam
        Runs that touch are joined; the longest first.
    """
    found = _along_rows(z, least_m, "row") + _along_rows(z.T, least_m, "column")
    return sorted(found, key=lambda seam: (seam.begin - seam.end, seam.along, seam.index))


def _along_rows(z: F32, least_m: float, name: str) -> list[Seam]:
    rows, cols = z.shape
    run = min(_RUN_CELLS, cols)
    if rows < 6 or run < _LEAST_CELLS:
        return []
    seams: list[Seam] = []
    for begin in range(0, cols - run + 1, run):
        part = np.ascontiguousarray(z[:, begin : begin + run : _EVERY])
        for top in range(0, rows - 5, _BAND_ROWS):
            band = part[top : top + _BAND_ROWS + 5]
            for row, step_m in _steps(band, least_m):
                _add(seams, Seam(name, top + row, begin, begin + run, step_m))
    return seams


def _steps(band: F32, least_m: float) -> list[tuple[int, float]]:
    """Rows of a band after which the ground jumps along its whole width."""
    fall = np.diff(band, axis=0)
    bend = _middle(fall[1:-1] - 0.5 * (fall[:-2] + fall[2:]))
    here, before, after = bend[1:-1], bend[:-2], bend[2:]
    with np.errstate(invalid="ignore"):
        # a pure step of s bends by s at its place and by -s/2 in the rows beside it
        pure = (np.abs(here) >= least_m) & (np.abs(before + 0.5 * here) <= 0.15 * np.abs(here))
        pure &= np.abs(after + 0.5 * here) <= 0.15 * np.abs(here)
    return [(int(row) + 2, float(here[row])) for row in np.flatnonzero(pure)]


def _middle(values: F32) -> F64:
    """Median of each row; NaN where less than half of it is known."""
    known = np.isfinite(values)
    if known.all():
        return np.median(values, axis=1).astype(np.float64)
    out = np.full(values.shape[0], np.nan)
    enough = np.count_nonzero(known, axis=1) * 2 >= values.shape[1]
    if enough.any():
        out[enough] = np.nanmedian(values[enough], axis=1)
    return out


def _add(seams: list[Seam], new: Seam) -> None:
    """Join a run to one that ends where it begins."""
    for place, seam in enumerate(seams):
        if (seam.index, seam.end) == (new.index, new.begin):
            seams[place] = Seam(seam.along, seam.index, seam.begin, new.end, seam.step_m)
            return
    seams.append(new)
