"""Which cells are cut or filled: the corridors of ditches and embankments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from wetscout import large
from wetscout.kernels.sections import median_along, paint_band, sections, share_set, shoulders, spoil_beside
from wetscout.records import BOOL, CUT, F32, F64, FILL, ROADSIDE, SPOIL, U8, UNSURE, Ditch, Embankment
from wetscout.settings.surfaces import SurfaceSettings

# ground behind a bank that spoil is told by [m], and the share of it in another ditch that leaves none
BEHIND_M = (3.0, 11.0)
DUG_BEHIND = 0.5


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


@dataclass(frozen=True)
class Band:
    """Sections across one line and the offsets of its shoulders [cells]."""

    across_row: F64
    across_col: F64
    centre: F64
    left: F64
    right: F64
    section: F64
    step_m: float
    cell_m: float


def _band(z: F32, line: Ditch | Embankment, cell_m: float, bed_m: float, s: SurfaceSettings) -> Band:
    row, col = line.row, line.col
    step = 0.5 if cell_m <= 1.0 else 0.5 / cell_m
    reach = max(2, round(6.0 / cell_m))
    a_row, a_col = across(row, col, reach)
    half = int(np.ceil((s.shoulder_reach_m + s.recentre_m + 12.0) / (step * cell_m)))
    section = sections(z, row, col, a_row, a_col, half, step)
    section = median_along(section, max(1, round(s.along_m / 2 / cell_m)))
    centre, left, right = shoulders(
        section, step * cell_m, s.recentre_m, s.shoulder_slope, s.berm_m, s.shoulder_reach_m, bed_m, s.shoulder_share
    )
    # a cut is nowhere much wider than along its neighbourhood: in a small steep basin its sides and the basin's run
    # into each other
    near = max(3, round(2 * s.width_along_m / cell_m) | 1)
    # cells of 2 m blur a cut: its shallow ends are ditch (five false sites on the Dutch core without this limit)
    least = s.cut_least_m if cell_m <= s.cut_cell_m else 0.0
    seen = _seen(section, (centre, left, right), step * cell_m, least)
    usual = [ndimage.median_filter(v[seen], near, mode="nearest") for v in (centre - left, right - centre)]
    left = np.maximum(left, centre - s.width_cap * usual[0] - cell_m)
    right = np.minimum(right, centre + s.width_cap * usual[1] + cell_m)
    # nor does one side alone vanish: on a bed wider than `bed_m` the lowest point may lie at its edge, and no side was
    # met on the other
    share = np.stack([centre - left, right - centre]) / np.maximum(usual, cell_m)
    gone = (share < s.width_least) & (share[::-1] >= 0.5)
    left, right = np.where(gone[0], centre - usual[0], left), np.where(gone[1], centre + usual[1], right)
    return Band(a_row, a_col, centre / cell_m, left / cell_m, right / cell_m, section, step * cell_m, cell_m)


def _seen(section: F64, at: tuple[F64, F64, F64], step_m: float, least_m: float) -> NDArray[np.int64]:
    """For the ends of a line that show no cut the nearest station that does: over level ground a line has no width.

    A line followed 40 m beyond a ditch of 30 m took half of the ditch's width from its corridor, and left the rim open.
    """
    stations = np.arange(section.shape[0])
    bed, left, right = (_ground_at(section, step_m, offset) for offset in at)
    deep = np.flatnonzero(np.minimum(left, right) - bed >= least_m)
    return np.clip(stations, deep[0], deep[-1]) if deep.size else stations


def _dug(shape: tuple[int, int], ditches: tuple[Ditch, ...], cell_m: float) -> U8:
    """Where any line was dug, by the widths it was described with."""
    mask = large.zeros(shape, np.uint8)
    for ditch in ditches:
        if ditch.sure and ditch.row.size >= 2:
            a_row, a_col = across(ditch.row, ditch.col, max(2, round(6.0 / cell_m)))
            half = 0.5 * ditch.top_width_m / cell_m
            paint_band(mask, 1, ditch.row, ditch.col, a_row, a_col, -half, half)
    return mask


def _paint_ditch(mask: U8, dug: U8, z: F32, ditch: Ditch, cell_m: float, s: SurfaceSettings) -> None:
    """Mark one ditch and the spoil beside it."""
    pad = max(s.pad_m / cell_m, 0.25)
    b = _band(z, ditch, cell_m, s.bed_reach_m, s)
    bit = CUT if ditch.sure else CUT | UNSURE
    if ditch.kind == "roadside":
        # road fill looks like spoil, so a roadside ditch has none
        left, right = b.left, b.right
        bit |= ROADSIDE
    else:
        feet = []
        for side, shoulder in ((-1, b.left), (1, b.right)):
            edge, foot = (offset / cell_m for offset in _spoil(b, shoulder * cell_m, side, cell_m, s))
            none = _between_ditches(dug, ditch, b, (side, shoulder), s)
            feet.append((np.where(none, shoulder, edge), np.where(none, shoulder, foot)))
        left, right = feet[0][0], feet[1][0]
        for edge, foot in feet:
            low, high = np.minimum(edge, foot), np.maximum(edge, foot)
            high = np.where(high > low, high, low - 1)
            paint_band(mask, SPOIL, ditch.row, ditch.col, b.across_row, b.across_col, low, high)
    left = np.minimum(left, b.centre - 0.75) - pad
    right = np.maximum(right, b.centre + 0.75) + pad
    paint_band(mask, bit, ditch.row, ditch.col, b.across_row, b.across_col, left, right)


def _between_ditches(dug: U8, ditch: Ditch, b: Band, at: tuple[int, F64], s: SurfaceSettings) -> BOOL:
    """Stations behind whose bank another ditch runs: what stands above its bed is ground, not spoil.

    Where two ditches meet at a sharp angle their sides were taken for spoil and left as a hole in the natural ground.
    """
    side, shoulder = at
    cell_m = b.cell_m
    near, far = (shoulder + side * m / cell_m for m in BEHIND_M)
    share = share_set(
        dug, ditch.row, ditch.col, b.across_row, b.across_col, np.minimum(near, far), np.maximum(near, far)
    )
    # a bank raised between two ditches stands above the ground beyond the other side
    top = _level(b, shoulder + side * np.array([0.0, 1.0, 2.0])[:, None] / cell_m)
    other = b.left if side > 0 else b.right
    ground = _level(b, other - side * np.array([2.0, 3.0, 4.0])[:, None] / cell_m)
    between: BOOL = (share >= DUG_BEHIND) & (top.max(axis=0) < np.median(ground, axis=0) + s.spoil_m)
    return between


def _level(b: Band, offset: F64) -> F64:
    """Ground of each section at some offsets [cells]: float64 (offsets, n) [m]."""
    return _ground_at(b.section, b.step_m, offset * b.cell_m)


def _ground_at(section: F64, step_m: float, offset_m: F64) -> F64:
    """Ground of each section at an offset of its own, the nearest sample [m]; several in rows of their own."""
    half = section.shape[1] // 2
    at = np.clip(np.rint(offset_m / step_m).astype(np.int64) + half, 0, section.shape[1] - 1)
    level: F64 = section[np.arange(section.shape[0]), at]
    return level


def _spoil(b: Band, shoulder: F64, side: int, cell_m: float, s: SurfaceSettings) -> tuple[F64, F64]:
    """Inner edge and outer foot of the spoil on one side [m].

    Wide banks count only where they go on along the line: a rim that humps beside the ditch for a few steps stays.
    """
    edge, foot = spoil_beside(b.section, b.step_m, shoulder, side, s.spoil_m, s.spoil_reach_m, 0.0)
    wide_edge, wide_foot = spoil_beside(b.section, b.step_m, shoulder, side, s.spoil_m, s.spoil_reach_m, s.spoil_wide_m)
    near, wide = foot != shoulder, wide_foot != shoulder
    around = round(2 * s.spoil_along_m / cell_m) | 1
    goes_on = ndimage.uniform_filter1d((near | wide).astype(np.float64), around, mode="nearest") >= s.spoil_share
    take = wide & ~near & goes_on
    return np.where(take, wide_edge, edge), np.where(take, wide_foot, foot)


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
    for ditch in ditches:
        if ditch.kind != "natural stream" and ditch.row.size >= 2:
            _paint_ditch(mask, dug, z, ditch, cell_m, s)
    fill = large.zeros(z.shape, np.uint8)
    upside = np.negative(z, out=large.empty(z.shape, np.float32))
    for bank in embankments:
        if bank.kind != "road" or bank.row.size < 2:
            continue
        b = _band(upside, bank, cell_m, s.crown_half_m, s)
        half = s.crown_least_m / cell_m
        pad_fill = s.road_pad_m / cell_m
        left = np.minimum(b.left, b.centre - half) - pad_fill
        right = np.maximum(b.right, b.centre + half) + pad_fill
        paint_band(fill, FILL, bank.row, bank.col, b.across_row, b.across_col, left, right)
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
