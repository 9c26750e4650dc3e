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
    levels, up, rungs, ways : array
        See `kernels.pools`.
    number : int32 (items,)
        Innermost node.
    """

    levels: Floats
    up: I32
    rungs: Floats
    ways: I32
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
        pits, ways = (self.levels, self.up, self.number), (self.rungs, self.ways)
        pools.place((z, label, pool), pits, ways, self.base, self.number, sums)


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
    count = table.shape[0] - base
    rungs, ways = large.empty((count, 2), level.dtype), large.empty((count, 2), np.int32)
    top, depth = large.empty(count, level.dtype), large.empty(count, np.int32)
    levels, up = large.empty((base, 2), level.dtype), large.empty(base, np.int32)
    levels[0] = -np.inf
    # junctions of the whole hold those of the strips
    pools.ladders(table, level, above, items.junctions[-1], base, (rungs, ways, top, depth))
    crew.map(
        lambda span: pools.ladders(table, level, above, span, base, (rungs, ways, top, depth)), items.junctions[:-1]
    )
    crew.map(lambda span: pools.pit_levels(table, level, above, span, base, top, levels, up), items.pits)
    return Ladder(levels, up, rungs, ways, items.number)


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


def columns_of(items: Items, places: tuple[I64, I64], cols: int, sums: Sums, crew: Crew) -> Columns:
    """Write what is known of the nodes.

    Parameters
    ----------
    items : Items
    places : (int64 (pits + 1,), int64 (pits + 1,))
        Flat index of each pit; code of the pass it took.
    cols : int
        Columns of the raster.
    sums : Sums
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
    numbers = (items.chain, items.above, items.number)
    _, own, wider = sums
    crew.map(
        lambda span: number.describe(cols, items.table, passes, pits, numbers, (own, wider), span, nodes),
        (*items.pits, *items.junctions),
    )
    number.add_joined(items.table, items.number, own, spill_m, area, depth)
    return Columns(*nodes)
