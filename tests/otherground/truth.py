"""The exact answer: every natural hollow, what is left of it when the dug ground with open culverts stands brim-full,
and where lines cross its rim."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from .dig import Line, sample
from .flood import EIGHT, Hollow, pool_of

Grid = NDArray[np.float64]
Mask = NDArray[np.bool_]

DRAINED_LOST = 0.7  # of the depth at the floor, and of the volume
PARTLY_LOST = 0.2


EDGE_M = 25.0  # nearer to the sheet's edge than this, a pool, its spill or its only way out is not judged


@dataclass(frozen=True)
class Sheet:
    """The part of the ground that becomes the DEM: margin [m] to it, its side [m], cell size [m]."""

    margin: int
    size: int
    cell_m: float

    def inside(self, row: Grid, col: Grid, by_m: float) -> Mask:
        """Whether positions on 1 m cells of the whole lie well inside the sheet."""
        low, high = self.margin + by_m, self.margin + self.size - by_m
        return np.asarray((row >= low) & (col >= low) & (row <= high) & (col <= high))

    def cells(self, at: Grid) -> Grid:
        """Positions in cells of the DEM."""
        return np.asarray((at - self.margin - (self.cell_m - 1) / 2) / self.cell_m)


@dataclass(frozen=True)
class Crossing:
    """The stretch of a dug line on which the natural ground beside it stands at spill level or above (cells)."""

    line: int
    row: Grid
    col: Grid
    entering: bool


@dataclass(frozen=True)
class Truth:
    """One natural hollow. Positions in cells of the DEM, lengths in metres."""

    number: int
    parent: int
    row0: int
    col0: int
    mask: Mask
    floor_at: tuple[float, float]
    spill_m: float
    floor_m: float
    area_m2: float
    volume_m3: float
    lost: float
    volume_left: float
    state: str
    pipe: int
    crossings: tuple[Crossing, ...]
    upstream_m: float
    edge: bool

    @property
    def depth_m(self) -> float:
        """Depth of the brim-full hollow [m]."""
        return self.spill_m - self.floor_m


def _runs(inside: Mask) -> list[tuple[int, int]]:
    marks, k = ndimage.label(inside)
    return [(s[0].start, s[0].stop) for s in ndimage.find_objects(marks)] if k else []


def crossings_of(
    z: Grid, pool: Mask, spill_m: float, lines: list[Line], sheet: Sheet
) -> tuple[tuple[Crossing, ...], float]:
    """Where dug lines go through the rim below spill level, and how much ditch enters from above [m]."""
    out, upstream = [], 0.0
    wide = ndimage.binary_dilation(pool, structure=EIGHT, iterations=1)
    for k, line in enumerate(lines):
        r, c = np.rint(line.at[:, 0]).astype(int), np.rint(line.at[:, 1]).astype(int)
        ok = (r >= 0) & (c >= 0) & (r < z.shape[0]) & (c < z.shape[1])
        wet = np.zeros(len(r), bool)
        wet[ok] = wide[r[ok], c[ok]]
        if not wet.any():
            continue
        first = int(np.argmax(wet))
        if first > 60:
            upstream += first * 0.5
        ground = sample(z, line.at)
        for a, b in _runs(~wet):
            for edge, step in ((a, 1), (b - 1, -1)):
                touches = (edge > 0 and wet[edge - 1]) if step == 1 else (edge + 1 < len(wet) and wet[edge + 1])
                if not touches or line.bed_m[edge] >= spill_m - 0.05:
                    continue
                end = edge
                while a <= end < b and ground[end] >= spill_m - 0.01:
                    end += step
                part = slice(edge, end + 1) if step == 1 else slice(max(end, 0), edge + 1)
                at = sheet.cells(line.at[part])
                out.append(Crossing(k, at[:, 0], at[:, 1], step == -1))
    return tuple(out), upstream


def _state(lost: float, left: float) -> str:
    if lost >= DRAINED_LOST and left <= 1 - DRAINED_LOST:
        return "drained"
    return "partly" if lost >= PARTLY_LOST or left <= 1 - PARTLY_LOST else "whole"


def _at_edge(sheet: Sheet, h: Hollow, pool: Mask, crossings: tuple[Crossing, ...]) -> bool:
    """Whether the sheet shows too little of a hollow to judge it: pool, spill or every way out near its edge."""
    spot = np.array([[*h.spill_at]], float)
    if not sheet.inside(spot[:, 0], spot[:, 1], EDGE_M)[0] or not sheet.inside(*np.nonzero(pool), EDGE_M / 2).all():
        return True
    out = [c for c in crossings if not c.entering]
    low, high = EDGE_M / sheet.cell_m, (sheet.size - EDGE_M) / sheet.cell_m
    seen = [((c.row >= low) & (c.col >= low) & (c.row <= high) & (c.col <= high)).any() for c in out]
    return bool(out) and not any(seen)


def _pipe_of(pool: Mask, pipes: Sequence[Any]) -> int:
    """Number of the covered pipe that begins in a pool and comes out outside of it, or -1."""
    for k, pipe in enumerate(pipes):
        start, mouth = (tuple(np.clip(np.rint(p), 0, len(pool) - 1).astype(int)) for p in (pipe.at[0], pipe.mouth))
        if pool[start] and not pool[mouth]:
            return k
    return -1


def truths_of(
    z: Grid, water_m: Grid, found: list[Hollow], lines: list[Line], sheet: Sheet, pipes: Sequence[Any] = ()
) -> list[Truth]:
    """Truth of every hollow of the natural 1 m ground `z`; `water_m` is the brim-full level of the dug, open ground."""
    out = []
    step, cut = round(sheet.cell_m), slice(sheet.margin, sheet.margin + sheet.size)
    n = sheet.size // step
    for h in found:
        if h.cells < 200 or h.spill_m - h.floor_m < 0.12:
            continue
        pool = pool_of(z, h.floor_at, h.spill_m)
        small = pool[cut, cut][: n * step, : n * step].reshape(n, step, n, step).mean((1, 3)) >= 0.5
        if not small.any():
            continue
        level = max(float(water_m[h.floor_at]), h.floor_m)
        lost = float(np.clip((h.spill_m - level) / (h.spill_m - h.floor_m), 0, 1))
        left = float(np.clip(np.minimum(water_m, h.spill_m) - z, 0, None)[pool].sum() / h.volume_cells_m)
        cross, upstream = crossings_of(z, pool, h.spill_m, lines, sheet)
        state, pipe = _state(lost, left), _pipe_of(pool, pipes)
        if pipe >= 0 and state != "drained":
            state = "covered"
        box = ndimage.find_objects(small.astype(np.int8))[0]
        floor = sheet.cells(np.array(h.floor_at, float))
        out.append(
            Truth(
                h.number, h.parent, box[0].start, box[1].start, small[box], (float(floor[0]), float(floor[1])),
                h.spill_m, h.floor_m, float(h.cells), h.volume_cells_m, lost, left, state, pipe, cross,
                upstream, _at_edge(sheet, h, pool, cross),
            )
        )  # fmt: skip
    return out
