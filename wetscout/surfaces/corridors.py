"""Which cells are cut or filled: the corridors of ditches and embankments."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from wetscout.kernels.sections import median_along, paint_band, sections, shoulders
from wetscout.records import CUT, F32, F64, FILL, ROADSIDE, U8, UNSURE, Ditch, Embankment
from wetscout.settings.surfaces import SurfaceSettings


def across(row: F64, col: F64, reach: int) -> tuple[F64, F64]:
    """Unit vectors across a line, from its direction over a few stations.

    Parameters
    ----------
    row, col : float64 (n,)
        Stations [cells].
    reach : int
        Stations on each side that give the direction.

    Returns
    -------
    across_row, across_col : float64 (n,)
        Pointing to the right of the walking direction on a map with north up.
    """
    n = row.shape[0]
    at = np.arange(n)
    ahead, back = np.minimum(at + reach, n - 1), np.maximum(at - reach, 0)
    d_row, d_col = row[ahead] - row[back], col[ahead] - col[back]
    length = np.hypot(d_row, d_col)
    length[length == 0] = 1.0
    return d_col / length, -d_row / length


def _window(row: F64, col: F64, pad: int, shape: tuple[int, int]) -> tuple[int, int, int, int]:
    r0, r1 = max(0, int(row.min()) - pad), min(shape[0], int(row.max()) + pad + 2)
    c0, c1 = max(0, int(col.min()) - pad), min(shape[1], int(col.max()) + pad + 2)
    return r0, c0, r1, c1


def _band(z: F32, row: F64, col: F64, cell_m: float, s: SurfaceSettings) -> tuple[F64, F64, F64, F64, F64]:
    """Across vectors and shoulder offsets [cells] of one line on ground `z`."""
    step = 0.5 if cell_m <= 1.0 else 0.5 / cell_m
    reach = max(2, round(6.0 / cell_m))
    a_row, a_col = across(row, col, reach)
    half = int(np.ceil((s.shoulder_reach_m + s.recentre_m + 2.0) / (step * cell_m)))
    section = sections(z, row, col, a_row, a_col, half, step)
    section = median_along(section, max(1, round(s.along_m / 2 / cell_m)))
    centre, left, right = shoulders(
        section, step * cell_m, s.recentre_m, s.shoulder_slope, s.berm_m, s.shoulder_reach_m
    )
    return a_row, a_col, centre / cell_m, left / cell_m, right / cell_m


def paint_corridors(
    z: F32, ditches: tuple[Ditch, ...], embankments: tuple[Embankment, ...], cell_m: float, s: SurfaceSettings
) -> U8:
    """Mark the cells inside cuts and under road fill.

    Parameters
    ----------
    z : float32 (rows, cols)
        Smoothed ground [m].
    ditches, embankments : tuple
        Lines of the ground; only embankments of kind `road` are marked.
    cell_m : float
        Cell size [m].
    s : SurfaceSettings

    Returns
    -------
    uint8 (rows, cols)
        Bits CUT, ROADSIDE (also cut, beside a road), FILL (road fill), UNSURE (only an unsure line).
    """
    mask = np.zeros(z.shape, dtype=np.uint8)
    pad = max(s.pad_m / cell_m, 0.25)
    for ditch in ditches:
        if ditch.kind == "natural stream" or ditch.row.size < 2:
            continue
        a_row, a_col, centre, left, right = _band(z, ditch.row, ditch.col, cell_m, s)
        smallest = 0.75
        left = np.minimum(left, centre - smallest) - pad
        right = np.maximum(right, centre + smallest) + pad
        bit = CUT if ditch.sure else CUT | UNSURE
        if ditch.kind == "roadside":
            bit |= ROADSIDE
        paint_band(mask, bit, ditch.row, ditch.col, a_row, a_col, left, right)
    fill = np.zeros(z.shape, dtype=np.uint8)
    upside = -z
    for bank in embankments:
        if bank.kind != "road" or bank.row.size < 2:
            continue
        a_row, a_col, centre, left, right = _band(upside, bank.row, bank.col, cell_m, s)
        half = bank.width_m / 2 / cell_m
        pad_fill = s.road_pad_m / cell_m
        left = np.minimum(left, centre - min(half, 3.0 / cell_m)) - pad_fill
        right = np.maximum(right, centre + min(half, 3.0 / cell_m)) + pad_fill
        paint_band(fill, FILL, bank.row, bank.col, a_row, a_col, left, right)
    # a road's fill does not reach into the ditch beside it
    fill[(mask & CUT) > 0] = 0
    mask |= fill
    cut = (mask & CUT) > 0
    closed = ndimage.binary_closing(cut, structure=np.ones((3, 3), dtype=bool)) & ~cut & (fill == 0)
    mask[closed] |= CUT
    return mask
