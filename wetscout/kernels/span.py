"""Cheapest ways from many cells at once."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled
from wetscout.kernels.heap import heap_of, pop, push, wider


@compiled
def spread_cost(cost, sources, region, step_m):
    """Least cost from any of some cells to every cell of a region, over the eight neighbours.

    A step costs the mean of both cells times its length. Dijkstra (1959); ties are settled by the order in which cells
    were reached.

    Parameters
    ----------
    cost : float64 (rows, cols)
        Cost of a metre, above 0.
    sources : bool (rows, cols)
        Cells of the region to begin from.
    region : bool (rows, cols)
        Cells that may be entered.
    step_m : float
        Cell size [m].

    Returns
    -------
    paid : float64 (rows, cols)
        Infinite where no way leads.
    came : int64 (rows, cols)
        Number of the cell before, -1 at a source, -2 where no way leads.
    """
    rows, cols = cost.shape
    paid = np.empty((rows, cols))
    came = np.empty((rows, cols), np.int64)
    heap, size = heap_of(np.int64(64)), np.int64(0)
    order = np.int64(0)
    for r in range(rows):
        for c in range(cols):
            paid[r, c] = np.inf
            came[r, c] = -2
            if sources[r, c] and region[r, c]:
                paid[r, c] = 0.0
                came[r, c] = -1
                order += 1
                if size == heap[0].size:
                    heap = wider(heap)
                size = push(heap, size, 0.0, order, r * cols + c)
    while size > 0:
        so_far, at, size = pop(heap, size)
        r = at // cols
        c = at - r * cols
        if so_far > paid[r, c]:
            continue
        for dr in range(-1, 2):
            for dc in range(-1, 2):
                rr = r + dr
                cc = c + dc
                if (dr == 0 and dc == 0) or rr < 0 or cc < 0 or rr >= rows or cc >= cols or not region[rr, cc]:
                    continue
                length = step_m * np.sqrt(np.float64(dr * dr + dc * dc))
                total = so_far + 0.5 * (cost[r, c] + cost[rr, cc]) * length
                if total < paid[rr, cc]:
                    paid[rr, cc] = total
                    came[rr, cc] = at
                    order += 1
                    if size == heap[0].size:
                        heap = wider(heap)
                    size = push(heap, size, total, order, rr * cols + cc)
    return paid, came


@compiled
def cheapest_beside(paid, cost, at, step):
    """Cheapest way to a cell from one of its eight neighbours.

    Parameters
    ----------
    paid, cost : float64 (rows, cols)
        As in `spread_cost`.
    at : (int, int)
        The cell.
    step : (float, float)
        Cell size [m], and the length of a step over a corner in cells.

    Returns
    -------
    price : float
        Infinite where none leads there.
    before : int
        Number of the neighbour, the first of equals; 0 without one in the window.
    """
    r, c = at
    cell_m, corner = step
    least = np.inf
    before = np.int64(-1)
    for rr in range(max(0, r - 1), min(paid.shape[0], r + 2)):
        for cc in range(max(0, c - 1), min(paid.shape[1], c + 2)):
            if rr == r and cc == c:
                continue
            length = corner if rr != r and cc != c else 1.0
            price = paid[rr, cc] + 0.5 * (cost[rr, cc] + cost[r, c]) * cell_m * length
            if before < 0 or price < least:
                least = price
                before = np.int64(rr * paid.shape[1] + cc)
    return least, max(before, np.int64(0))
