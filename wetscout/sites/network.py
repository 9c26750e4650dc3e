"""Ditches as a network: which one runs here, and how much of it lies above."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from scipy.spatial import cKDTree

from wetscout.records import F64, I32, Ditch


class Network:
    """All ditch stations in one search tree, and which ditch runs into which.

    Parameters
    ----------
    ditches : tuple of Ditch
        Drawn downhill.
    cell_m : float
        Cell size [m].
    join_m : float
        A ditch whose lower end lies this near to another runs into it [m].
    """

    def __init__(self, ditches: tuple[Ditch, ...], cell_m: float, join_m: float) -> None:
        self.ditches = ditches
        self.cell_m = cell_m
        self.by_id = {d.ditch_id: i for i, d in enumerate(ditches)}
        self.row: F64 = np.concatenate([d.row for d in ditches]) if ditches else np.empty(0)
        self.col: F64 = np.concatenate([d.col for d in ditches]) if ditches else np.empty(0)
        sizes = [d.row.size for d in ditches]
        self.start = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
        self.index: I32 = np.repeat(np.arange(len(ditches), dtype=np.int32), sizes)
        self.tree = cKDTree(np.column_stack([self.row, self.col])) if self.row.size else None
        self.into = self._joins(join_m / cell_m)

    def _joins(self, reach: float) -> list[list[tuple[int, int]]]:
        """For each ditch, the ditches that run into it and at which of its stations."""
        into: list[list[tuple[int, int]]] = [[] for _ in self.ditches]
        if self.tree is None:
            return into
        for i, ditch in enumerate(self.ditches):
            near = self.tree.query_ball_point([ditch.row[-1], ditch.col[-1]], reach)
            best: dict[int, tuple[float, int]] = {}
            for k in near:
                j = int(self.index[k])
                if j == i:
                    continue
                d = float(np.hypot(self.row[k] - ditch.row[-1], self.col[k] - ditch.col[-1]))
                if j not in best or d < best[j][0]:
                    best[j] = (d, int(k - self.start[j]))
            for j, (_, station) in best.items():
                into[j].append((i, station))
        return into

    def nearest(self, row: float, col: float, reach_m: float) -> int | None:
        """Index of the ditch nearest to a cell within `reach_m`, sure ones first.

        Parameters
        ----------
        row, col : float
            [cells].
        reach_m : float
            [m].

        Returns
        -------
        int or None
        """
        if self.tree is None:
            return None
        near = self.tree.query_ball_point([row, col], reach_m / self.cell_m)
        if not near:
            return None
        gaps = [float(np.hypot(self.row[k] - row, self.col[k] - col)) for k in near]
        keys = [
            (not self.ditches[self.index[k]].sure, round(g, 3), int(self.index[k]))
            for k, g in zip(near, gaps, strict=True)
        ]
        return min(keys)[2]

    def stations_in(self, mask: np.ndarray, row0: int, col0: int) -> dict[int, np.ndarray]:
        """Stations of each ditch that lie on set cells of a window.

        Parameters
        ----------
        mask : bool (h, w)
        row0, col0 : int
            Place of the window [cells].

        Returns
        -------
        dict
            Index of ditch -> station numbers.
        """
        if self.tree is None:
            return {}
        r = np.floor(self.row + 0.5).astype(np.int64) - row0
        c = np.floor(self.col + 0.5).astype(np.int64) - col0
        ok = (r >= 0) & (c >= 0) & (r < mask.shape[0]) & (c < mask.shape[1])
        at = np.flatnonzero(ok)
        at = at[mask[r[at], c[at]]]
        out: dict[int, np.ndarray] = {}
        for j in np.unique(self.index[at]):
            out[int(j)] = at[self.index[at] == j] - self.start[j]
        return out

    def length_above(self, entries: Iterable[tuple[int, int]], skip: set[int]) -> float:
        """Ditch length that runs to given stations from above, side ditches included.

        Faint lines are followed but not counted: most are furrows, tracks and the last traces of a ditch that ends.

        Parameters
        ----------
        entries : iterable of (ditch index, station)
        skip : set of int
            Ditch indices not followed.

        Returns
        -------
        float
            [m]
        """
        total = 0.0
        seen = set(skip)
        stack = list(entries)
        while stack:
            i, station = stack.pop()
            ditch = self.ditches[i]
            part = slice(0, station + 1)
            if ditch.sure:
                total += float(np.hypot(np.diff(ditch.row[part]), np.diff(ditch.col[part])).sum()) * self.cell_m
            for j, at in self.into[i]:
                if at <= station and j not in seen:
                    seen.add(j)
                    stack.append((j, self.ditches[j].row.size - 1))
        return total
