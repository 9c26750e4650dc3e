"""Ditches as a network: which one runs here, and how much of it lies above."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wetscout.records import BOOL, F64, I32, Ditch

# a faint line that ends so near to the head of a ditch [m], in its direction, is the beginning of that ditch
HEAD_M, HEAD_TURN = 15.0, 35.0
# directions of a line are taken over so much of it [m]
RUN_M = 12.0


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
        self.sure = np.array([d.sure for d in ditches], dtype=np.bool_)
        self.streams = np.array([d.kind == "natural stream" for d in ditches], dtype=np.bool_)
        self.row: F64 = np.concatenate([d.row for d in ditches]) if ditches else np.empty(0)
        self.col: F64 = np.concatenate([d.col for d in ditches]) if ditches else np.empty(0)
        sizes = [d.row.size for d in ditches]
        self.start = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
        self.index: I32 = np.repeat(np.arange(len(ditches), dtype=np.int32), sizes)
        self.tree = cKDTree(np.column_stack([self.row, self.col])) if self.row.size else None
        # cells of the stations, in order of rows: a window looks at those of its own rows only
        cell_row = np.floor(self.row + 0.5).astype(np.int64)
        self.by_row = np.argsort(cell_row, kind="stable")
        self.cell_row = cell_row[self.by_row]
        self.cell_col = np.floor(self.col + 0.5).astype(np.int64)[self.by_row]
        self.into = self._joins(join_m / cell_m)
        self.counted = self._beginnings()

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

    def _beginnings(self) -> BOOL:
        """Sure lines, and faint ones that run on into the head of one of these; joins with a gap are noted."""
        counted = self.sure.copy()
        faint = [i for i, d in enumerate(self.ditches) if not d.sure and d.row.size > 1]
        if self.tree is None or not faint:
            return counted
        ends = np.array([[self.ditches[i].row[-1], self.ditches[i].col[-1]] for i in faint])
        near = self.tree.query_ball_point(ends, HEAD_M / self.cell_m, return_sorted=True)
        heads = {i: self._heads(i, np.array(at, dtype=np.int64)) for i, at in zip(faint, near, strict=True)}
        more = True
        while more:
            found = [(i, next((j for j in way if counted[j]), -1)) for i, way in heads.items() if not counted[i]]
            found = [(i, j) for i, j in found if j >= 0]
            for i, j in found:
                counted[i] = True
                if all(k != i for k, _ in self.into[j]):
                    self.into[j].append((i, 0))
            more = bool(found)
        return counted

    def _heads(self, i: int, at: NDArray[np.int64]) -> list[int]:
        """The other line into whose head one runs on, if any: nearest first among stations near its lower end."""
        ditch, run = self.ditches[i], max(1, round(RUN_M / self.cell_m))
        ahead, least = direction(ditch.row, ditch.col, ditch.row.size - 1, run), float(np.cos(np.deg2rad(HEAD_TURN)))
        gap = np.column_stack((self.row[at] - ditch.row[-1], self.col[at] - ditch.col[-1]))
        away = np.hypot(gap[:, 0], gap[:, 1])
        # a gap of some cells may lie in any direction, a longer one lies ahead
        ok = (away * self.cell_m <= 0.5 * HEAD_M) | (gap @ ahead >= least * away)
        j = self.index[at]
        ok &= (j != i) & ((at - self.start[j]) * self.cell_m <= HEAD_M)
        near = [int(j[k]) for k in np.argsort(away, kind="stable") if ok[k]]
        heads = {k: direction(self.ditches[k].row, self.ditches[k].col, 0, run) for k in near}
        return [k for k in near if np.dot(heads[k], ahead) >= least]

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
        near = np.array(self.tree.query_ball_point([row, col], reach_m / self.cell_m), dtype=np.int64)
        if not near.size:
            return None
        # no rim is cut by a natural stream: nothing is filled along one
        dug = ~self.streams[self.index[near]]
        near = near[dug] if dug.any() else near
        sure = self.sure[self.index[near]]
        near = near[sure] if sure.any() else near
        gaps = np.hypot(self.row[near] - row, self.col[near] - col)
        # those that may round to the least gap
        least = np.flatnonzero(gaps <= gaps.min() + 0.002)
        return min((round(float(gaps[k]), 3), int(self.index[near[k]])) for k in least)[1]

    def stream(self, i: int | None) -> bool:
        """Whether a line is a natural stream.

        Parameters
        ----------
        i : int or None
            Index of the ditch.

        Returns
        -------
        bool
        """
        return i is not None and self.ditches[i].kind == "natural stream"

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
        rows = slice(*np.searchsorted(self.cell_row, (row0, row0 + mask.shape[0])).tolist())
        c = self.cell_col[rows] - col0
        ok = np.flatnonzero((c >= 0) & (c < mask.shape[1]))
        ok = ok[mask[self.cell_row[rows][ok] - row0, c[ok]]]
        at = np.sort(self.by_row[rows][ok])
        first = np.flatnonzero(np.diff(self.index[at], prepend=-1))
        parts = np.split(at, first[1:]) if at.size else []
        return {int(self.index[part[0]]): part - self.start[self.index[part[0]]] for part in parts}

    def length_above(self, entries: Iterable[tuple[int, int]], skip: set[int]) -> float:
        """Ditch length that runs to given stations from above, side ditches included.

        Faint lines are followed but not counted: most are furrows and tracks. What runs on into the head of a ditch is
        the beginning of that ditch.

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
            if self.counted[i]:
                total += float(np.hypot(np.diff(ditch.row[part]), np.diff(ditch.col[part])).sum()) * self.cell_m
            for j, at in self.into[i]:
                if at <= station and j not in seen:
                    seen.add(j)
                    stack.append((j, self.ditches[j].row.size - 1))
        return total


def direction(row: NDArray[Any], col: NDArray[Any], at: int, reach: int) -> tuple[float, float]:
    """Unit vector along a line at one of its stations; 0, 0 where it does not move.

    Parameters
    ----------
    row, col : (n,)
        Stations [cells].
    at, reach : int
        The station, and how many to both sides give the direction; fewer at the ends.

    Returns
    -------
    row, col : float
    """
    a, b = max(0, at - reach), min(row.size - 1, at + reach)
    dr, dc = float(row[b] - row[a]), float(col[b] - col[a])
    length = float(np.hypot(dr, dc)) or 1.0
    return dr / length, dc / length
