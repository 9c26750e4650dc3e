"""The ground as water meets it today: road fill opened where a ditch or stream passes beneath."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.open_bed import bed_of, open_humps
from wetscout.kernels.sections import lower_line
from wetscout.records import F32, F64, Crossing, Ditch
from wetscout.settings.surfaces import SurfaceSettings


def _lower(today: F32, row: F64, col: F64, level: F64) -> None:
    """Lower the cells along a line, densified so that no 8-connected gap is left."""
    lower_line(today, *(np.ascontiguousarray(v, dtype=np.float64) for v in (row, col, level)))


def carve(
    today: F32,
    z: F32,
    lines: tuple[tuple[Ditch, ...], tuple[Crossing, ...]],
    on_fill: np.ndarray,
    cell_m: float,
    s: SurfaceSettings,
) -> None:
    """Open every ditch bed through humps of road fill, faint ones through low bumps, and every crossing, in place.

    Parameters
    ----------
    today : float32 (rows, cols)
        Lowered in place [m].
    z : float32 (rows, cols)
        The DEM [m].
    lines : (ditches, crossings)
    on_fill : bool (rows, cols)
        Cells near road fill: a hump at a line's end is taken off there as well.
    cell_m : float
        Cell size [m].
    s : SurfaceSettings
    """
    ditches, crossings = lines
    step = min(1.0, 1.0 / cell_m)
    half = max(1, round(s.bed_across_m / (cell_m * step)))
    sizes = max(2, round(6.0 / cell_m)), half, max(3, round(s.hump_m / cell_m) | 1), step
    # of 5 m cells nobody can judge what eleven sites more on the Dutch region would be
    longest, highest = max(3, round(s.bump_m / cell_m) | 1), s.bump_high_m if cell_m <= s.bump_cell_m else 0.0
    for ditch in ditches:
        if ditch.row.size >= 3:
            bump = longest, highest if ditch.kind == "ditch" else 0.0
            open_line(today, z, on_fill, (ditch.row, ditch.col, ditch.sure), sizes, bump)
    for crossing in crossings:
        _lower_straight(today, crossing)


def open_line(
    today: F32,
    z: F32,
    on_fill: np.ndarray,
    line: tuple[F64, F64, bool],
    sizes: tuple[int, int, int, float],
    bump: tuple[int, float],
) -> None:
    """Open the bed of one ditch, along its line and along the lowest ground beside it.

    Parameters
    ----------
    today, z, on_fill
        As of `carve`; of an unsure line only what stands near road fill is opened, and low bumps.
    line : (float64 (n,), float64 (n,), bool)
        Rows and columns of its stations [cells]; whether it is sure.
    sizes : (int, int, int, float)
        Stations that give the direction, samples on each side, stations of the longest hump, and the distance of
        samples [cells].
    bump : (int, float)
        Longest and highest bump that is opened in an unsure line [stations, m]: silt, stubble or noise.
    """
    row, col, sure = line
    reach, half, window, step = sizes
    bed, low_row, low_col, fill, known = bed_of(z, on_fill, row, col, reach, half, step)
    if not known:
        return
    opened = open_humps(bed, window, bool(fill[0]), bool(fill[-1]))
    if not sure:
        # a faint line may lead over ground that nobody dug, which stands higher than what fell into a ditch
        longest, highest = bump
        low = open_humps(bed, longest, False, False)
        opened = np.where(fill, opened, np.where(bed - low <= highest, low, bed))
    lower_line(today, row, col, opened)
    lower_line(today, low_row, low_col, opened)


def _lower_straight(today: F32, crossing: Crossing) -> None:
    n = max(2, int(np.ceil(np.hypot(np.diff(crossing.row)[0], np.diff(crossing.col)[0]))) + 1)
    t = np.linspace(0.0, 1.0, n)
    row = crossing.row[0] + t * (crossing.row[1] - crossing.row[0])
    col = crossing.col[0] + t * (crossing.col[1] - crossing.col[0])
    level = np.full(n, crossing.level_m.max())
    _lower(today, row, col, level)
