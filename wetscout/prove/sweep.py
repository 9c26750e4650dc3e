"""Distance from a line, piece by piece, each in its own small window."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wetscout.records import BOOL, F32, F64


@dataclass(frozen=True)
class Path:
    """A line with stations: metres from the centre of cell (0, 0), x eastwards, y southwards."""

    x: F64
    y: F64

    @property
    def along(self) -> F64:
        """Distance from the first station [m]."""
        return np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(self.x), np.diff(self.y)))])


@dataclass(frozen=True)
class Piece:
    """The cells near one leg of a line: window, distance [m], place between the stations, side (+1 left, -1 right)."""

    window: tuple[slice, slice]
    leg: int
    distance: F64
    part: F64
    side: F64

    def between(self, values: F64) -> F64:
        """Station values, linearly along the leg.

        Parameters
        ----------
        values : float64 (stations,)
            One for each station of the line, any unit.

        Returns
        -------
        float64
            One for each cell of the piece, in the same unit.
        """
        a, b = values[self.leg], values[self.leg + 1]
        out: F64 = a + (b - a) * self.part
        return out


def resample(path: Path, step_m: float) -> Path:
    """Put stations at equal distances, both ends kept.

    Parameters
    ----------
    path : Path
    step_m : float
        [m].

    Returns
    -------
    Path
    """
    along = path.along
    n = max(2, round(along[-1] / step_m) + 1)
    at = np.linspace(0.0, along[-1], n)
    return Path(np.interp(at, along, path.x), np.interp(at, along, path.y))


def sweep(shape: tuple[int, int], cell_m: float, path: Path, reach_m: float) -> Iterator[Piece]:
    """Go along a line leg by leg and yield the cells within reach.

    Parameters
    ----------
    shape : (rows, cols)
    cell_m : float
        [m].
    path : Path
    reach_m : float
        [m].

    Yields
    ------
    Piece
    """
    rows, cols = shape
    x, y = path.x, path.y
    for i in range(x.size - 1):
        c0 = max(0, int(np.ceil((min(x[i], x[i + 1]) - reach_m) / cell_m)))
        c1 = min(cols, int(np.floor((max(x[i], x[i + 1]) + reach_m) / cell_m)) + 1)
        r0 = max(0, int(np.ceil((min(y[i], y[i + 1]) - reach_m) / cell_m)))
        r1 = min(rows, int(np.floor((max(y[i], y[i + 1]) + reach_m) / cell_m)) + 1)
        if c1 <= c0 or r1 <= r0:
            continue
        dx, dy = x[i + 1] - x[i], y[i + 1] - y[i]
        px = (np.arange(c0, c1) * cell_m - x[i])[None, :]
        py = (np.arange(r0, r1) * cell_m - y[i])[:, None]
        part = np.clip((px * dx + py * dy) / max(dx * dx + dy * dy, 1e-12), 0.0, 1.0)
        distance = np.hypot(px - part * dx, py - part * dy)
        side = np.where(px * dy - py * dx >= 0, 1.0, -1.0)
        yield Piece((slice(r0, r1), slice(c0, c1)), i, distance, part, side)


def near(shape: tuple[int, int], cell_m: float, path: Path, reach_m: float) -> BOOL:
    """Mark the cells within reach of a line.

    Parameters
    ----------
    shape, cell_m, path, reach_m
        As in `sweep`.

    Returns
    -------
    bool (rows, cols)
    """
    mask: BOOL = np.zeros(shape, dtype=np.bool_)
    for piece in sweep(shape, cell_m, path, reach_m):
        mask[piece.window] |= piece.distance <= reach_m
    return mask


def nearest(shape: tuple[int, int], cell_m: float, path: Path, reach_m: float, values: F64) -> tuple[F32, F32]:
    """Distance to a line and the station value of its nearest point; infinite and 0 beyond reach.

    Parameters
    ----------
    shape, cell_m, path, reach_m
        As in `sweep`.
    values : float64 (n,)
        One a station.

    Returns
    -------
    distance, value : float32 (rows, cols)
    """
    distance: F32 = np.full(shape, np.inf, dtype=np.float32)
    value: F32 = np.zeros(shape, dtype=np.float32)
    for piece in sweep(shape, cell_m, path, reach_m):
        d = piece.distance.astype(np.float32)
        closer = (d < distance[piece.window]) & (d <= reach_m)
        np.copyto(distance[piece.window], d, where=closer)
        np.copyto(value[piece.window], piece.between(values).astype(np.float32), where=closer)
    return distance, value
