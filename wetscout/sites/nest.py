"""Measures of pools that lie in each other: the cells of the outermost are sorted once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wetscout.kernels.nests import (
    flat_over,
    gather,
    level_at,
    levels_at,
    levels_over,
    lowest,
    lowest_few,
    lowest_of_each,
    majority,
    narrowed,
    share_held,
)
from wetscout.records import BOOL, CUT, F32, F64, FILL, Surfaces, Tree
from wetscout.settings.sites import SiteSettings
from wetscout.sites.pitted import pit_levels, slimness, walled

View = tuple[NDArray[np.int32], F32, BOOL]
# sorting takes as long as picking out of so many times more cells
_SORT_FROM = 16


@dataclass(frozen=True)
class Pooled:
    """What one pool shows.

    Attributes
    ----------
    floor, today, witness, pit : float
        See `judge.Measures` [m].
    floor_at : (int, int)
        Row and column.
    """

    floor: float
    today: float
    witness: float
    pit: float
    floor_at: tuple[int, int]


@dataclass(frozen=True)
class Nest:
    """Cells of a nest of pools by their innermost pool, so that those of each pool stand together.

    Windows of large pools are mostly others' ground, and pools within pools have nearly the same one. Their cells are
    sorted by height where that is cheaper than picking them out of the sorted ones of the pool around: 290 pools of
    1 to 4 million cells in each other took 38 s when each was sorted.
    """

    corner: tuple[int, int]
    width: int
    node: NDArray[np.int32]
    at: NDArray[np.int32]
    free: BOOL
    natural: F32
    today: F32
    cautious: F32
    free_before: NDArray[np.int64]
    sums: tuple[F64, F64]
    chunks: F32

    @staticmethod
    def of(tree: Tree, top: int, surfaces: Surfaces, filled: tuple[F32, F32]) -> Nest:
        """Gather all pools in one.

        Parameters
        ----------
        tree : Tree
        top : int
            The outermost.
        surfaces : Surfaces
        filled : (float32 (rows, cols), float32 (rows, cols))
            Today's and the cautious surface, depressions raised [m].

        Returns
        -------
        Nest
        """
        r0, c0, r1, c1 = (int(v) for v in tree.bbox[top])
        box = slice(r0, r1), slice(c0, c1)
        window = surfaces.natural[box], filled[0][box], filled[1][box], surfaces.corridor[box]
        gathered = gather(window, tree.labels[box], int(tree.first[top]), top, CUT | FILL)
        node, at, free, natural, today, cautious = gathered
        before = np.append(0, np.cumsum(free))
        held = np.maximum(today.astype(np.float64) - natural, 0.0)
        sums = np.append(0.0, np.cumsum(natural, dtype=np.float64)), np.append(0.0, np.cumsum(held))
        lows = lowest_of_each(natural)
        return Nest((r0, c0), c1 - c0, node, at, free, natural, today, cautious, before, sums, lows)

    def pools(self, tree: Tree, nodes: NDArray[np.int64]) -> Iterator[tuple[int, Pool]]:
        """Take some pools one by one, outer ones first.

        Parameters
        ----------
        tree : Tree
        nodes : int64 (n,)
            Ascending.

        Yields
        ------
        int, Pool
        """
        begins = np.searchsorted(self.node, tree.first[nodes])
        ends = np.searchsorted(self.node, nodes, side="right")
        around: list[tuple[int, int, View]] = []
        for i, begin, end in zip(nodes[::-1].tolist(), begins[::-1].tolist(), ends[::-1].tolist(), strict=True):
            while around and begin < around[-1][0]:
                around.pop()
            size = end - begin
            if not around or around[-1][2][0].size > _SORT_FROM * size:
                around.append((begin, end, self._sorted(begin, end)))
            elif around[-1][2][0].size > 1.25 * size:
                around.append((begin, end, narrowed(around[-1][2], begin, end)))
            yield i, Pool(self, around[-1][2], begin, end)

    def _sorted(self, begin: int, end: int) -> View:
        order = np.argsort(self.natural[begin:end]).astype(np.int32)
        order += np.int32(begin)
        return order, self.natural[order], self.free[order]


@dataclass(frozen=True)
class Pool:
    """One pool of a nest: the cells begin ... end - 1."""

    nest: Nest
    view: View
    begin: int
    end: int

    @property
    def only_free(self) -> bool:
        """Whether enough ground is undug to be judged alone."""
        return 0.3 * (self.end - self.begin) <= self._free < self.end - self.begin

    @property
    def cells(self) -> int:
        """Cells of the ground that is judged."""
        return self._free if self.only_free else self.end - self.begin

    @property
    def _free(self) -> int:
        return int(self.nest.free_before[self.end] - self.nest.free_before[self.begin])

    def level(self, k: int, above: float = -np.inf) -> float:
        """Height of the k-th lowest cell of its ground.

        Parameters
        ----------
        k : int
            0 is the lowest.
        above : float
            Ground up to this height does not count [m].

        Returns
        -------
        float
            [m].
        """
        return float(level_at(self.view, self.begin, self.end, self.only_free, above, k))

    def below(self, limit: float, above: float = -np.inf) -> tuple[NDArray[np.int32], F32]:
        """Cells of its ground with heights above ... limit, the lowest first.

        Parameters
        ----------
        limit, above : float
            [m].

        Returns
        -------
        places : int32 (n,)
        heights : float32 (n,)
            [m].
        """
        found: tuple[NDArray[np.int32], F32] = lowest(self.view, self.begin, self.end, self.only_free, above, limit)
        return found

    def measured(self, spill: float, s: SiteSettings) -> Pooled | None:
        """Measure it, a pit left out.

        Parameters
        ----------
        spill : float
            [m].
        s : SiteSettings

        Returns
        -------
        Pooled or None
            None without ground near its floor.
        """
        # the 1 % quantile: one low cell is noise
        nest, low = self.nest, self.level(int(0.01 * self.cells))
        pit = self._pit(spill, low, s)
        if pit > -np.inf:
            low = self.level(int(0.01 * self.below(np.inf, pit)[0].size), pit)
        grounds = nest.natural, nest.today, nest.cautious, nest.chunks
        limit = float(low + s.deep_share * (spill - low))
        floor = grounds, nest.free, (self.begin, self.end), self.only_free, pit, limit
        cells, over, held = flat_over(*floor)
        if not cells:
            return None
        if np.isnan(over) or np.isnan(held):
            over, held = (_median(levels) for levels in levels_over(*floor))
        place = int(nest.at[self._lowest(limit, pit, float(over))].min())
        return Pooled(
            low,
            float(over),
            float(held),
            pit,
            (nest.corner[0] + place // nest.width, nest.corner[1] + place % nest.width),
        )

    def _lowest(self, limit: float, pit: float, today: float) -> NDArray[np.int32]:
        """Lowest cells of its floor; of the drained floor where they lie in a pocket that keeps its water.

        Whoever follows the water from there would find no way out of a basin that most of its floor is drained by.
        """
        places, _ = self.below(self.level(0, pit), pit)
        if float(self.nest.today[places].min()) <= today:
            return places
        # half of the floor lies no higher than its median
        places, heights = self.below(limit, pit)
        drained = self.nest.today[places] <= today
        lowest_drained: NDArray[np.int32] = places[drained & (heights == heights[drained].min())]
        return lowest_drained

    def may_hold_little(self, spill: float, s: SiteSettings) -> bool:
        """Whether it is worth asking how much water today's ground holds: told from sums over all of its cells.

        Parameters
        ----------
        spill : float
            [m].
        s : SiteSettings
            `left_share`.

        Returns
        -------
        bool
        """
        natural, held = (float(v[self.end] - v[self.begin]) for v in self.nest.sums)
        # a pit and dug ground, which count here, are seldom more of its water than that
        return held <= (s.left_share + 0.2) * ((self.end - self.begin) * spill - natural)

    def left(self, spill: float, pit: float) -> float:
        """Share of its water that today's ground still holds.

        Parameters
        ----------
        spill, pit : float
            [m].

        Returns
        -------
        float
            0-1.
        """
        nest, part = self.nest, slice(self.begin, self.end)
        grounds = nest.natural[part], nest.today[part]
        return float(share_held(grounds, nest.free[part], self.only_free, pit, spill))

    def _pit(self, spill: float, low: float, s: SiteSettings) -> float:
        """Level up to which a pit reaches, minus infinity without one [m]."""
        n, depth = self.cells, spill - low
        if depth < s.pit_from_m:
            return -np.inf
        # most of a pool with a pit lies above half its depth: cheap to ask, and seldom so
        few, half = int(s.pit_within * n), np.float32(spill - 0.5 * depth)
        low_at, walls = int(0.01 * n), int(s.pit_walls * n)
        most = low_at + walls + few
        # few hide a pit: of others some forty ranks tell that no walls can be
        ranks = np.unique([few, most, *range(low_at, most, max(1, walls // 8))])
        own = self.view, self.begin, self.end, self.only_free
        heights = levels_at(*own, ranks, int(np.searchsorted(ranks, few)), half)
        if not heights.size or not walled(ranks, heights, walls, s.pit_drop * depth):
            return -np.inf
        heights = lowest_few(*own, most)
        pit, middle = pit_levels(heights, n, (spill, low), s)
        if pit > -np.inf and slimness(self.nest.at[self.below(middle)[0]], self.nest.width) > s.pit_slim:
            return -np.inf
        return pit


def _median(levels: F32) -> float:
    """Median; that of one that most have without sorting."""
    most = float(majority(levels))
    return float(np.median(levels)) if np.isnan(most) else most
