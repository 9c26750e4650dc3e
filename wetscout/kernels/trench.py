"""The way along which a trench would be least deep, from a floor to an open ditch."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled
from wetscout.kernels.heap import heap_of, pop, push, wider


@compiled
def least_trench(z, bed, start_row, start_col, level, grade, least, step_m):
    """Cheapest way from a cell to the first ditch low enough to take a pipe, where depth squared times length costs.

    The depth of the trench at a cell is the ground there less the pipe, which leaves the start at `level` and falls
    by `grade` along the way; a trench is never shallower than `least`. Depth squared stands for the earth of a trench
    with sloping sides, so a short deep cut through a rim competes with a long way round it. Dijkstra (1959) over the
    eight neighbours; ties are settled by the order in which cells were reached.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m]; NaN is not crossed.
    bed : float32 (rows, cols)
        Level a mouth may have at cells of open ditches [m]; NaN where there is no ditch.
    start_row, start_col : int
        Floor cell.
    level : float
        Pipe at the start [m].
    grade : float
        Fall per length [-].
    least : float
        Least depth of the trench [m].
    step_m : float
        Cell size [m].

    Returns
    -------
    rows, cols : int64 (n,)
        Cells of the way; empty when no ditch is low enough.
    deepest : float
        Greatest depth of the trench [m]; 0 for an empty way.
    """
    rows, cols = z.shape
    came = np.empty(rows * cols, np.int64)
    cost = np.empty(rows * cols)
    far = np.empty(rows * cols)
    for i in range(rows * cols):
        cost[i] = np.inf
    first = start_row * cols + start_col
    came[first] = -1
    cost[first] = 0.0
    far[first] = 0.0
    order = np.int64(0)
    heap = heap_of(np.int64(64))
    size = push(heap, np.int64(0), 0.0, order, first)
    last = np.int64(-1)
    while size > 0:
        paid, at, size = pop(heap, size)
        if paid > cost[at]:
            continue
        r = at // cols
        c = at - r * cols
        low = np.float64(bed[r, c])
        if low == low and low <= level - grade * far[at]:
            last = at
            break
        for dr in range(-1, 2):
            for dc in range(-1, 2):
                if dr == 0 and dc == 0:
                    continue
                rr = r + dr
                cc = c + dc
                if rr < 0 or cc < 0 or rr >= rows or cc >= cols:
                    continue
                value = np.float64(z[rr, cc])
                if value != value:
                    continue
                length = step_m * np.sqrt(np.float64(dr * dr + dc * dc))
                gone = far[at] + length
                depth = max(value - (level - grade * gone), least)
                total = paid + length * depth * depth
                to = rr * cols + cc
                if total < cost[to]:
                    cost[to] = total
                    far[to] = gone
                    came[to] = at
                    order += 1
                    if size == heap[0].size:
                        heap = wider(heap)
                    size = push(heap, size, total, order, to)
    n = 0
    at = last
    while at >= 0:
        n += 1
        at = came[at]
    way_r = np.empty(n, np.int64)
    way_c = np.empty(n, np.int64)
    deepest = 0.0
    at = last
    for i in range(n - 1, -1, -1):
        way_r[i] = at // cols
        way_c[i] = at - way_r[i] * cols
        deepest = max(deepest, np.float64(z[way_r[i], way_c[i]]) - (level - grade * far[at]), least)
        at = came[at]
    return way_r, way_c, deepest
