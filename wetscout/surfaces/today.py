"""The ground as water meets it today: road fill opened where a ditch or stream passes beneath."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from wetscout.kernels.sections import lower_line, sections
from wetscout.records import F32, F64, Crossing, Ditch
from wetscout.settings.surfaces import SurfaceSettings
from wetscout.surfaces.corridors import across


def open_humps(bed: F64, window: int, open_ends: tuple[bool, bool]) -> F64:
    """Take humps shorter than a window off a bed profile (1-D grey opening).

    Parameters
    ----------
    bed : float64 (n,)
        Bed along the line [m].
    window : int
        Stations.
    open_ends : (bool, bool)
        Whether a hump that reaches the first / last station is taken off as well.

    Returns
    -------
    float64 (n,)
        Nowhere above `bed`.
    """
    n = bed.shape[0]
    pad = window
    first = np.full(pad, -1e9 if open_ends[0] else 1e9)
    last = np.full(pad, -1e9 if open_ends[1] else 1e9)
    padded = np.concatenate([first, bed, last])
    low = ndimage.minimum_filter1d(padded, window, mode="nearest")
    low[(low > 1e8) | (low < -1e8)] = -1e9
    opened = ndimage.maximum_filter1d(low, window, mode="nearest")[pad : pad + n]
    opened = np.where(opened < -1e8, bed, opened)
    return np.minimum(bed, opened)


def _bed_cells(z: F32, ditch: Ditch, cell_m: float, s: SurfaceSettings) -> tuple[F64, F64, F64]:
    """Lowest ground beside each station, and where it lies."""
    a_row, a_col = across(ditch.row, ditch.col, max(2, round(6.0 / cell_m)))
    step = min(1.0, 1.0 / cell_m)
    half = max(1, round(s.bed_across_m / (cell_m * step)))
    section = sections(z, ditch.row, ditch.col, a_row, a_col, half, step)
    section[np.isnan(section)] = np.inf
    at = np.argmin(section, axis=1)
    bed = section[np.arange(section.shape[0]), at]
    offset = (at - half) * step
    return bed, ditch.row + a_row * offset, ditch.col + a_col * offset


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
    """Open every ditch bed through humps of road fill, and every crossing, in place.

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
    window = max(3, round(s.hump_m / cell_m) | 1)
    for ditch in ditches:
        if ditch.row.size < 3:
            continue
        bed, low_row, low_col = _bed_cells(z, ditch, cell_m, s)
        if not np.isfinite(bed).any():
            continue
        bed[~np.isfinite(bed)] = np.inf
        shape = np.array(today.shape)[:, np.newaxis] - 1
        at_row, at_col = np.clip(np.rint((ditch.row, ditch.col)).astype(np.int64), 0, shape)
        fill = on_fill[at_row, at_col]
        opened = open_humps(bed, window, (bool(fill[0]), bool(fill[-1])))
        if not ditch.sure:
            # a faint line may lead over ground that nobody dug
            opened = np.where(fill, opened, bed)
        _lower(today, ditch.row, ditch.col, opened)
        _lower(today, low_row, low_col, opened)
    for crossing in crossings:
        _lower_straight(today, crossing)


def _lower_straight(today: F32, crossing: Crossing) -> None:
    n = max(2, int(np.ceil(np.hypot(np.diff(crossing.row)[0], np.diff(crossing.col)[0]))) + 1)
    t = np.linspace(0.0, 1.0, n)
    row = crossing.row[0] + t * (crossing.row[1] - crossing.row[0])
    col = crossing.col[0] + t * (crossing.col[1] - crossing.col[0])
    level = np.full(n, crossing.level_m.max())
    _lower(today, row, col, level)
