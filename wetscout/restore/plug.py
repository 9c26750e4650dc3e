"""One plug: how high, how long, how much earth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wetscout.kernels.sections import median_along, sections
from wetscout.records import F32, F64, Cut
from wetscout.settings.restore import RestoreSettings


@dataclass(frozen=True)
class PlugSize:
    """Numbers of one plug.

    Attributes
    ----------
    row, col : float64 (2,)
        Ends of the plug line across the ditch [cells].
    crest_m, bed_m, height_m, across_m, along_m, fill_m3 : float
        Crest level, bed at the downstream toe, crest over that bed, length across the ditch, length along the ditch
        at the bed [m]; earth in place [m3].
    """

    row: F64
    col: F64
    crest_m: float
    bed_m: float
    height_m: float
    across_m: float
    along_m: float
    fill_m3: float


def prism_volume(ground: F64, step_m: float, crest_m: float, width_m: float, faces: tuple[float, float]) -> float:
    """Earth of a plug with a level crest and two plane faces against a section of ground.

    With h(y) the height of the crest over the ground: V = integral of (w h + (z1 + z2) h^2 / 2) dy. For a trapezoid
    ditch this is H w (b + s H) + (z1 + z2)(b H^2 / 2 + s H^3 / 3): plain geometry, no standard.

    Parameters
    ----------
    ground : float64 (n,)
        Section across the ditch [m].
    step_m : float
        Distance of samples [m].
    crest_m : float
        Crest level [m].
    width_m : float
        Crest width along the ditch [m].
    faces : (float, float)
        Run per rise upstream and downstream [-].

    Returns
    -------
    float
        [m3]
    """
    h = np.clip(crest_m - ground, 0.0, None)
    h = h[np.isfinite(h)]
    return float((width_m * h + 0.5 * (faces[0] + faces[1]) * h**2).sum() * step_m)


def size_plug(z: F32, cut: Cut, spill_m: float, cell_m: float, s: RestoreSettings) -> PlugSize:
    """Size the plug that closes a cut.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground as surveyed, noise calmed [m].
    cut : Cut
    spill_m : float
        Level the pool shall reach [m].
    cell_m : float
        Cell size [m].
    s : RestoreSettings

    Returns
    -------
    PlugSize
    """
    crest = spill_m + s.freeboard_m
    a_row, a_col = cut.along_col, -cut.along_row
    step = 0.5 / cell_m
    half = round(s.across_reach_m / 0.5)
    # a handful of sections a metre apart along the ditch, their median is the section at the plug
    offsets = np.arange(-3, 4) / cell_m
    rows = cut.row + cut.along_row * offsets
    cols = cut.col + cut.along_col * offsets
    n = offsets.size
    section = sections(z, rows, cols, np.full(n, a_row), np.full(n, a_col), half, step)
    ground = median_along(section, 3)[3]
    near = round(4.0 / 0.5)
    middle = slice(half - near, half + near + 1)
    bed_here = float(np.nanmin(ground[middle])) if np.isfinite(ground[middle]).any() else cut.bed_m
    left, right = _ends(ground, half, min(crest, spill_m + s.tie_m))
    part = ground[left : right + 1]
    fill = prism_volume(part, 0.5, crest, s.crest_width_m, (s.face_slope, s.face_slope))
    high = max(crest - bed_here, 0.0)
    toe = (s.crest_width_m / 2 + s.face_slope * high) / cell_m
    bed = min(bed_here, _lowest_near(z, cut.row + cut.along_row * toe, cut.col + cut.along_col * toe, 3.0 / cell_m))
    lo, hi = (left - half) * step, (right - half) * step
    return PlugSize(
        row=np.array([cut.row + a_row * lo, cut.row + a_row * hi]),
        col=np.array([cut.col + a_col * lo, cut.col + a_col * hi]),
        crest_m=crest,
        bed_m=bed,
        height_m=crest - bed,
        across_m=(right - left) * 0.5,
        along_m=s.crest_width_m + 2 * s.face_slope * high,
        fill_m3=fill,
    )


def _ends(ground: F64, half: int, crest: float) -> tuple[int, int]:
    """Samples at which the ground beside the cut first stands a little above the spill.

    Led on to its crest level a plug would run along the rim as a dike and close the natural spill with it. Where
    nothing within reach stands so high it ends on the highest ground, which is the rim itself.
    """
    out = []
    for sign in (-1, 1):
        side = ground[::-1][ground.size - 1 - half :] if sign < 0 else ground[half:]
        high = np.flatnonzero(side >= crest)
        if high.size:
            k = int(high[0])
        else:
            filled = np.where(np.isfinite(side), side, -np.inf)
            top = filled.max()
            k = int(np.argmax(filled >= top - 0.05))
        out.append(half + sign * max(k, 1))
    return out[0], out[1]


def _lowest_near(z: F32, row: float, col: float, reach: float) -> float:
    r, c, k = round(row), round(col), max(1, round(reach))
    part = z[max(0, r - k) : max(0, r + k + 1), max(0, c - k) : max(0, c + k + 1)]
    return float(np.nanmin(part)) if part.size and np.isfinite(part).any() else np.inf
