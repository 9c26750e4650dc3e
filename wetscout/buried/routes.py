"""The way of least trench depth from a hollow to an open ditch or stream, and the mouth at its end."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from wetscout import large
from wetscout.buried.heads import Head
from wetscout.buried.hollows import Hollow
from wetscout.kernels.trench import least_trench
from wetscout.records import F32, F64, Ditch
from wetscout.records_covered import PipeMouth
from wetscout.settings.buried import BuriedSettings

# a station of a ditch counts as open where its bed lies at least this far below the lower bank
_OPEN_M = 0.25


@dataclass(frozen=True)
class Way:
    """A way to a mouth: stations [cells] from the floor, and the mouth."""

    row: F64
    col: F64
    mouth: PipeMouth


class Router:
    """Looks for ways on a coarse grid whose blocks are anchored at cell (0, 0).

    Parameters
    ----------
    ground : float32 (rows, cols)
        Ground, noise calmed [m].
    ditches : iterable of Ditch
        Listed ones are taken for open.
    cell_m : float
        Cell size [m].
    s : BuriedSettings
    """

    def __init__(self, ground: F32, ditches: Iterable[Ditch], cell_m: float, s: BuriedSettings) -> None:
        self.s = s
        self.cell_m = cell_m
        self.block = max(1, round(s.route_cell_m / cell_m))
        self.z = _blocks(ground, self.block)
        self.bed, self.bank = (large.full(self.z.shape, np.nan, np.float32) for _ in range(2))
        self.stream = large.zeros(self.z.shape, np.bool_)
        for ditch in ditches:
            if ditch.sure and ditch.kind != "grassed waterway":
                self._paint(ditch)

    def _paint(self, ditch: Ditch) -> None:
        low = np.fmin(ditch.bank_low_m, ditch.bank_high_m)
        with np.errstate(invalid="ignore"):
            dug = low - ditch.bed_m >= _OPEN_M
        r = np.clip((np.floor(ditch.row + 0.5) // self.block).astype(np.int64), 0, self.z.shape[0] - 1)
        c = np.clip((np.floor(ditch.col + 0.5) // self.block).astype(np.int64), 0, self.z.shape[1] - 1)
        for i in np.flatnonzero(dug):
            at = (r[i], c[i])
            if not self.bed[at] <= ditch.bed_m[i]:
                self.bed[at], self.bank[at] = ditch.bed_m[i], low[i]
                self.stream[at] = "stream" in ditch.kind

    def pipe_level(self, hollow: Hollow) -> float:
        """Highest level a pipe can have at the floor: its cover below it.

        Parameters
        ----------
        hollow : Hollow

        Returns
        -------
        float
            [m]
        """
        return hollow.floor_m - self.s.cover_m

    def falls_to(self, hollow: Hollow, head: Head) -> bool:
        """Whether a pipe to a head could fall enough if it went straight; no way is shorter.

        Parameters
        ----------
        hollow : Hollow
        head : Head

        Returns
        -------
        bool
        """
        row, col = (at // self.block * self.block + 0.5 * (self.block - 1) for at in hollow.floor_at)
        straight = float(np.hypot(row - head.row, col - head.col)) * self.cell_m
        # a way is added up of many steps: a micrometre for what they round
        highest = self.pipe_level(hollow) - self.s.grade * straight + 1e-6
        return float(np.float32(head.bed_m)) - self.s.bed_slack_m <= highest

    def way(self, hollow: Hollow, head: Head | None = None) -> Way | None:
        """The way of least trench depth, to the first ditch low enough or to one head.

        Parameters
        ----------
        hollow : Hollow
        head : Head, optional
            Abrupt head of a ditch.

        Returns
        -------
        Way or None
            None when no ditch within reach is low enough, or there is no way to the head.
        """
        s, step = self.s, self.block * self.cell_m
        r0, c0, r1, c1 = self._window(hollow)
        z = np.ascontiguousarray(self.z[r0:r1, c0:c1])
        # a bed may be silted or under water in the DEM, so it may stand a little higher than a mouth would need
        bed = self.bed[r0:r1, c0:c1] - np.float32(s.bed_slack_m)
        if head is not None:
            bed = np.full_like(bed, np.nan)
            at = int(head.row) // self.block - r0, int(head.col) // self.block - c0
            if not (0 <= at[0] < bed.shape[0] and 0 <= at[1] < bed.shape[1]):
                return None
            # wherever the head stands, the way to it is wanted
            bed[at] = -np.inf
        start = hollow.floor_at[0] // self.block - r0, hollow.floor_at[1] // self.block - c0
        rows, cols, deepest = least_trench(
            z, np.ascontiguousarray(bed), start[0], start[1], self.pipe_level(hollow), s.grade, s.cover_m, step
        )
        if rows.size < 2:
            return None
        middle = 0.5 * (self.block - 1)
        row, col = (rows + r0) * self.block + middle, (cols + c0) * self.block + middle
        end = int(rows[-1]) + r0, int(cols[-1]) + c0
        kind, levels = "stream bank" if self.stream[end] else "ditch bank", (self.bed[end], self.bank[end])
        if head is not None:
            kind, levels = "ditch head", (np.float32(head.bed_m), np.float32(head.bed_m + head.depth_m))
            row[-1], col[-1] = head.row, head.col
        length = float(np.hypot(np.diff(row), np.diff(col)).sum()) * self.cell_m
        bank = (float(levels[0]), float(levels[1]))
        mouth = self._mouth(hollow, (float(row[-1]), float(col[-1])), kind, bank, (length, deepest))
        return Way(row, col, mouth)

    def _window(self, hollow: Hollow) -> tuple[int, int, int, int]:
        """Blocks within reach of a hollow: row0, col0, row1, col1, half open."""
        h, w = hollow.pool.mask.shape
        pad = int(np.ceil(self.s.reach_m / (self.block * self.cell_m)))
        row, col = hollow.pool.row0 // self.block, hollow.pool.col0 // self.block
        return (
            max(0, row - pad),
            max(0, col - pad),
            min(self.z.shape[0], row + h // self.block + pad + 1),
            min(self.z.shape[1], col + w // self.block + pad + 1),
        )

    def _mouth(
        self,
        hollow: Hollow,
        at: tuple[float, float],
        kind: str,
        levels: tuple[float, float],
        way: tuple[float, float],
    ) -> PipeMouth:
        """A mouth in a bank: the pipe comes out a little over the bed, and no higher than the floor lets it."""
        bed, bank = levels
        length, deepest = way
        highest = self.pipe_level(hollow) - self.s.grade * length
        level = max(min(bed + self.s.over_bed_m, highest), bed)
        return PipeMouth(
            row=at[0],
            col=at[1],
            kind=kind,
            level_m=level,
            depth_to_dig_m=max(bank - level, 0.0),
            distance_m=length,
            fall_m=hollow.floor_m - level,
            deepest_cut_m=deepest,
            feasible=bool(bed - self.s.bed_slack_m <= highest),
        )


def _blocks(ground: F32, block: int) -> F32:
    """Mean of the known cells of each block, NaN where none is known; the last ones may be smaller."""
    rows, cols = ground.shape
    n_r, n_c = -(-rows // block), -(-cols // block)
    out: F32 = large.empty((n_r, n_c), np.float32)
    for own, _, _ in large.strips((n_r, n_c * block * block)):
        padded = np.full(((own.stop - own.start) * block, n_c * block), np.nan, dtype=np.float64)
        part = ground[own.start * block : own.stop * block]
        padded[: part.shape[0], :cols] = part
        parts = padded.reshape(-1, block, n_c, block)
        known = np.isfinite(parts)
        count = known.sum(axis=(1, 3))
        total = np.where(known, parts, 0.0).sum(axis=(1, 3))
        out[own] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return out
