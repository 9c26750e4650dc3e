"""Faint straight ridges and troughs between a hollow and a mouth, told from chance by the lines beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wetscout.kernels.faint import bands, block_means, follow
from wetscout.kernels.sections import sections
from wetscout.records import F32, F64
from wetscout.settings.buried import BuriedSettings

# corridors beside the true one, on both sides, that say what chance gives
_BESIDE = (1, 2, 3, 4)
_STEP_M = 1.0
# the last metres before an open ditch are its own bank
_OFF_MOUTH_M = 6.0
_SHORTEST_M = 24.0
# a mouth is known to about a line's width and the error of the line
_MOUTH_M = 4.0
_ROUND_M = 10.0
# corridors with more unknown ground say nothing; with fewer answers there is no chance to measure
_UNKNOWN = 0.3
_LEAST = 6
_LEAST_SPREAD_M = 1e-3


@dataclass(frozen=True)
class Trace:
    """The best faint line of one corridor.

    Attributes
    ----------
    row, col : float64 (n,)
        From the hollow to the mouth [cells].
    height_m : float
        Mean height over the ground beside it [m], negative for a trough.
    beyond : float
        How many spreads of the corridors beside it its answer stands above their median.
    steady : float
        Share of its blocks that answer alike.
    """

    row: F64
    col: F64
    height_m: float
    beyond: float
    steady: float


def _answers(z: F32, way: tuple[F64, F64], across: tuple[F64, F64], reach: int, grid: _Strip) -> F64:
    """Answer of each block along and offset across a corridor [m]."""
    half = reach + grid.far
    ground = sections(z, way[0], way[1], across[0], across[1], half, grid.step_m / grid.cell_m)
    edges = np.linspace(0, way[0].size, grid.blocks(way[0].size) + 1).round().astype(np.int64)
    mean = block_means(ground, edges)
    out: F64 = bands(mean, reach, grid.centre, grid.near, grid.far)
    return out


@dataclass(frozen=True)
class _Strip:
    """How a corridor is sampled: steps across [m] and bands in steps."""

    cell_m: float
    step_m: float
    centre: int
    near: int
    far: int
    block_m: float

    @staticmethod
    def of(cell_m: float, s: BuriedSettings) -> _Strip:
        step = max(0.5, 0.5 * cell_m)
        centre = max(1, round(s.line_half_m / step))
        near = max(centre + 1, round(s.flank_from_m / step))
        return _Strip(cell_m, step, centre, near, max(near + 2, round(s.flank_to_m / step)), s.block_m)

    def blocks(self, stations: int) -> int:
        return max(1, round(stations * _STEP_M / self.block_m))


def _even(way: tuple[F64, F64], cell_m: float) -> tuple[F64, F64]:
    """Stations a metre apart, corners rounded over some 20 m so that sections beside each other do not cross."""
    row, col = way
    at = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(row), np.diff(col)))]) * cell_m
    n = max(2, round(at[-1] / _STEP_M) + 1)
    where = np.linspace(0.0, at[-1], n)
    row, col = np.interp(where, at, row), np.interp(where, at, col)
    k = min(round(_ROUND_M / _STEP_M), (n - 1) // 2)
    if k > 0:
        for _ in range(2):
            row, col = _running_mean(row, k), _running_mean(col, k)
    return row, col


def _running_mean(values: F64, k: int) -> F64:
    """Mean over up to k values on each side, fewer near the ends, so that both ends stay."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    i = np.arange(values.size)
    reach = np.minimum(np.minimum(i, values.size - 1 - i), k)
    out: F64 = (total[i + reach + 1] - total[i - reach]) / (2 * reach + 1)
    return out


def trace(z: F32, way: tuple[F64, F64], cell_m: float, s: BuriedSettings) -> Trace | None:
    """Best faint line along a way from a hollow to a mouth.

    Every path of a corridor along the way is weighed by dynamic programming, once for ridges and once for troughs. The
    same is done in corridors of the same form to both sides; what they give is chance.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground as surveyed [m].
    way : (float64 (n,), float64 (n,))
        Row and column [cells] from the hollow to the mouth.
    cell_m : float
        Cell size [m].
    s : BuriedSettings

    Returns
    -------
    Trace or None
        None where the two lie too near to each other.
    """
    row, col = _even(way, cell_m)
    mouth = float(row[-1]), float(col[-1])
    keep = row.size - round(_OFF_MOUTH_M / _STEP_M)
    if keep * _STEP_M < _SHORTEST_M:
        return None
    row, col = row[:keep], col[:keep]
    strip = _Strip.of(cell_m, s)
    reach_m = float(np.clip(s.search_share * keep * _STEP_M, s.search_least_m, s.search_most_m))
    reach = round(reach_m / strip.step_m)
    d_row, d_col = np.gradient(row), np.gradient(col)
    size = np.maximum(np.hypot(d_row, d_col), 1e-12)
    across = d_col / size, -d_row / size
    chord = np.array([col[-1] - col[0], -(row[-1] - row[0])])
    chord /= max(float(np.hypot(*chord)), 1e-12)
    chance: list[float] = []
    for k in (*(-b for b in _BESIDE[::-1]), *_BESIDE):
        moved = chord * (k * (2.0 * reach_m + s.flank_to_m) / cell_m)
        found = _answers(z, (row + moved[0], col + moved[1]), across, reach, strip)
        if (found == 0.0).mean() <= _UNKNOWN:
            chance += [_best(found, sign, strip, s)[0] for sign in (1.0, -1.0)]
    if len(chance) < _LEAST:
        return None
    own = _answers(z, (row, col), across, reach, strip)
    at = np.linspace(0, row.size - 1, own.shape[0]).round().astype(np.int64)
    seen = (_seen(own, sign, (chance, strip), s) for sign in (1.0, -1.0))
    best, path = max(seen, key=lambda pair: pair[0].beyond)
    off = (path - own.shape[1] // 2) * strip.step_m / cell_m
    place = np.append(row[at] + across[0][at] * off, mouth[0]), np.append(col[at] + across[1][at] * off, mouth[1])
    return replace(best, row=place[0], col=place[1])


def _seen(own: F64, sign: float, beside: tuple[list[float], _Strip], s: BuriedSettings) -> tuple[Trace, np.ndarray]:
    """What the true corridor gives, measured by what the ones beside it give."""
    chance, strip = beside
    mean, path = _best(own, sign, strip, s)
    middle = float(np.median(chance))
    spread = max(1.4826 * float(np.median(np.abs(np.array(chance) - middle))), _LEAST_SPREAD_M)
    values = sign * own[np.arange(path.size), path]
    steady = float((values > 0.3 * mean).mean())
    nowhere = np.empty(0)
    return Trace(nowhere, nowhere, sign * float(np.mean(values)), (mean - middle) / spread, steady), path


def _best(answer: F64, sign: float, strip: _Strip, s: BuriedSettings) -> tuple[float, np.ndarray]:
    """Mean answer of the best path and the path, ridges for +1, troughs for -1."""
    clipped = np.clip(sign * answer, -s.clip_m, s.clip_m)
    turn = max(1, round(s.bend * s.block_m / strip.step_m))
    path, total = follow(clipped, turn, round(_MOUTH_M / strip.step_m))
    return total / path.size, path
