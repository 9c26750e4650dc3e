"""Cuts that earth fills again at the rim: plugged already, or crossed by a bank beneath which no pipe is known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from wetscout.records import F32, Crossing, Cut, Linework
from wetscout.settings.sites import SiteSettings

# a road holds the water where its crest lies within half its width and this of the fill
ROAD_M = 6.0
# a pipe named by the user this near to the fill leads the water through
PIPE_M = 15.0


class Fills:
    """Earth across ditches that is no road.

    Plugs stand at the natural rim and span the ditch only; a road goes on past both banks (common practice, no
    source). Farther down the ditch the same earth is a crossing for carts, over a pipe.
    """

    def __init__(self, ground: F32, today: F32, lines: Linework, cell_m: float, s: SiteSettings) -> None:
        """Look up roads and the user's pipes.

        Parameters
        ----------
        ground, today : float32 (rows, cols)
            The DEM, and the surface on which fill over ditches is opened [m].
        lines : Linework
        cell_m : float
            [m].
        s : SiteSettings
        """
        self.ground, self.today, self.cell_m, self.s = ground, today, cell_m, s
        roads = [b for b in lines.embankments if b.kind == "road" and b.row.size]
        self.half_m = np.repeat([0.5 * b.width_m for b in roads], [b.row.size for b in roads])
        self.roads = cKDTree(np.concatenate([np.column_stack((b.row, b.col)) for b in roads])) if roads else None
        self.pipes = [(float(c.row.mean()), float(c.col.mean())) for c in _given(lines.crossings)]

    def share(self, cuts: Sequence[Cut], spill_m: float) -> float:
        """Part of the cuts that are filled at the rim up to the spill level.

        Parameters
        ----------
        cuts : sequence of Cut
        spill_m : float
            [m].

        Returns
        -------
        float
            0-1; 0 without cuts.
        """
        return sum(self._filled(c, spill_m) for c in cuts) / len(cuts) if cuts else 0.0

    def _filled(self, cut: Cut, spill_m: float) -> bool:
        away = np.hypot(cut.way_row - cut.row, cut.way_col - cut.col) * self.cell_m
        at = away <= self.s.filled_reach_m
        rows, cols = cut.way_row[at], cut.way_col[at]
        ground = self.ground[rows, cols]
        fill = (ground - self.today[rows, cols] >= self.s.filled_m) & (ground >= spill_m - self.s.filled_below_m)
        if not fill.any():
            return False
        row, col = float(rows[fill].mean()), float(cols[fill].mean())
        if any(np.hypot(row - r, col - c) * self.cell_m <= PIPE_M for r, c in self.pipes):
            return False
        if self.roads is None:
            return True
        distance, k = self.roads.query((row, col))
        return bool(distance * self.cell_m > self.half_m[k] + ROAD_M)


def _given(crossings: Sequence[Crossing]) -> list[Crossing]:
    return [c for c in crossings if c.given]
