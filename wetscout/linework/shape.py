"""Form of a line: even stations, direction, the lowest ground beside it, following it on from its ends."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wetscout.kernels import along
from wetscout.kernels import lines as kernel
from wetscout.kernels.lines_follow import claim, follow, move
from wetscout.linework.join import ends_of
from wetscout.linework.trace import Line, line_of
from wetscout.settings.linework import LineworkSettings

# a traced line is smoothed over this length before it is moved to the lowest ground
SMOOTH_M = 6.0
# ground is averaged over this length along the line before the lowest way is sought
BED_RUN_M = 7.0
# costs of the lowest way [m]: per step of half a cell sideways, and per step away from the middle
TURN_COST_M = 0.01
SIDE_COST_M = 0.001
# following on: step, half strip, fan of turns
STEP_M = 4.0
HALF_STRIP_M = 7.0
FAN_DEG = (-30.0, -22.5, -15.0, -7.5, 0.0, 7.5, 15.0, 22.5, 30.0)


def resample(points: NDArray[np.float64], step: float = 1.0) -> NDArray[np.float64]:
    """Points at even distances along a line, both ends kept.

    Parameters
    ----------
    points : float64 (n, 2)
        [cells].
    step : float
        Wanted distance [cells].

    Returns
    -------
    float64 (m, 2)
        At least two points.
    """
    even: NDArray[np.float64] = along.resample(np.ascontiguousarray(points, dtype=np.float64), float(step))
    return even


def smooth(values: NDArray[np.float64], half: int) -> NDArray[np.float64]:
    """Running mean over up to `half` places on both sides, shorter towards the ends, which stay.

    Parameters
    ----------
    values : float64 (n,)
        Any unit.
    half : int
        Places on each side.

    Returns
    -------
    float64 (n,)
        In the same unit.
    """
    v = np.ascontiguousarray(values, dtype=np.float64)
    mean: NDArray[np.float64] = along.smooth(v.reshape(v.shape[0], -1), half)
    return mean.reshape(v.shape)


def tangents(points: NDArray[np.float64], half: int) -> NDArray[np.float64]:
    """Unit vectors along a line, from differences over `half` stations on both sides.

    Parameters
    ----------
    points : float64 (n, 2)
    half : int

    Returns
    -------
    float64 (n, 2)
    """
    unit: NDArray[np.float64] = along.tangents(np.ascontiguousarray(points, dtype=np.float64), half)
    return unit


def sections_of(
    z: NDArray[np.float32], points: NDArray[np.float64], offsets: NDArray[np.float64], half: int
) -> NDArray[np.float64]:
    """Ground across each point of a line.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    points : float64 (n, 2)
        [cells].
    offsets : float64 (m,)
        Across [cells].
    half : int
        Stations on both sides from which direction is taken.

    Returns
    -------
    float64 (n, m)
        [m].
    """
    t = tangents(points, half)
    ground: NDArray[np.float64] = kernel.sections(
        z,
        np.ascontiguousarray(points[:, 0]),
        np.ascontiguousarray(points[:, 1]),
        np.ascontiguousarray(-t[:, 1]),
        np.ascontiguousarray(t[:, 0]),
        offsets,
    )
    return ground


def recentre(s: NDArray[np.float32], line: Line, cell_m: float, reach_m: float) -> Line:
    """Move a line to the lowest ground within reach, without jumps.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m] (negated for crests).
    line : Line
    cell_m, reach_m : float
        [m].

    Returns
    -------
    Line
        Stations about one cell apart.
    """
    half = max(1, round(0.5 * SMOOTH_M / cell_m))
    n = max(2, int(np.ceil(reach_m / (0.5 * cell_m))))
    offsets = 0.5 * np.arange(-n, n + 1, dtype=np.float64)
    run = max(1, round(0.5 * BED_RUN_M / cell_m))
    return line_of(along.recentre(s, line.xy, half, offsets, run, TURN_COST_M, SIDE_COST_M), line.sure)


class Owner:
    """Which line lies on a cell or straight beside it; the first that claims a cell keeps it.

    Parameters
    ----------
    cols : int
        Columns of the raster, to number cells.
    """

    def __init__(self, cols: int) -> None:
        self.cols = cols
        self.table = _table(1 << 10)
        self.used = 0

    def claim(self, points: NDArray[np.float64], number: int) -> None:
        """Enter a line.

        Parameters
        ----------
        points : float64 (n, 2)
            [cells].
        number : int
            Of the line, 0 or more.
        """
        near = resample(points, 0.7)
        size = self.table[0].size
        while 2 * (self.used + 5 * near.shape[0]) > size:
            size *= 2
        if size > self.table[0].size:
            larger = _table(size)
            move(self.table, larger)
            self.table = larger
        self.used += int(claim(self.table, near, number, self.cols))


def _table(size: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    return np.full(size, -1, dtype=np.int64), np.zeros(size, dtype=np.int64)


def extend(
    s: NDArray[np.float32],
    lines: list[Line],
    cell_m: float,
    wanted_m: float,
    settings: LineworkSettings,
    apart: bool = False,
) -> list[Line]:
    """Follow every line on from both ends while a cut is still seen, stopping where another line is met.

    Parameters
    ----------
    s : float32 (rows, cols)
        Smoothed ground [m].
    lines : list of Line
        Longest first gets its way first.
    cell_m : float
        Cell size [m].
    wanted_m : float
        Mean depth over six steps [m] at which to stop.
    settings : LineworkSettings
    apart : bool
        Give what is added to a sure line as an unsure line of its own.

    Returns
    -------
    list of Line
        In the order given, then those added apart.
    """
    cols = s.shape[1]
    owner = Owner(cols)
    for i, line in enumerate(lines):
        owner.claim(line.xy, i)
    ends = ends_of(lines, cell_m)
    step = max(STEP_M, 1.5 * cell_m)
    near = max(settings.band_from_m + 1.0, 1.5 * cell_m)
    far = max(settings.band_to_m - 1.0, near + cell_m)
    sizes = (step / cell_m, near / cell_m, far / cell_m, max(HALF_STRIP_M, 2 * cell_m) / cell_m)
    fan = np.radians(np.array(FAN_DEG))
    steps = max(1, int(settings.extend_reach_m / step))
    order = sorted(range(len(lines)), key=lambda i: (-lines[i].length(cell_m), i))
    out = list(lines)
    ends_only = []
    for i in order:
        for side in (0, 1):
            e = 2 * i + side
            at, way = ends.at[e], ends.out[e]
            new, _met = follow(s, at[0], at[1], way[0], way[1], i, owner.table, cols, sizes, fan, wanted_m, steps)
            if new.shape[0] == 0:
                continue
            tail = np.concatenate((at[None], new))
            owner.claim(tail, i)
            if apart and lines[i].sure:
                ends_only.append(line_of(tail, False))
                continue
            p = out[i].xy
            out[i] = line_of(np.concatenate((new[::-1], p) if side == 0 else (p, new)), lines[i].sure)
    return out + ends_only
