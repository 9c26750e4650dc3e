"""Ditches that meet a road and are drawn on along its foot, and pipes that end just inside the edge of the raster."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wetscout.kernels import passing
from wetscout.kernels.along import middle
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
# where the bed along the road stands so much higher, the water of the other leg cannot go there [m]
BLIND_M = 0.5
# a trench beyond the road may lie so far beside the straight way, and the ground so far to both sides stands higher
ASIDE_M = 2.0
BESIDE_M = 5.0
TRENCH_M = 0.15
# and goes on for so far along the way; directions are tried up to this far to both sides of where an end points
RUN_M = 10.0
FAN = np.radians([0.0, -10.0, 10.0, -20.0, 20.0, -30.0, 30.0, -40.0, 40.0])


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
    cosine = passing.turns(p, leg, back)
    turns = np.flatnonzero(cosine < TURN_COSINE)
    if not turns.size:
        return []
    at = np.arange(far, n - far)
    before, after = p[at - back] - p[at - far], p[at + far] - p[at + back]
    out: list[OpenEnd] = []
    for group in np.split(turns, np.flatnonzero(np.diff(turns) > leg) + 1):
        sharp = group[cosine[group] <= cosine[group].min() + 0.02]
        k = int(sharp[sharp.size // 2])
        j = int(at[k])
        if not roads.at_foot(p[j]):
            continue
        legs = ((before[k], after[k], j - back, -run), (-after[k], -before[k], j + back, run))
        for way, on, end, along in legs:
            if roads.crossed_by(p[j], way) and not roads.crossed_by(p[j], on):
                level, beyond = (_bed_from(bed, k, by) for k, by in ((end, along), (2 * j - end, -along)))
                blind = beyond - level >= BLIND_M
                out.append(OpenEnd(number, p[end], way / np.hypot(*way), level, ditch.sure, blind))
    return out


def _bed_from(bed: Points, at: int, along: int) -> float:
    """Median of the bed over some stations from one on [m]."""
    return float(middle(bed[min(at, at + along) : max(at, at + along) + 1]))


def into_trenches(
    z: NDArray[np.float32], ends: Sequence[OpenEnd], roads: Roads, settings: LineworkSettings
) -> list[Crossing]:
    """Crossings from ends at the foot of a road into a trench seen beyond it that is too short to be a line.

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
        One an end at most, in the direction nearest to the one it points in.
    """
    out: list[Crossing] = []
    for e in ends:
        turned = np.array([(e.out @ (np.cos(t), -np.sin(t)), e.out @ (np.sin(t), np.cos(t))) for t in FAN])
        hit = _trench(z, e, turned, roads, settings)
        if hit is not None:
            high, low = ((e.at, e.bed), hit) if e.bed >= hit[1] else (hit, (e.at, e.bed))
            row, col = np.stack((high[0], low[0]), axis=1)
            out.append(Crossing(row=row, col=col, level_m=np.array([high[1], low[1]]), given=False))
    return out


def _trench(
    z: NDArray[np.float32], e: OpenEnd, ways: Points, roads: Roads, settings: LineworkSettings
) -> tuple[Points, float] | None:
    """Place and bed of a trench that goes on beyond a road, in the first of some directions (n, 2) that shows one.

    All directions are looked at together: numpy takes as long for nine short ways as for one.
    """
    aside, beside, run = (max(1, round(length / roads.cell_m)) for length in (ASIDE_M, BESIDE_M, RUN_M))
    straight = e.at + np.arange(1.0, settings.bridge_m / roads.cell_m + run)[:, None] * ways[:, None]
    near = roads.on_crest(straight)
    seen = near.any(axis=1)
    straight, ways, top = straight[seen], ways[seen], np.argmax(near[seen], axis=1)[:, None]
    ground = _across(z, straight, ways, aside + beside)
    at = np.arange(straight.shape[1])
    fill = (ground[:, :, beside + aside] - e.bed >= settings.hump_m) & (at <= top)
    middle = ground[:, :, beside : beside + 2 * aside + 1]
    lowest = np.argmin(np.where(np.isfinite(middle), middle, np.inf), axis=2)

    def beside_it(shift: int) -> Points:
        return np.take_along_axis(ground, (lowest + shift)[:, :, None], axis=2)[:, :, 0]

    bed = beside_it(beside)
    banks = np.minimum(beside_it(0), beside_it(2 * beside))
    good = (banks - bed >= TRENCH_M) & (bed <= e.bed + settings.far_rise_m) & (at > top)
    begins = np.lib.stride_tricks.sliding_window_view(good, run, axis=1).all(axis=2) & fill.any(axis=1)[:, None]
    hits = np.flatnonzero(begins.any(axis=1))
    if not hits.size:
        return None
    d = int(hits[0])
    first = int(np.argmax(begins[d]))
    k = first + int(np.argmin(bed[d, first : first + run]))
    place = straight[d, k] + (lowest[d, k] - aside) * ways[d, ::-1] * (1, -1)
    return place, float(bed[d, k])


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


def _across(z: NDArray[np.float32], straight: Points, ways: Points, reach: int) -> Points:
    """Ground at the nearest cells of sections across ways (d, n, 2), from `reach` cells on one side to the other [m].

    NaN beyond the raster.
    """
    aside = np.arange(-reach, reach + 1)[None, :, None] * (ways[:, ::-1] * (1, -1))[:, None, None]
    r, c = np.moveaxis(np.rint(straight[:, :, None] + aside).astype(np.int64), -1, 0)
    on = (r >= 0) & (c >= 0) & (r < z.shape[0]) & (c < z.shape[1])
    ground = np.full(r.shape, np.nan)
    ground[on] = z[r[on], c[on]]
    return ground
