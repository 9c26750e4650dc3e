"""Where the sides of a long deep line stand: at its middle, across a wide bed, or nowhere."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wetscout.linework import shape
from wetscout.linework.attributes import Profile, direction_run, known_median, side_falls

# a long line so deep [m] with a shoulder (a top width over 1.5 m: a side of 0.13 somewhere) at less than a quarter of
# its stations is a swale, not a cut: of 1410 dug lines of 30 strangers' squares none is one, of 51 listed lines that
# nobody dug 17 (113-409 m). Short ditches whose line lies half in a small hollow have no shoulders there (one of 46 m)
LEAST_DEPTH_M = 0.34
SHOULDER_WIDTH_M = 1.5
SHOULDER_SHARE = 0.25
LEAST_LENGTH_M = 100.0
# nor are both its sides as steep as this: 0.05-0.10 on 26 swales between scroll bars, 0.23 on a main drain with a bed
# of 12 m, from the middle of which no shoulder is met
STEEP = 0.15
# where the sides are looked for, and the length over which their slope is read [m]
SIDE_REACH_M = 10.0
SIDE_RUN_M = 2.0
# a bed is wide where at a quarter of the stations both sides are steep and one begins farther out than this [m]: 0.3
# with a bed of 8 m, 1.0 with 10 m, 0.0 with 6 m; 0.67 on the Dutch main ditch in cells of 1 m, 0.13 on all but one of
# 130 lines of five squares of two makers
BED_REACH_M = 4.0
BED_SHARE = 0.25


def sides_of(falls: NDArray[np.float64], begins: NDArray[np.float64], top_width_m: NDArray[np.float64]) -> str:
    """Where the sides of a long deep line stand: `near` its middle, `far` across a wide flat bed, or `gentle` all over.

    The low ground between two dunes, beach ridges or scroll bars is deep with no side of a cut. Filled as a ditch it
    joins the hollows of both sides; beside ridges it passes for the ditch of a road. A main drain with a bed of 8 m is
    as blunt in its middle, but has steep sides farther out.

    Parameters
    ----------
    falls, begins : float64 (2, n)
        Slopes of its two sides at each station, and how far out they begin [m]: see `attributes.side_falls`.
    top_width_m : float64 (n,)
        Width between the shoulders at its stations [m], one cell without any.

    Returns
    -------
    str
    """
    across = (falls.min(axis=0) >= STEEP) & (begins.max(axis=0) > BED_REACH_M)
    if across.size and across.mean() >= BED_SHARE:
        return "far"
    steep = np.minimum(known_median(falls[0]), known_median(falls[1])) >= STEEP
    shown = float((top_width_m > SHOULDER_WIDTH_M).mean()) if top_width_m.size else 1.0
    return "near" if steep or shown >= SHOULDER_SHARE else "gentle"


def sides_on(z: NDArray[np.float32], p: Profile, measures: tuple[float, float], cell_m: float) -> str:
    """`sides_of` a line on the ground; `near` where it is short or shallow.

    Parameters
    ----------
    z : float32 (rows, cols)
        Smoothed ground [m].
    p : Profile
    measures : (float, float)
        Depth and length of the line [m].
    cell_m : float
        [m].

    Returns
    -------
    str
    """
    if measures[0] < LEAST_DEPTH_M or measures[1] < LEAST_LENGTH_M:
        return "near"
    step = 0.5 * SIDE_RUN_M
    n = round(SIDE_REACH_M / step)
    offsets = np.arange(-n, n + 1, dtype=np.float64) * step / cell_m
    ground = shape.sections_of(z, p.points, offsets, direction_run(cell_m))
    return sides_of(*side_falls(-ground, step, SIDE_RUN_M, SIDE_REACH_M), p.top_width)
