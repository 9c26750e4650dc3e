"""From kept cells to lines: connected groups, their middle lines, and which arms run on through a junction."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.kernels import skeleton, sums
from wetscout.pieces import distinct

# direction of an arm at a junction is taken over this length
ARM_M = 12.0
# arms that turn more than this do not run on
STRAIGHT_ON_COSINE = 0.7


@dataclass(frozen=True)
class Cells:
    """Kept cells of the whole DEM, sorted by cell number.

    Attributes
    ----------
    keys : int64 (n,)
        row * cols + col.
    depth, saturation : float32 (n,)
    direction : int8 (n,)
    cols : int
        Columns of the whole DEM.
    """

    keys: NDArray[np.int64]
    depth: NDArray[np.float32]
    saturation: NDArray[np.float32]
    direction: NDArray[np.int8]
    cols: int

    def where(self, mask: NDArray[np.bool_]) -> Cells:
        """The cells of a mask.

        Parameters
        ----------
        mask : bool (n,)
            One for each cell.

        Returns
        -------
        Cells
        """
        return replace(
            self,
            keys=self.keys[mask],
            depth=self.depth[mask],
            saturation=self.saturation[mask],
            direction=self.direction[mask],
        )


@dataclass(frozen=True)
class Line:
    """A line on its way to becoming a ditch or an embankment.

    Attributes
    ----------
    row, col : float64 (n,)
        Points [cells].
    sure : bool
        False for lines found with the lower thresholds.
    """

    row: NDArray[np.float64]
    col: NDArray[np.float64]
    sure: bool = True

    @cached_property
    def xy(self) -> NDArray[np.float64]:
        """Points as (n, 2), row first; not to be changed."""
        return np.column_stack((self.row, self.col))

    def length(self, cell_m: float) -> float:
        """Length along the points [m].

        Parameters
        ----------
        cell_m : float
            Cell size [m].

        Returns
        -------
        float
            [m].
        """
        return self._cells * cell_m

    @cached_property
    def _cells(self) -> float:
        return float(sums.length(self.xy))


def line_of(points: NDArray[np.float64], sure: bool = True) -> Line:
    """Line from points (n, 2), row first.

    Parameters
    ----------
    points : float64 (n, 2)
        [cells]; not to be changed afterwards.
    sure : bool
        Whether the line is listed.

    Returns
    -------
    Line
    """
    p = np.ascontiguousarray(points, dtype=np.float64)
    line = Line(p[:, 0].copy(), p[:, 1].copy(), sure)
    # the points are at hand: putting them together again took a tenth of the time of short lines
    line.__dict__["xy"] = p
    return line


def groups_kept(
    cells: Cells, seed: NDArray[np.bool_], cell_m: float, least_m: float, seed_share: float
) -> NDArray[np.bool_]:
    """Cells of connected groups that are long enough and hold enough seeds.

    Parameters
    ----------
    cells : Cells
    seed : bool (n,)
        Cells that are deep and sharp.
    cell_m : float
        Cell size [m].
    least_m : float
        Least number of cells times cell size [m].
    seed_share : float
        Least share of seeds.

    Returns
    -------
    bool (n,)
        Decided on whole groups only, so it does not depend on tiles. Groups are formed with gaps of one cell closed.
    """
    if cells.keys.size == 0:
        return np.zeros(0, dtype=np.bool_)
    thick = thicken(cells.keys, cells.cols)
    label = skeleton.components(neighbours(thick, cells.cols))
    own = label[np.searchsorted(thick, cells.keys)]
    size = np.bincount(own, minlength=thick.size)
    seeds = np.bincount(own, weights=seed.astype(np.float64), minlength=thick.size)
    good = (size * cell_m >= least_m) & (seeds >= seed_share * size)
    kept: NDArray[np.bool_] = good[own]
    return kept


def neighbours(keys: NDArray[np.int64], cols: int) -> NDArray[np.int32]:
    """Index of each of the eight neighbours of each cell.

    Parameters
    ----------
    keys : int64 (n,)
        Sorted cell numbers, row * cols + col.
    cols : int
        Columns of the raster.

    Returns
    -------
    int32 (n, 8)
        See `kernels.skeleton.neighbour_table`.
    """
    out = large.empty((keys.size, 8), np.int32)
    skeleton.neighbour_table(keys, cols, out)
    return out


def thicken(keys: NDArray[np.int64], cols: int) -> NDArray[np.int64]:
    """Cell numbers with their eight neighbours, sorted; nothing wraps round the sides.

    Parameters
    ----------
    keys : int64 (n,)
        Cell numbers, row * cols + col.
    cols : int
        Columns of the raster.

    Returns
    -------
    int64 (m,)
    """
    col = keys % cols
    wide = distinct(np.concatenate([keys[col > 0] - 1, keys, keys[col < cols - 1] + 1]))
    return distinct(np.concatenate([wide[wide >= cols] - cols, wide, wide + cols]))


def middle_lines(keys: NDArray[np.int64], cols: int, cell_m: float, spur_m: float) -> list[Line]:
    """Middle lines of a set of cells, run on through junctions where two arms are nearly straight.

    Parameters
    ----------
    keys : int64 (n,)
        Sorted cell numbers.
    cols : int
        Columns of the whole DEM.
    cell_m : float
        Cell size [m].
    spur_m : float
        Free side branches shorter than this are cut [m].

    Returns
    -------
    list of Line
        In order of their first cell.
    """
    if keys.size == 0:
        return []
    # up to 2 m cells a gap of one cell is closed by thickening; with coarser ones that would join neighbours
    cells = thicken(keys, cols) if cell_m <= 2.0 else keys
    # only the cells that stay are linked: of a county's lines a fifth, and the tables take 150 bytes a cell
    cells = cells[skeleton.skeleton(neighbours(cells, cols))]
    link, degree = skeleton.links(neighbours(cells, cols), np.ones(cells.size, dtype=np.bool_))
    path, start = skeleton.walk_edges(link, degree)
    row, col = np.divmod(cells, cols)
    edges = [path[start[i] : start[i + 1]] for i in range(start.size - 1)]
    points = np.column_stack((row, col)).astype(np.float64)
    edges = _without_spurs(edges, points, spur_m / cell_m)
    chains = _run_on(edges, points, ARM_M / cell_m)
    return [line_of(points[c]) for c in chains if c.size > 1]


def _edge_length(edge: NDArray[np.int64], points: NDArray[np.float64]) -> float:
    return float(np.hypot(*np.diff(points[edge], axis=0).T).sum())


def _without_spurs(edges: list[NDArray[np.int64]], points: NDArray[np.float64], spur: float) -> list[NDArray[np.int64]]:
    """Drop edges with one free end that are shorter than `spur` cells."""
    count: dict[int, int] = defaultdict(int)
    for e in edges:
        count[int(e[0])] += 1
        count[int(e[-1])] += 1
    kept = []
    for e in edges:
        ends = sorted((count[int(e[0])], count[int(e[-1])]))
        if ends[0] == 1 and ends[1] > 2 and _edge_length(e, points) < spur:
            continue
        kept.append(e)
    return kept


def _run_on(edges: list[NDArray[np.int64]], points: NDArray[np.float64], reach: float) -> list[NDArray[np.int64]]:
    """Join edges at shared nodes, straightest pairs first."""
    at_node: dict[int, list[tuple[int, bool]]] = defaultdict(list)
    for i, e in enumerate(edges):
        if e[0] == e[-1]:
            continue
        at_node[int(e[0])].append((i, False))
        at_node[int(e[-1])].append((i, True))
    partner: dict[tuple[int, bool], tuple[int, bool]] = {}
    start = np.cumsum([0, *(e.size for e in edges)])
    ways = skeleton.arms(np.concatenate(edges), start, points, reach).tolist() if edges else []
    for node in sorted(at_node):
        ends = at_node[node]
        arms = [ways[i][b] for i, b in ends]
        pairs = sorted(
            (arms[a][0] * arms[b][0] + arms[a][1] * arms[b][1], a, b)
            for a in range(len(ends))
            for b in range(a + 1, len(ends))
        )
        free = set(range(len(ends)))
        for turn, a, b in pairs:
            if a in free and b in free and (turn < -STRAIGHT_ON_COSINE or len(ends) == 2):
                free -= {a, b}
                partner[ends[a]] = ends[b]
                partner[ends[b]] = ends[a]
    return _chains(edges, partner)


def _chains(
    edges: list[NDArray[np.int64]], partner: dict[tuple[int, bool], tuple[int, bool]]
) -> list[NDArray[np.int64]]:
    """Follow partners from free ends; rings of partners are opened at their first edge."""
    done = [False] * len(edges)
    chains = []
    for free_only in (True, False):
        for i in range(len(edges)):
            for side in (False, True):
                if done[i] or (free_only and (i, side) in partner):
                    continue
                chain: list[NDArray[np.int64]] = []
                at, entry = i, side
                while not done[at]:
                    done[at] = True
                    e = edges[at][::-1] if entry else edges[at]
                    chain.append(e if not chain else e[1:])
                    ahead = partner.get((at, not entry))
                    if ahead is None:
                        break
                    at, entry = ahead
                chains.append(np.concatenate(chain))
    return chains
