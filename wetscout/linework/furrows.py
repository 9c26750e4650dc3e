"""Which lines are the furrows of a bed field: many parallel neighbours."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wetscout.kernels.beside import parallel_lines
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
    along = np.concatenate([tangents(p, max(1, round(4.0 / cell_m))) for p in points])
    sizes = np.array([p.shape[0] for p in points])
    owner = np.repeat(np.arange(len(lines)), sizes)
    # even places along each line, none twice
    at = np.rint(np.arange(1, PLACES + 1) * ((sizes - 1) / (PLACES + 1))[:, None]).astype(np.int64)
    first = np.concatenate((np.ones((len(lines), 1), dtype=np.bool_), np.diff(at, axis=1) > 0), axis=1)
    places = at + (np.cumsum(sizes) - sizes)[:, None]
    counts = parallel_lines(
        np.concatenate(points),
        along,
        owner,
        places[first],
        settings.furrow_reach_m / cell_m,
        float(np.cos(np.radians(settings.furrow_turn_deg))),
        BESIDE_M / cell_m,
    )
    for i, beside in enumerate(np.split(counts, np.cumsum(first.sum(axis=1))[:-1])):
        out[i] = np.median(beside) >= settings.furrow_lines
    return out
