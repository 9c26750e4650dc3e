"""Where a ditch would be dug: the way of least cutting from a basin's floor to lower ground, in straight reaches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.graph import MCP_Geometric
from skimage.measure import approximate_polygon

from .ground import EIGHT, ClosedBasin

F64 = NDArray[np.float64]
BOOL = NDArray[np.bool_]

REACH_M = 450.0  # how far around the pool an outlet is looked for [m]; field ditches to a collector are shorter
CUT_COST = 3.0  # cost of a metre of ditch cut 1 m deep, over one laid on the ground; earth grows with depth squared
EDGE_EXTRA_M = 60.0  # an outlet at the raster edge counts as this much longer: prefer one that can be seen
BEYOND_M = 45.0  # a ditch runs on at least this far beyond its pool: dug drains end in a waterway, not on a slope [m]
STATION_M = 0.5  # spacing of the stations along the line [m]


@dataclass(frozen=True)
class Line:
    """A ditch as stations drawn downhill: position in cells, distance [m], bed [m]."""

    row: F64
    col: F64
    along_m: F64
    bed_m: F64


def _window(pool: BOOL, cell_m: float) -> tuple[slice, slice]:
    rows, cols = np.nonzero(pool)
    pad = round(REACH_M / cell_m)
    return (
        slice(max(0, rows.min() - pad), min(pool.shape[0], rows.max() + pad + 1)),
        slice(max(0, cols.min() - pad), min(pool.shape[1], cols.max() + pad + 1)),
    )


def least_cut(
    ground: F64, filled: F64, basin: ClosedBasin, cell_m: float, bed0_m: float, grade: float
) -> NDArray[np.int64] | None:
    """Cells (n, 2) of the cheapest way from the floor to ground where a falling bed meets the surface and water can go.

    Parameters
    ----------
    ground, filled : float64 (rows, cols)
        The ground so far, and its fill [m].
    basin : ClosedBasin
    cell_m, bed0_m, grade : float
        Cell size [m], bed at the floor [m], fall of the bed [m/m].

    Returns
    -------
    int64 (n, 2) or None when there is no outlet within reach.
    """
    win = _window(basin.pool, cell_m)
    z, f, pool = ground[win], filled[win], basin.pool[win]
    gone = np.isnan(z)
    start = (basin.floor[0] - win[0].start, basin.floor[1] - win[1].start)
    dig = np.clip(np.nan_to_num(z - bed0_m), 0.0, None)
    cost = np.where(gone, -1.0, 1.0 + CUT_COST * dig**2)
    path = MCP_Geometric(cost, sampling=(cell_m, cell_m))
    total, _ = path.find_costs([start])
    rr, cc = np.indices(z.shape)
    straight = np.hypot(rr - start[0], cc - start[1]) * cell_m
    bed = bed0_m - grade * 1.25 * straight  # 1.25: ways are somewhat longer than the straight line
    rim = ndimage.binary_dilation(gone, EIGHT)
    for at, axis in ((0, 0), (-1, 0), (0, 1), (-1, 1)):
        atend = (win[axis].start == 0) if at == 0 else (win[axis].stop == ground.shape[axis])
        if atend:
            rim[(at, slice(None)) if axis == 0 else (slice(None), at)] = True
    beyond = ndimage.distance_transform_edt(~pool) * cell_m
    total = np.where((beyond < BEYOND_M) | gone, np.inf, total)
    low = np.where(f <= bed - 0.02, total, np.inf)
    side = np.where(rim & (z > bed), total + EDGE_EXTRA_M, np.inf)
    best = np.minimum(low, side)
    end = np.unravel_index(int(np.argmin(best)), best.shape)
    if not np.isfinite(best[end]):
        return None
    cells = np.array(path.traceback(end), dtype=np.int64)
    return cells + np.array([win[0].start, win[1].start])


def straighten(cells: NDArray[np.int64], cell_m: float, within_m: float) -> tuple[F64, F64, F64]:
    """Straight reaches within a distance of the way, corners rounded (Chaikin 1974, twice), stations evenly spaced.

    Parameters
    ----------
    cells : int64 (n, 2)
    cell_m, within_m : float
        Cell size [m]; greatest distance of the reaches from the way [m].

    Returns
    -------
    row, col, along_m : float64 (m,)
    """
    line = approximate_polygon(cells.astype(float), within_m / cell_m)
    for _ in range(2):
        if len(line) < 3:
            break
        a, b = line[:-1], line[1:]
        cut = np.stack([0.75 * a + 0.25 * b, 0.25 * a + 0.75 * b], axis=1).reshape(-1, 2)
        line = np.vstack([line[:1], cut[1:-1], line[-1:]])
    leg = np.hypot(*np.diff(line, axis=0).T) * cell_m
    far = np.concatenate([[0.0], np.cumsum(leg)])
    along = np.arange(0.0, far[-1] + 1e-9, STATION_M)
    return np.interp(along, far, line[:, 0]), np.interp(along, far, line[:, 1]), along


def at(z: F64, row: F64, col: F64) -> F64:
    """Ground without NaN at stations, bilinear [m]."""
    return np.asarray(ndimage.map_coordinates(z, [row, col], order=1, mode="nearest"))
