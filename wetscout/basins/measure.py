"""What the basins measure: which pool holds each cell, and the columns of the table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wetscout import large
from wetscout.basins.graph import Crew
from wetscout.basins.nodes import Items
from wetscout.kernels import number, pools

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
F64 = NDArray[np.float64]
Floats = NDArray[np.floating[Any]]
# cells that drain to each pit; cells and minus their heights in its own pool; the same by junction
Sums = tuple[I32, I64, I64]


@dataclass(frozen=True)
class Columns:
    """Columns of the table, see `tree.BasinTree`; area and depth without those of nested basins until gathered."""

    parent: I32
    first: I32
    spill_to: I32
    floor_m: F64
    spill_m: F64
    floor_at: I64
    spill_at: I64
    area_cells: I64
    depth_quanta: I64


@dataclass(frozen=True)
class Ladder:
    """What is looked up to put a cell into its pool.

    Attributes
    ----------
    levels, up, rungs, brims, ways, held, spot : array
        See `kernels.pools`.
    number : int32 (items,)
        Innermost node.
    """

    levels: Floats
    up: I32
    rungs: Floats
    brims: Floats
    ways: I32
    held: I32
    spot: I32
    number: I32

    @property
    def base(self) -> int:
        """Items before the first junction."""
        return int(self.up.size)

    def room(self) -> Sums:
        """Sums to add to, all 0."""
        count = self.ways.shape[0]
        return (
            large.zeros(self.base, np.int32),
            large.zeros((self.base, 2), np.int64),
            large.zeros((count, 2), np.int64),
        )

    def place(self, z: Floats, label: I32, pool: I32, sums: Sums) -> None:
        """Put the cells of a strip into their pools and add them up; flat arrays.

        Parameters
        ----------
        z : float32 or float64 (cells,)
            [m]
        label : int32 (cells,)
            Pits.
        pool : int32 (cells,)
            Written.
        sums : Sums
            Added to.
        """
        pits, ladder = (self.levels, self.up, self.number), (self.rungs, self.brims, self.ways, self.held)
        pools.place((z, label, pool), pits, ladder, sums)


def ladder_of(items: Items, crew: Crew) -> Ladder:
    """Prepare the look-up.

    Parameters
    ----------
    items : Items
    crew : Crew

    Returns
    -------
    Ladder
    """
    base, table, level, above = items.floor.size, items.table, items.level, items.above
    free = np.cumsum([0, *(last - first for first, last in items.junctions)]).tolist()
    count = free[-1]
    spot = large.empty(table.shape[0] - base, np.int32)
    held, ways = large.empty(count, np.int32), large.empty((count, 2), np.int32)
    rungs, brims, tops = (large.empty(count, level.dtype) for _ in range(3))
    levels, up = large.empty((base, 2), level.dtype), large.empty(base, np.int32)
    levels[0] = -np.inf

    def stand(k: int) -> None:
        ladder = (spot, rungs, brims, tops, ways, held)
        pools.ladders(table, above, items.number, items.junctions[k], level, base, free[k], ladder)

    # junctions of the whole hold those of the strips
    stand(len(free) - 2)
    crew.map(stand, range(len(free) - 2))
    crew.map(lambda span: pools.pit_levels(table, level, above, span, base, (spot, tops), levels, up), items.pits)
    return Ladder(levels, up, rungs, brims, ways, held, spot, items.number)


def add(sums: list[Sums], crew: Crew) -> Sums:
    """Sums of all parts, in the first of them.

    Parameters
    ----------
    sums : list of Sums
    crew : Crew

    Returns
    -------
    Sums
    """
    for more in sums[1:]:
        crew.map(np.add, sums[0], more, sums[0])
    return sums[0]


def columns_of(items: Items, places: tuple[I64, I64], cols: int, measured: tuple[I32, Sums], crew: Crew) -> Columns:
    """Write what is known of the nodes.

    Parameters
    ----------
    items : Items
    places : (int64 (pits + 1,), int64 (pits + 1,))
        Flat index of each pit; code of the pass it took.
    cols : int
        Columns of the raster.
    measured : (int32 (junctions,), Sums)
        Place of each junction on the ladder; what its cells add up to.
    crew : Crew

    Returns
    -------
    Columns
    """
    parent, first, spill_to = (np.empty(items.nodes, np.int32) for _ in range(3))
    floor_m, spill_m = (np.empty(items.nodes, np.float64) for _ in range(2))
    floor_at, spill_at, area, depth = (np.empty(items.nodes, np.int64) for _ in range(4))
    nodes = (parent, first, spill_to, floor_m, spill_m, floor_at, spill_at, area, depth)
    passes, pits = (items.level, places[1]), (items.floor, places[0], items.leaf)
    numbers = (items.above, items.number, measured[0])
    _, own, wider = measured[1]
    crew.map(
        lambda span: number.describe(cols, items.table, passes, pits, numbers, (own, wider), span, nodes),
        (*items.pits, *items.junctions),
    )
    number.add_joined(items.table, items.number, own, spill_m, area, depth)
    return Columns(*nodes)


def catchments_of(items: Items, sums: Sums) -> I64:
    """Cells that drain to each leaf, without those of nested basins until gathered.

    Parameters
    ----------
    items : Items
    sums : Sums

    Returns
    -------
    int64 (nodes,)
    """
    out: I64 = large.zeros(items.nodes, np.int64)
    pools.drained(sums[0], items.leaf, out)
    return out
