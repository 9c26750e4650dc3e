"""Which cells are cut or filled: the corridors of ditches and embankments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from wetscout import large
from wetscout.kernels import corridor
from wetscout.kernels.sections import paint_band
from wetscout.records import CUT, F32, FILL, ROADSIDE, SPOIL, U8, UNSURE, Ditch, Embankment
from wetscout.settings.surfaces import SurfaceSettings

# ground behind a bank that spoil is told by [m], and the share of it in another ditch that leaves none
BEHIND_M = (3.0, 11.0)
DUG_BEHIND = 0.5


Hollow = tuple[float, float, float, float, float, float, float, float, float, float, float]


@dataclass(frozen=True)
class _Sizes:
    """What the kernels of corridors take, see `corridor.band` and `corridor.paint_ditch`."""

    stations: tuple[int, int, int, int]
    lengths: tuple[float, float, float, float, float, float, float, float]
    widths: tuple[float, float, float]
    banks: tuple[tuple[float, float, float], tuple[int, float], tuple[float, float, float, float], Hollow]

    @staticmethod
    def of(cell_m: float, bed_m: float, s: SurfaceSettings) -> _Sizes:
        step = 0.5 if cell_m <= 1.0 else 0.5 / cell_m
        half = int(np.ceil((s.shoulder_reach_m + s.recentre_m + 12.0) / (step * cell_m)))
        along, near = max(1, round(s.along_m / 2 / cell_m)), max(3, round(2 * s.width_along_m / cell_m) | 1)
        # cells of 2 m blur a cut: its shallow ends are ditch (five false sites on the Dutch core without this limit)
        fine = cell_m <= s.cut_cell_m
        least = s.cut_least_m if fine else 0.0
        hollow_m = s.hollow_m if fine else float("inf")
        return _Sizes(
            (_reach(cell_m), half, along, near),
            (step, cell_m, s.recentre_m, s.shoulder_slope, s.berm_m, s.shoulder_reach_m, bed_m, s.shoulder_share),
            (least, s.width_cap, s.width_least),
            (
                (s.spoil_m, s.spoil_reach_m, s.spoil_wide_m),
                (round(2 * s.spoil_along_m / cell_m) | 1, s.spoil_share),
                (*BEHIND_M, DUG_BEHIND, s.spoil_m),
                (
                    *(s.cut_least_m, hollow_m, s.hollow_slender, s.hollow_steep, s.hollow_rise),
                    *(s.hollow_gap_m, s.hollow_ditch_m, s.hollow_narrow),
                    *(s.wide_long, s.wide_steep, s.wide_even),
                ),
            ),
        )


def _reach(cell_m: float) -> int:
    """Stations on each side that give the direction across a line."""
    return max(2, round(6.0 / cell_m))


def _dug(shape: tuple[int, int], ditches: tuple[Ditch, ...], cell_m: float) -> U8:
    """Where any line was dug, by the widths it was described with."""
    mask = large.zeros(shape, np.uint8)
    for ditch in ditches:
        if ditch.sure and ditch.row.size >= 2:
            corridor.paint_along(mask, 1, ditch.row, ditch.col, _reach(cell_m), 0.5 * ditch.top_width_m / cell_m)
    return mask


def paint_corridors(
    z: F32, ditches: tuple[Ditch, ...], embankments: tuple[Embankment, ...], cell_m: float, s: SurfaceSettings
) -> U8:
    """Mark the cells inside cuts and under road fill.

    Parameters
    ----------
    z : float32 (rows, cols)
        The DEM as it is [m]: smoothing widens a cut.
    ditches, embankments : tuple
        Lines of the ground; only embankments of kind `road` are marked.
    cell_m : float
        Cell size [m].
    s : SurfaceSettings

    Returns
    -------
    uint8 (rows, cols)
        Bits CUT, ROADSIDE (also cut, beside or in road fill), FILL (road fill), UNSURE (only an unsure line), SPOIL.
    """
    mask = large.zeros(z.shape, np.uint8)
    dug = _dug((z.shape[0], z.shape[1]), ditches, cell_m)
    narrow, wide = _Sizes.of(cell_m, s.bed_reach_m, s), _Sizes.of(cell_m, s.wide_bed_reach_m, s)
    pad = max(s.pad_m / cell_m, 0.25)
    for ditch in ditches:
        if ditch.kind == "natural stream" or ditch.row.size < 2:
            continue
        bit = CUT if ditch.sure else CUT | UNSURE
        # road fill looks like spoil, so a roadside ditch has none
        bits = (bit | ROADSIDE, 0) if ditch.kind == "roadside" else (bit, SPOIL)
        sizes = wide if ditch.wide_bed else narrow
        corridor.paint_ditch(
            mask, dug, z, ditch.row, ditch.col, bits, pad, sizes.stations, sizes.lengths, sizes.widths, sizes.banks
        )
    fill = large.zeros(z.shape, np.uint8)
    upside = np.negative(z, out=large.empty(z.shape, np.float32))
    sizes = _Sizes.of(cell_m, s.crown_half_m, s)
    for bank in embankments:
        if bank.kind != "road" or bank.row.size < 2:
            continue
        a_row, a_col, centre, left, right, _ = corridor.band(
            upside, bank.row, bank.col, sizes.stations, sizes.lengths, sizes.widths
        )
        half = s.crown_least_m / cell_m
        pad_fill = s.road_pad_m / cell_m
        left = np.minimum(left, centre - half) - pad_fill
        right = np.maximum(right, centre + half) + pad_fill
        paint_band(fill, FILL, bank.row, bank.col, a_row, a_col, left, right)
    return _together(mask, fill)


def _together(mask: U8, fill: U8) -> U8:
    """Cuts with small gaps closed, and the fill beside them: a road's does not reach into the ditch at its foot.

    The side of that ditch runs up the fill: where both meet it is as beside a road, whatever the ditch is called.
    """
    out = large.empty(mask.shape, np.uint8)
    for own, read, inner in large.strips((mask.shape[0], mask.shape[1]), 2):
        cut = (mask[read] & CUT) > 0
        part, free = mask[own].copy(), ~cut[inner]
        road = fill[own] * free
        part |= road
        part[(fill[own] > 0) & ~free] |= ROADSIDE
        closed = ndimage.binary_closing(cut, structure=np.ones((3, 3), dtype=bool))[inner]
        part[closed & free & (road == 0)] |= CUT
        out[own] = part
    return out
