"""Cells of the basin tree: which pool holds each, and what the pools measure.

Areas are counted in cells and depths in whole 2**-14 m (0.06 mm), so sums are exact in any order.
"""

from __future__ import annotations

import numpy as np
from numba import njit

QUANTA = 16384.0


@njit(nogil=True, cache=True)
def pass_cells(z, label, parent, level, code):
    """The passes of the spanning tree, in the order of the pits that took them.

    Returns ends (m, 2) int32, labels at both ends; height (m, 2) like z, level and height of the lower cell;
    place (m,) int64, their codes.
    """
    cols = z.shape[1]
    ground = z.reshape(-1)
    line = label.reshape(-1)
    step = (1, cols - 1, cols, cols + 1)
    ends = np.empty((parent.size, 2), np.int32)
    height = np.empty((parent.size, 2), z.dtype)
    place = np.empty(parent.size, np.int64)
    m = 0
    for p in range(1, parent.size):
        if parent[p] >= 0:
            a = code[p] >> 2
            b = a + step[code[p] & 3]
            ends[m, 0] = line[a]
            ends[m, 1] = line[b]
            # -0 and +0 are one level: a sum with +0 is +0
            height[m, 0] = level[p] + np.float32(0)
            height[m, 1] = min(ground[a], ground[b])
            place[m] = code[p]
            m += 1
    return ends[:m], height[:m], place[:m]


@njit(nogil=True, cache=True)
def arrange(order, ends, height):
    """Ends and levels of passes in a given order."""
    sorted_ends = np.empty((order.size, 2), np.int32)
    level = np.empty(order.size, height.dtype)
    for k in range(order.size):
        sorted_ends[k, 0] = ends[order[k], 0]
        sorted_ends[k, 1] = ends[order[k], 1]
        level[k] = height[order[k], 0]
    return sorted_ends, level


@njit(nogil=True, cache=True)
def describe(z, links, which, passes, level, pits):
    """Heights and cells of every node.

    links and which from the tree; passes = (order, codes) of the spanning tree, level sorted. Returns heights
    (nodes, 2) float64: floor, spill level [m]; cells (nodes, 4) int64: row and column of the floor, of the spill cell,
    the higher one of the pass (the first among equals); behind (nodes,) int32: pit behind the pass.
    """
    order, code = passes
    cols = z.shape[1]
    ground = z.reshape(-1)
    step = (1, cols - 1, cols, cols + 1)
    heights = np.empty((which.size, 2), np.float64)
    cells = np.empty((which.size, 4), np.int64)
    behind = np.empty(which.size, np.int32)
    for k in range(which.size):
        link = which[k]
        behind[k] = links[link, 6]
        floor = pits[links[link, 4]]
        place = code[order[links[link, 5]]]
        a = place >> 2
        b = a + step[place & 3]
        spill = b if ground[b] > ground[a] else a
        heights[k, 0] = ground[floor]
        heights[k, 1] = level[links[link, 3]]
        cells[k, 0] = floor // cols
        cells[k, 1] = floor - cells[k, 0] * cols
        cells[k, 2] = spill // cols
        cells[k, 3] = spill - cells[k, 2] * cols
    return heights, cells, behind


@njit(nogil=True, cache=True)
def pit_levels(node, spill, above):
    """Spill levels of the innermost and of the outermost basin around each pit: (pits + 1, 2) like spill.

    Pits are numbered as they lie, nodes are not: most cells need no more than this. -inf where there is none.
    """
    top = np.empty(spill.size, spill.dtype)
    for k in range(spill.size - 1, -1, -1):
        top[k] = spill[k] if above[k] < 0 else top[above[k]]
    out = np.full((node.size, 2), -np.inf, spill.dtype)
    for p in range(1, node.size):
        if node[p] >= 0:
            out[p, 0] = spill[node[p]]
            out[p, 1] = top[node[p]]
    return out


@njit(nogil=True, cache=True)
def ladder(spill, above, jump):
    """What climbing needs of a node, side by side: spill levels of itself and of the node its jump leads to (nodes, 2);
    the node above and the jump (nodes, 2) int32."""
    rungs = np.empty((spill.size, 2), spill.dtype)
    ways = np.empty((spill.size, 2), np.int32)
    for k in range(spill.size):
        rungs[k, 0] = spill[k]
        rungs[k, 1] = spill[jump[k]] if jump[k] >= 0 else np.inf
        ways[k, 0] = above[k]
        ways[k, 1] = jump[k]
    return rungs, ways


@njit(nogil=True, cache=True)
def place(z, label, node, levels, rungs, ways, pool):
    """Put every cell into the innermost pool that holds it.

    z, label and pool are flat strips; node (pits + 1,) from the tree; levels from `pit_levels`; rungs and ways from
    `ladder`. Cells above all pools, outside and walls (+inf) get -1.
    """
    for i in range(z.size):
        p = label[i]
        h = z[i]
        if h >= levels[p, 1]:
            pool[i] = -1
            continue
        k = node[p]
        if h >= levels[p, 0]:
            while rungs[k, 0] <= h:
                k = ways[k, 1] if rungs[k, 1] <= h else ways[k, 0]
        pool[i] = k


@njit(nogil=True, cache=True)
def hand_over(z, label, catchment):
    """Turn pit labels into the leaf whose catchment the cell belongs to, in place; walls (+inf) get -1."""
    for i in range(label.size):
        label[i] = catchment[label[i]] if z[i] != np.inf else -1


@njit(nogil=True, cache=True)
def quanta(h):
    """A height in whole 2**-14 m."""
    return np.int64(np.rint(np.float64(h) * QUANTA))


@njit(nogil=True, cache=True)
def measure(z, label, pool, node, rows, own, own_box, sums, box):
    """Add the cells of rows[0] to rows[1] to the pits and nodes that hold them.

    z, label, pool (rows, cols); node (pits + 1,). Added to, in place: own (pits + 1, 3) int64: cells of each pit, of
    its lowest pool, minus their heights in quanta; own_box (pits + 1, 4) int32 window of that pool: row0, col0, row1, col1,
    half open; sums (nodes, 2) int64 and box (nodes, 4): the same of cells in pools that hold several pits. A pit's own
    lowest water is summed by pit, since pits lie in memory as they lie on the ground.
    """
    cols = z.shape[1]
    for i in range(rows[0], rows[1]):
        for j in range(cols):
            p = label[i, j]
            if p == 0 or z[i, j] == np.inf:
                continue
            own[p, 0] += 1
            k = pool[i, j]
            if k < 0:
                continue
            height = quanta(z[i, j])
            if k == node[p]:
                own[p, 1] += 1
                own[p, 2] -= height
                _include(own_box, p, i, j)
            else:
                sums[k, 0] += 1
                sums[k, 1] -= height
                _include(box, k, i, j)


@njit(nogil=True, cache=True)
def bring_in(part, more):
    """Add one part of `measure` (own, own_box, sums, box) to another, in place."""
    own, own_box, sums, box = part
    own += more[0]
    sums += more[2]
    for p in range(own_box.shape[0]):
        _widen(own_box, p, more[1], p)
    for k in range(box.shape[0]):
        _widen(box, k, more[3], k)


@njit(nogil=True, cache=True)
def add_up(part, node, spill):
    """Bring what was summed by pit to the nodes, in place; depths then count from each node's spill level."""
    own, own_box, sums, box = part
    for p in range(1, node.size):
        k = node[p]
        if k >= 0 and own[p, 1] > 0:
            sums[k, 0] += own[p, 1]
            sums[k, 1] += own[p, 2]
            _widen(box, k, own_box, p)
    for k in range(spill.size):
        sums[k, 1] += sums[k, 0] * quanta(spill[k])


@njit(nogil=True, cache=True)
def _include(box, k, i, j):
    box[k, 0] = min(box[k, 0], i)
    box[k, 1] = min(box[k, 1], j)
    box[k, 2] = max(box[k, 2], i + 1)
    box[k, 3] = max(box[k, 3], j + 1)


@njit(nogil=True, cache=True)
def _widen(box, k, other, m):
    box[k, 0] = min(box[k, 0], other[m, 0])
    box[k, 1] = min(box[k, 1], other[m, 1])
    box[k, 2] = max(box[k, 2], other[m, 2])
    box[k, 3] = max(box[k, 3], other[m, 3])


@njit(nogil=True, cache=True)
def drained(own, catchment, count):
    """Cells that drain to each leaf: int64 (count,), from own of `measure`."""
    out = np.zeros(count, np.int64)
    for p in range(1, own.shape[0]):
        if catchment[p] >= 0:
            out[catchment[p]] += own[p, 0]
    return out


@njit(nogil=True, cache=True)
def gather(above, spill, sums, catchment, box, edge):
    """Add children to parents, in place; nodes are in postorder."""
    for k in range(above.size):
        t = above[k]
        if t < 0:
            continue
        sums[t, 0] += sums[k, 0]
        sums[t, 1] += sums[k, 1] + sums[k, 0] * (quanta(spill[t]) - quanta(spill[k]))
        catchment[t] += catchment[k]
        edge[t] |= edge[k]
        _widen(box, t, box, k)


@njit(nogil=True, cache=True)
def _unknown(z, i, j):
    """True on the raster's border, on an outlet inside it, on a wall."""
    rows, cols = z.shape
    return i == 0 or j == 0 or i == rows - 1 or j == cols - 1 or abs(z[i, j]) == np.inf


@njit(nogil=True, cache=True)
def touch(z, pool, inner, spill_cell, edge):
    """Set edge (nodes,) to 1 where the pool or the spill cell touches the border, an outlet or a wall.

    inner: whether there are outlets or walls within the raster.
    """
    rows, cols = z.shape
    for i in range(rows):
        step = 1 if inner or i == 0 or i == rows - 1 else max(cols - 1, 1)
        for j in range(0, cols, step):
            if not _unknown(z, i, j):
                continue
            for y in range(max(i - 1, 0), min(i + 2, rows)):
                for x in range(max(j - 1, 0), min(j + 2, cols)):
                    if pool[y, x] >= 0:
                        edge[pool[y, x]] = 1
    for k in range(edge.size):
        i, j = spill_cell[k, 0], spill_cell[k, 1]
        if not inner and 1 < i < rows - 2 and 1 < j < cols - 2:
            continue
        for y in range(max(i - 1, 0), min(i + 2, rows)):
            for x in range(max(j - 1, 0), min(j + 2, cols)):
                if _unknown(z, y, x):
                    edge[k] = 1


@njit(nogil=True, cache=True)
def windows(labels, above):
    """Window (row0, col0, row1, col1, half open) of each node with its children, int32 (nodes, 4)."""
    rows, cols = labels.shape
    box = np.empty((above.size, 4), np.int32)
    box[:, :2] = max(rows, cols)
    box[:, 2:] = 0
    for i in range(rows):
        for j in range(cols):
            k = labels[i, j]
            if k >= 0:
                _include(box, k, i, j)
    for k in range(above.size):
        if above[k] >= 0:
            _widen(box, above[k], box, k)
    return box
