"""Which lines are the furrows of a bed field: many parallel neighbours."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wetscout.linework.shape import resample, tangents
from wetscout.linework.trace import Line
from wetscout.settings.linework import LineworkSettings

# places along a line at which neighbours are counted
PLACES = 7
# a neighbour must pass within this distance of the cross line
BESIDE_M = 6.0


def furrows(lines: list[Line], cell_m: float, settings: LineworkSettings) -> NDArray[np.bool_]:
    """Lines that have, over half their length, several parallel neighbours on their two sides.

    Parameters
    ----------
    lines : list of Line
    cell_m : float
        Cell size [m].
    settings : LineworkSettings

    Returns
    -------
    bool (lines,)
    """
    out = np.zeros(len(lines), dtype=np.bool_)
    if len(lines) <= settings.furrow_lines:
        return out
    points = [resample(line.xy, 3.0) for line in lines]
    along = [tangents(p, max(1, round(4.0 / cell_m))) for p in points]
    owner = np.repeat(np.arange(len(lines)), [p.shape[0] for p in points])
    every = np.concatenate(points)
    heading = np.concatenate(along)
    tree = cKDTree(every)
    cosine = np.cos(np.radians(settings.furrow_turn_deg))
    for i, (p, t) in enumerate(zip(points, along, strict=True)):
        places = np.unique(np.linspace(0, p.shape[0] - 1, PLACES + 2).round().astype(int)[1:-1])
        counts = []
        for k in places:
            near = np.array(tree.query_ball_point(p[k], settings.furrow_reach_m / cell_m), dtype=np.int64)
            near = near[owner[near] != i]
            way = every[near] - p[k]
            parallel = np.abs(heading[near] @ t[k]) >= cosine
            beside = np.abs(way @ t[k]) * cell_m <= BESIDE_M
            counts.append(np.unique(owner[near[parallel & beside]]).size)
        out[i] = np.median(counts) >= settings.furrow_lines
    return out
