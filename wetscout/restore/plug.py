"""One plug: how high, how long, how much earth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wetscout.kernels.sections import bilinear, sections
from wetscout.records import F32, F64, Cut
from wetscout.settings.restore import RestoreSettings

# distance of samples along a plug [m]
STEP_M = 0.5


@dataclass(frozen=True)
class PlugSize:
    """Numbers of one plug.

    Attributes
    ----------
    row, col : float64 (k,)
        Corners of the plug line across the ditch [cells].
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


def size_plug(z: F32, line: tuple[F64, F64], cut: Cut, spill_m: float, cell_m: float, s: RestoreSettings) -> PlugSize:
    """Size a plug along its line.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground as surveyed, noise calmed [m].
    line : (float64 (k,), float64 (k,))
        Corners of the plug line [cells].
    cut : Cut
        Says which way the ditch runs.
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
    row, col = line
    ground, at_row, at_col, length = _profile(z, row, col, cell_m)
    fill = prism_volume(ground, STEP_M, crest, s.crest_width_m, (s.face_slope, s.face_slope))
    low = int(np.nanargmin(ground)) if np.isfinite(ground).any() else 0
    bed_here = float(ground[low]) if np.isfinite(ground[low]) else cut.bed_m
    high = max(crest - bed_here, 0.0)
    toe = (s.crest_width_m / 2 + s.face_slope * high) / cell_m
    below = at_row[low] + cut.along_row * toe, at_col[low] + cut.along_col * toe
    bed = min(bed_here, _lowest_near(z, *below, 3.0 / cell_m))
    return PlugSize(
        row=row,
        col=col,
        crest_m=crest,
        bed_m=bed,
        height_m=crest - bed,
        across_m=length,
        along_m=s.crest_width_m + 2 * s.face_slope * high,
        fill_m3=fill,
    )


def _profile(z: F32, row: F64, col: F64, cell_m: float) -> tuple[F64, F64, F64, float]:
    """Ground along a line of straight pieces, the median of seven lines a metre apart; where; its length [m]."""
    parts = np.hypot(np.diff(row), np.diff(col)) * cell_m
    far = np.concatenate([[0.0], np.cumsum(parts)])
    at = np.arange(STEP_M / 2, far[-1], STEP_M) if far[-1] > STEP_M else np.array([far[-1] / 2])
    piece = np.clip(np.searchsorted(far, at, side="right") - 1, 0, parts.size - 1)
    at_row, at_col = np.interp(at, far, row), np.interp(at, far, col)
    size = np.maximum(parts[piece], 1e-9) / cell_m
    # from line to line along the ditch, square to the plug
    step_row, step_col = np.diff(col)[piece] / size, -np.diff(row)[piece] / size
    ground = sections(z, at_row, at_col, step_row, step_col, 3, 1.0 / cell_m)
    known = np.isfinite(ground).any(axis=1)
    out = np.full(at.size, np.nan)
    out[known] = np.nanmedian(ground[known], axis=1)
    return out, at_row, at_col, float(far[-1])


def across(z: F32, cut: Cut, spill_m: float, cell_m: float, s: RestoreSettings) -> tuple[F64, F64]:
    """A straight line square to the way at a cut, to where the ground on each side first stands above the spill.

    Parameters
    ----------
    z : float32 (rows, cols)
        [m]
    cut : Cut
    spill_m, cell_m : float
        [m].
    s : RestoreSettings

    Returns
    -------
    row, col : float64 (2,)
        Ends of the line [cells].
    """
    a_row, a_col = -cut.along_col, cut.along_row
    half, step = round(s.across_reach_m / STEP_M), STEP_M / cell_m
    place = np.array([float(cut.row)]), np.array([float(cut.col)])
    ground = sections(z, *place, np.array([a_row]), np.array([a_col]), half, step)[0]
    left, right = _ends(ground, half, spill_m + s.tie_m)
    n = (np.array([left, right]) - half) * step
    return cut.row + a_row * n, cut.col + a_col * n


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


def resized(size: PlugSize, z: F32, cell_m: float, s: RestoreSettings) -> PlugSize:
    """Length and earth of a plug along its bent line.

    Parameters
    ----------
    size : PlugSize
    z : float32 (rows, cols)
        Today's ground [m].
    cell_m : float
        Cell size [m].
    s : RestoreSettings

    Returns
    -------
    PlugSize
    """
    parts = np.hypot(np.diff(size.row), np.diff(size.col)) * cell_m
    along = np.concatenate([[0.0], np.cumsum(parts)])
    at = np.arange(0.0, along[-1] + 1e-9, 0.5)
    ground = np.array(
        [bilinear(z, r, c) for r, c in zip(np.interp(at, along, size.row), np.interp(at, along, size.col), strict=True)]
    )
    fill = prism_volume(ground, 0.5, size.crest_m, s.crest_width_m, (s.face_slope, s.face_slope))
    return replace(size, across_m=float(along[-1]), fill_m3=fill)
