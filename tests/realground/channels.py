"""How much of the mapped channel length that shows in the ground lies near found ditches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

F64 = NDArray[np.float64]
Line = tuple[F64, F64]  # rows, cols [cells]

STEP_M = 10.0  # samples along the mapped lines [m]
WITHIN_M = 6.0  # issue 2, Must hold 3
INCISED_M = 0.3  # issue 2, Must hold 3
AROUND_M = 30.0  # incision = median ground within this distance
LOWEST_M = 4.0  # minus the lowest cell within this one


@dataclass(frozen=True)
class Recall:
    """Samples of mapped channel, one every 10 m.

    Attributes
    ----------
    row, col, incision_m : float64 (n,)
        Samples that lie in the DEM.
    near : bool (n,)
        A found line passes within 6 m.
    found_m, mapped_m : float
        Total length of found and of mapped lines in the DEM.
    """

    row: F64
    col: F64
    incision_m: F64
    near: NDArray[np.bool_]
    found_m: float
    mapped_m: float

    @property
    def share(self) -> float:
        """Recall: share of the samples incised 0.3 m or more that a found line passes within 6 m."""
        cut = self.incision_m >= INCISED_M
        return float(self.near[cut].mean())

    @property
    def ratio(self) -> float:
        """Found length over mapped length."""
        return self.found_m / self.mapped_m

    def misses(self) -> list[tuple[int, int]]:
        """(row, col) of incised samples without a line: where to look."""
        lost = (self.incision_m >= INCISED_M) & ~self.near
        return [(round(r), round(c)) for r, c in zip(self.row[lost], self.col[lost], strict=True)]


def stations(line: Line, cell_m: float, step_m: float, shape: tuple[int, int]) -> tuple[F64, F64]:
    """Points every `step_m` along a line that lie inside the raster [cells]."""
    row, col = (np.asarray(x, dtype=np.float64) for x in line)
    far = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(row), np.diff(col)))]) * cell_m
    along = np.arange(step_m / 2, far[-1], step_m)
    r, c = np.interp(along, far, row), np.interp(along, far, col)
    inside = (r >= 0) & (c >= 0) & (r <= shape[0] - 1) & (c <= shape[1] - 1)
    return r[inside], c[inside]


def incision(z: F64, cell_m: float, row: F64, col: F64) -> F64:
    """Median ground within 30 m minus the lowest cell within 4 m, at points [m]."""
    pad = int(AROUND_M / cell_m) + 1
    out = np.full(len(row), np.nan)
    for i, (r, c) in enumerate(zip(row, col, strict=True)):
        r0, c0 = max(round(r) - pad, 0), max(round(c) - pad, 0)
        part = z[r0 : round(r) + pad + 1, c0 : round(c) + pad + 1]
        rr, cc = np.indices(part.shape)
        far = np.hypot(rr + r0 - r, cc + c0 - c) * cell_m
        if np.isfinite(part[far <= LOWEST_M]).any():
            out[i] = np.nanmedian(part[far <= AROUND_M]) - np.nanmin(part[far <= LOWEST_M])
    return out


def channel_recall(lines_xy: Sequence[Line], mapped: Sequence[Line], z: F64, cell_m: float) -> Recall:
    """Recall of mapped channels by found lines.

    Parameters
    ----------
    lines_xy : sequence of (rows, cols)
        Found ditches, polylines in cells of `z`.
    mapped : sequence of (rows, cols)
        Mapped channels in cells of `z`.
    z : float64 (rows, cols)
    cell_m : float

    Returns
    -------
    Recall
    """
    samples = [stations(m, cell_m, STEP_M, z.shape) for m in mapped]
    row, col = np.concatenate([s[0] for s in samples]), np.concatenate([s[1] for s in samples])
    fine = [stations(line, cell_m, 0.5, z.shape) for line in lines_xy]
    points = np.concatenate([np.stack(p, axis=1) for p in fine]) if fine else np.zeros((0, 2))
    if len(points):
        far, _ = cKDTree(points * cell_m).query(np.stack([row, col], axis=1) * cell_m)
        near = far <= WITHIN_M
    else:
        near = np.zeros(len(row), dtype=bool)
    mapped_m = sum(len(stations(m, cell_m, 1.0, z.shape)[0]) for m in mapped) * 1.0
    return Recall(row, col, incision(z, cell_m, row, col), near, 0.5 * len(points), mapped_m)
