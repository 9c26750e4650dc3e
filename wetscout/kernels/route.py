"""How water leaves a basin over a surface: the way with the lowest highest point."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled
from wetscout.kernels.heap import heap_of, pop, push, wider


@compiled
def way_out(z, inside, start_row, start_col, beyond):
    """Least-highest way from a cell to ground outside a region, followed on downhill.

    Cells are flooded from the start in order of the level water must reach to get there. The first cell popped that
    lies outside `inside` may be the exit; the flood goes on until a way has led `beyond` steps out without coming back,
    or reaches the border of the array, or unknown ground. A ditch that skirts the pool may leave and enter it several
    times: the last time counts.

    Parameters
    ----------
    z : float32 (rows, cols)
        Surface [m]; NaN is outside.
    inside : bool (rows, cols)
        The region to leave.
    start_row, start_col : int
        A cell of the region.
    beyond : int
        How many cells to follow the way after the exit.

    Returns
    -------
    rows, cols : int64 (n,)
        Cells of the way, from the start.
    level : float
        Highest level on the way up to the exit [m].
    exit_at : int
        Index of the first cell outside for good; n - 1 if the flood ended there.
    open_end : bool
        True if the way ended at the array border or at unknown ground before it had left the region.
    """
    rows, cols = z.shape
    came = np.empty(rows * cols, np.int64)
    steps_out = np.empty(rows * cols, np.int32)
    for i in range(rows * cols):
        came[i] = -2
    first = start_row * cols + start_col
    came[first] = -1
    level = np.float64(z[start_row, start_col])
    steps_out[first] = 0
    order = np.int64(0)
    heap = heap_of(np.int64(64))
    size = push(heap, np.int64(0), level, order, first)
    # cells that water reaches at the level it stands at wait in a line, in their order: no heap is needed for these
    waits, number = np.empty(rows * cols, np.int64), np.empty(rows * cols, dtype=np.int64)
    head = tail = np.int64(0)
    line_level = level
    last = first
    while size > 0 or head < tail:
        key = heap[0][0] if size > 0 else np.inf
        if head < tail and (line_level < key or (line_level == key and number[head] < heap[1][0])):
            at_level, at = line_level, waits[head]
            head += 1
        else:
            at_level, at, size = pop(heap, size)
        r = at // cols
        c = at - r * cols
        out = steps_out[at]
        last = at
        if out >= beyond:
            break
        border = r == 0 or c == 0 or r == rows - 1 or c == cols - 1
        if border:
            break
        stop = False
        for dr in range(-1, 2):
            for dc in range(-1, 2):
                if dr == 0 and dc == 0:
                    continue
                rr = r + dr
                cc = c + dc
                to = rr * cols + cc
                if came[to] != -2:
                    continue
                value = np.float64(z[rr, cc])
                if value != value:
                    stop = True
                    continue
                came[to] = at
                steps_out[to] = 0 if inside[rr, cc] else out + 1
                order += 1
                # outside, the lowest ground goes first, so the way keeps to the bed instead of spreading
                key = max(value, at_level) if steps_out[to] == 0 else value
                if head == tail:
                    head = tail = np.int64(0)
                if key == (line_level if head < tail else at_level):
                    line_level, waits[tail], number[tail] = key, to, order
                    tail += 1
                    continue
                if size == heap[0].size:
                    heap = wider(heap)
                size = push(heap, size, key, order, to)
        if stop:
            break
    n = 0
    at = last
    while at >= 0:
        n += 1
        at = came[at]
    way_r = np.empty(n, np.int64)
    way_c = np.empty(n, np.int64)
    at = last
    i = n - 1
    while at >= 0:
        way_r[i] = at // cols
        way_c[i] = at - way_r[i] * cols
        at = came[at]
        i -= 1
    exit_at = n - 1
    for i in range(n - 1, -1, -1):
        if inside[way_r[i], way_c[i]]:
            break
        exit_at = i
    level = np.float64(z[way_r[0], way_c[0]])
    for i in range(exit_at + 1):
        level = max(level, np.float64(z[way_r[i], way_c[i]]))
    return way_r, way_c, level, exit_at, steps_out[last] == 0


@compiled
def passes(rows, cols, first, last, corridor, bit, discs):
    """Whether part of a way lies on cells with a bit set, or comes near to any of some places.

    Parameters
    ----------
    rows, cols : int64 (n,)
        The way [cells].
    first, last : int
        The part, half open.
    corridor : uint8 (h, w)
    bit : int
    discs : float64 (k, 3)
        Row and column of each place, and what counts as near [cells].

    Returns
    -------
    bool
    """
    last = min(last, rows.size)
    for i in range(first, last):
        if corridor[rows[i], cols[i]] & bit:
            return True
    for k in range(discs.shape[0]):
        for i in range(first, last):
            if np.hypot(rows[i] - discs[k, 0], cols[i] - discs[k, 1]) <= discs[k, 2]:
                return True
    return False
