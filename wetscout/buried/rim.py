"""Whether the rim looks graded down beside a line: it stands higher on either side."""

from __future__ import annotations

import numpy as np

from wetscout.buried.hollows import Hollow
from wetscout.kernels.sections import sections
from wetscout.records import F32, F64
from wetscout.settings.buried import BuriedSettings

_STEP_M = 1.0
# the crest of the rim on the line is looked for this far beyond the shore
_BEYOND_M = 30.0


def dip_beside(
    natural: F32, hollow: Hollow, line: tuple[F64, F64], cell_m: float, s: BuriedSettings
) -> tuple[float, float] | None:
    """How far the rim on a line lies below the rim on either side, and the level of the lower side.

    Parameters
    ----------
    natural : float32 (rows, cols)
        Ground, ditches filled [m].
    hollow : Hollow
    line : (float64 (n,), float64 (n,))
        Row and column [cells] from the hollow outwards.
    cell_m : float
        Cell size [m].
    s : BuriedSettings

    Returns
    -------
    (dip_m, beside_m) or None
        None where the line does not leave the hollow, or ground beside it is unknown.
    """
    row, col = _even(line, cell_m)
    r, c = np.rint(row).astype(int) - hollow.pool.row0, np.rint(col).astype(int) - hollow.pool.col0
    h, w = hollow.pool.mask.shape
    inside = (r >= 0) & (c >= 0) & (r < h) & (c < w)
    wet = np.zeros(row.size, dtype=bool)
    wet[inside] = hollow.pool.mask[r[inside], c[inside]]
    if not wet.any() or wet.all():
        return None
    last = int(np.flatnonzero(wet)[-1])
    stop = min(row.size, last + 1 + round(_BEYOND_M / _STEP_M))
    ground = sections(natural, row[last:stop], col[last:stop], np.ones(stop - last), np.zeros(stop - last), 0, 1.0)[
        :, 0
    ]
    if not np.isfinite(ground).any():
        return None
    k = last + int(np.nanargmax(ground))
    a, b = max(0, k - 8), min(row.size - 1, k + 8)
    along = np.array([row[b] - row[a], col[b] - col[a]])
    if not along.any():
        return None
    along /= np.hypot(*along)
    # the crest beside the line: the highest ground of sections along it, then across
    half = round(s.dip_to_m / _STEP_M)
    steps = np.arange(-10.0, 11.0, 1.0) / cell_m
    n = steps.size
    around = sections(
        natural, row[k] + along[0] * steps, col[k] + along[1] * steps, np.full(n, along[1]), np.full(n, -along[0]),
        half, _STEP_M / cell_m,
    )  # fmt: skip
    if np.isnan(around).any():
        return None
    crest = around.max(axis=0)
    near = round(s.dip_from_m / _STEP_M)
    here = float(np.median(crest[half - 2 : half + 3]))
    sides = float(crest[: half - near + 1].max()), float(crest[half + near :].max())
    return min(sides) - here, min(sides)


def _even(line: tuple[F64, F64], cell_m: float) -> tuple[F64, F64]:
    """Stations a metre apart."""
    row, col = (np.asarray(v, dtype=np.float64) for v in line)
    at = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(row), np.diff(col)))]) * cell_m
    n = max(2, round(at[-1] / _STEP_M) + 1)
    where = np.linspace(0.0, at[-1], n)
    return np.interp(where, at, row), np.interp(where, at, col)
