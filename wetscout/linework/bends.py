"""Ditches that meet a road and are drawn on along its foot, and pipes that end just inside the edge of the raster."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wetscout.linework.under_roads import OpenEnd, Roads
from wetscout.records import Crossing, Ditch
from wetscout.settings.linework import LineworkSettings

Points = NDArray[np.float64]

# directions before and after a bend are taken over this length, this far from it: bends are drawn round
LEG_M = 15.0
BACK_M = 8.0
# the line turns by more than 40 degrees
TURN_COSINE = 0.77
# bed before a bend is the median over this length
BED_M = 8.0
# a trench beyond the road may lie so far beside the straight way, and the ground so far to both sides stands higher
ASIDE_M = 4.0
BESIDE_M = 5.0
TRENCH_M = 0.15


def bend_ends(number: int, ditch: Ditch, bed: Points, roads: Roads) -> list[OpenEnd]:
    """Places where a line comes to the foot of a road and turns along it, as ends that point across the road.

    A ditch led under a road and a ditch beside that road are often drawn as one line, which hides the end.

    Parameters
    ----------
    number : int
        Index of the ditch.
    ditch : Ditch
    bed : float64 (n,)
        Bed along it [m].
    roads : Roads

    Returns
    -------
    list of OpenEnd
    """
    leg, back, run = (max(2, round(length / roads.cell_m)) for length in (LEG_M, BACK_M, BED_M))
    n, far = bed.size, leg + back
    if roads.empty or n < 2 * far + 1:
        return []
    p = np.column_stack((ditch.row, ditch.col))
    at = np.arange(far, n - far)
    before, after = p[at - back] - p[at - far], p[at + far] - p[at + back]
    size = np.maximum(np.hypot(*before.T) * np.hypot(*after.T), 1e-9)
    cosine = (before * after).sum(axis=1) / size
    turns = np.flatnonzero(cosine < TURN_COSINE)
    out: list[OpenEnd] = []
    for group in np.split(turns, np.flatnonzero(np.diff(turns) > leg) + 1) if turns.size else []:
        sharp = group[cosine[group] <= cosine[group].min() + 0.02]
        k = int(sharp[sharp.size // 2])
        j = int(at[k])
        if not roads.at_foot(p[j]):
            continue
        legs = ((before[k], after[k], j - back, -run), (-after[k], -before[k], j + back, run))
        for way, on, end, along in legs:
            if roads.crossed_by(p[j], way) and not roads.crossed_by(p[j], on):
                level = float(np.median(bed[min(end, end + along) : max(end, end + along) + 1]))
                out.append(OpenEnd(number, p[end], way / np.hypot(*way), level, ditch.sure))
    return out


def into_trenches(
    z: NDArray[np.float32], ends: Sequence[OpenEnd], roads: Roads, settings: LineworkSettings
) -> list[Crossing]:
    """Crossings from ends that point across a road into a trench seen beyond it, too short to be a line.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    ends : sequence of OpenEnd
    roads : Roads
    settings : LineworkSettings

    Returns
    -------
    list of Crossing
    """
    out: list[Crossing] = []
    steps = np.arange(1.0, settings.bridge_m / roads.cell_m + 1.0)[:, None]
    aside, beside = round(ASIDE_M / roads.cell_m), round(BESIDE_M / roads.cell_m)
    for e in ends:
        straight = e.at + steps * e.out
        top = roads.crest_on(straight)
        if top is None:
            continue
        ground = _across(z, straight, e.out, aside + beside)
        middle = ground[:, beside : beside + 2 * aside + 1]
        lowest = np.argmin(np.where(np.isfinite(middle), middle, np.inf), axis=1)
        at = np.arange(lowest.size)
        bed = middle[at, lowest]
        banks = np.minimum(ground[at, lowest], ground[at, lowest + 2 * beside])
        way = straight + (lowest - aside)[:, None] * e.out[::-1] * (1, -1)
        good = (banks - bed >= TRENCH_M) & (bed <= e.bed + settings.far_rise_m)
        good[: top + 1] = False
        fill = ground[: top + 1, beside + aside]
        if not good.any() or not (fill - e.bed >= settings.hump_m).any():
            continue
        k = int(np.argmin(np.where(good, bed, np.inf)))
        a, b = (e.at, e.bed), (way[k], float(bed[k]))
        high, low = (a, b) if e.bed >= bed[k] else (b, a)
        level = np.array([high[1], low[1]])
        row, col = np.stack((high[0], low[0]), axis=1)
        out.append(Crossing(row=row, col=col, level_m=level, given=False))
    return out


def off_the_edge(
    found: Sequence[Crossing], shape: tuple[int, int], cell_m: float, settings: LineworkSettings
) -> list[Crossing]:
    """Outlets for pipes whose lower end lies just inside the edge: the ditch beyond is out of sight.

    Parameters
    ----------
    found : sequence of Crossing
    shape : (int, int)
        Rows and columns of the raster.
    cell_m : float
        [m].
    settings : LineworkSettings
        `edge_m`.

    Returns
    -------
    list of Crossing
        From the lower end straight to the nearest edge, level.
    """
    out = []
    for c in found:
        row, col, level = float(c.row[1]), float(c.col[1]), float(c.level_m[1])
        last_row, last_col = shape[0] - 1.0, shape[1] - 1.0
        sides = ((row, 0.0, col), (last_row - row, last_row, col), (col, row, 0.0), (last_col - col, row, last_col))
        far, edge_row, edge_col = min(sides)
        if far * cell_m <= settings.edge_m:
            level_m = np.array([level, level])
            out.append(Crossing(np.array([row, edge_row]), np.array([col, edge_col]), level_m, given=False))
    return out


def _across(z: NDArray[np.float32], way: Points, out: Points, reach: int) -> Points:
    """Ground at the nearest cells of sections across a way, from `reach` cells on one side to the other [m].

    NaN beyond the raster.
    """
    aside = np.arange(-reach, reach + 1)[None, :, None] * out[::-1] * (1, -1)
    r, c = np.moveaxis(np.rint(way[:, None] + aside).astype(np.int64), -1, 0)
    on = (r >= 0) & (c >= 0) & (r < z.shape[0]) & (c < z.shape[1])
    ground = np.full(r.shape, np.nan)
    ground[on] = z[r[on], c[on]]
    return ground
