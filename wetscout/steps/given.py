"""Roads and culverts of the user's, as lines on the grid."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from wetscout.grid import Grid
from wetscout.records import F32, F64, Crossing, Embankment

# a lane with shoulders; its true width is read from the ground where fill shows (common practice, no source)
LANE_M = 8.0
# a culvert drawn as a point is opened between the lowest ground within this distance on both sides
POINT_REACH_M = 18.0


def _parts(geometry: Any) -> Iterable[Any]:
    parts: Iterable[Any] = getattr(geometry, "geoms", [geometry])
    return parts


def _stations(grid: Grid, line: Any) -> tuple[F64, F64]:
    """Stations one cell apart along a map line, in cells."""
    xy = np.asarray(line.coords, dtype=np.float64)[:, :2]
    row, col = grid.row_col(xy[:, 0], xy[:, 1])
    at = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(row), np.diff(col)))])
    n = max(2, int(np.ceil(at[-1])) + 1)
    where = np.linspace(0.0, at[-1], n)
    return np.interp(where, at, row), np.interp(where, at, col)


def given_roads(grid: Grid, geometries: Iterable[Any], first_id: int) -> tuple[Embankment, ...]:
    """Roads as embankments: their fill is taken off the natural ground where there is any.

    Parameters
    ----------
    grid : Grid
    geometries : iterable of shapely line geometries
        In the grid's CRS.
    first_id : int
        Id of the first one.

    Returns
    -------
    tuple of Embankment
    """
    out: list[Embankment] = []
    for geometry in geometries:
        for line in _parts(geometry):
            row, col = _stations(grid, line)
            inside = (row >= 0) & (col >= 0) & (row < grid.rows) & (col < grid.cols)
            # a road may leave the raster and come back: each stretch inside is a line of its own
            cuts = np.flatnonzero(np.diff(inside.astype(np.int8))) + 1
            for part in np.split(np.arange(row.size), cuts):
                if part.size > 1 and inside[part[0]]:
                    out.append(Embankment(first_id + len(out), row[part], col[part], 0.0, LANE_M, "road"))
    return tuple(out)


def given_culverts(grid: Grid, z: F32, geometries: Iterable[Any]) -> tuple[Crossing, ...]:
    """Culverts as crossings; a point is led between the lowest ground on both sides of the fill.

    Parameters
    ----------
    grid : Grid
    z : float32 (rows, cols)
        Ground [m].
    geometries : iterable of shapely points or lines
        In the grid's CRS.

    Returns
    -------
    tuple of Crossing
        Those outside the raster or on unknown ground are left out.
    """
    out = []
    reach = max(2, round(3.0 / grid.cell_m))
    for geometry in geometries:
        for part in _parts(geometry):
            if part.geom_type == "Point":
                ends = _point_ends(grid, z, part)
            else:
                row, col = _stations(grid, part)
                ends = [_lowest(z, row[0], col[0], reach), _lowest(z, row[-1], col[-1], reach)]
            if ends is None or any(e is None for e in ends):
                continue
            (r0, c0, z0), (r1, c1, z1) = sorted((e for e in ends if e is not None), key=lambda e: -e[2])
            out.append(Crossing(np.array([r0, r1]), np.array([c0, c1]), np.array([z0, z1]), True))
    return tuple(out)


def _lowest(z: F32, row: float, col: float, reach: int) -> tuple[float, float, float] | None:
    r0, c0 = max(0, round(row) - reach), max(0, round(col) - reach)
    part = z[r0 : max(0, round(row) + reach + 1), c0 : max(0, round(col) + reach + 1)]
    if part.size == 0 or not np.isfinite(part).any():
        return None
    k = int(np.nanargmin(part))
    r, c = divmod(k, part.shape[1])
    return float(r0 + r), float(c0 + c), float(part[r, c])


def _point_ends(grid: Grid, z: F32, point: Any) -> list[tuple[float, float, float] | None] | None:
    """Lowest ground on the two opposite sides of a culvert point, over 16 directions."""
    row, col = (float(v[0]) for v in grid.row_col(np.array([point.x]), np.array([point.y])))
    if not (0 <= row < grid.rows and 0 <= col < grid.cols):
        return None
    best: tuple[float, list[tuple[float, float, float] | None]] | None = None
    for k in range(16):
        angle = np.pi * k / 16
        ends = []
        for sign in (1.0, -1.0):
            steps = np.arange(3.0, POINT_REACH_M, 1.0) / grid.cell_m
            r = np.floor(row + sign * np.sin(angle) * steps + 0.5).astype(np.int64)
            c = np.floor(col + sign * np.cos(angle) * steps + 0.5).astype(np.int64)
            ok = (r >= 0) & (c >= 0) & (r < grid.rows) & (c < grid.cols)
            r, c = r[ok], c[ok]
            ground = z[r, c] if r.size else np.empty(0)
            if ground.size == 0 or not np.isfinite(ground).any():
                break
            at = int(np.nanargmin(ground))
            ends.append((float(r[at]), float(c[at]), float(ground[at])))
        if len(ends) == 2:
            higher = max(e[2] for e in ends)
            if best is None or higher < best[0]:
                best = (higher, list(ends))
    return best[1] if best else None
