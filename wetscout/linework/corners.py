"""Lines taken apart at sharp corners."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from wetscout.kernels import whole_line
from wetscout.linework.trace import Line
from wetscout.settings.linework import LineworkSettings

# a corner is told by the directions over this length before and after it [m]
ARM_M = 10.0


def legs(line: Line, cell_m: float, settings: LineworkSettings) -> list[Line]:
    """The pieces of a line between its sharp corners.

    Where a ditch begins in a hollow, its line often runs on through the hollow at an angle: all that spoke for the
    ditch was then lost in one crooked and broken line.

    Parameters
    ----------
    line : Line
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    list of Line
        In order; two that meet share the station at the corner. None where the line has no corner.
    """
    at = corners(line.xy, cell_m, settings)
    ends = [0, *at, line.row.size - 1] if at else []
    return [replace(line, row=line.row[a : b + 1], col=line.col[a : b + 1]) for a, b in pairwise(ends)]


def corners(points: NDArray[np.float64], cell_m: float, settings: LineworkSettings) -> list[int]:
    """Where a line turns sharply.

    Parameters
    ----------
    points : float64 (n, 2)
        Stations about one cell apart [cells].
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    list of int
        Stations, in order, at least the shortest unsure line apart from each other and from the ends.
    """
    arm, apart = max(2, round(ARM_M / cell_m)), max(3, round(settings.weak_length_m / cell_m))
    cosine = float(np.cos(np.radians(settings.corner_deg)))
    found: list[int] = whole_line.corners(np.ascontiguousarray(points), arm, max(arm, apart), cosine).tolist()
    return found
