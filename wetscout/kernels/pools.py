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

    Returns ends (m, 2) int32, labels at both ends; height (m, 2) float64, level and height of the lower cell;
    place (m, 2) int64, code and flat index of the spill cell, the higher one (the first among equals).
    """
    cols = z.shape[1]
    ground = z.reshape(-1)
    line = label.reshape(-1)
    step = (1, cols - 1, cols, cols + 1)
    ends = np.empty((parent.size, 2), np.int32)
    height = np.empty((parent.size, 2), np.float64)
    place = np.empty((parent.size, 2), np.int64)
    m = 0
    for p in range(1, parent.size):
        if parent[p] >= 0:
            a = code[p] >> 2
            b = a + step[code[p] & 3]
            ends[m, 0] = line[a]
            ends[m, 1] = line[b]
            # -0 and +0 are one level: a sum with +0 is +0
            height[m, 0] = level[p] + 0.0
            height[m, 1] = min(ground[a], ground[b])
            place[m, 0] = code[p]
            place[m, 1] = b if ground[b] > ground[a] else a
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
def describe(links, which, passes, floor, pits):
    """Heights and cells of every node.

    links and which from the tree; passes = (level in order, order, place) of the spanning tree. Returns heights
    (nodes, 2) float64: floor, spill level [m]; cells (nodes, 2) int64: flat indices of the floor and the spill cell;
    behind (nodes,) int32: pit behind the pass.
    """
    level, order, place = passes
    heights = np.empty((which.size, 2), floor.dtype)
    cells = np.empty((which.size, 2), np.int64)
    behind = np.empty(which.size, np.int32)
    for k in range(which.size):
        link = which[k]
        behind[k] = links[link, 6]
        pit = links[link, 4]
        heights[k, 0] = floor[pit]
        heights[k, 1] = level[links[link, 3]]
        cells[k, 0] = pits[pit]
        cells[k, 1] = place[order[links[link, 5]], 1]
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
def measure(z, label, pool, node, own, sums):
    """Add the cells of a strip to the pits and nodes that hold them.

    z, label, pool flat; node (pits + 1,). Added to, in place: own (pits + 1, 3) int64: cells of each pit, cells of its
    lowest pool, minus their heights in quanta; sums (nodes, 2) int64: the last two of pools that hold several pits. A
    pit's own lowest water is summed by pit, since pits lie in memory as they lie on the ground.
    """
    for i in range(z.size):
        p = label[i]
        if p == 0 or z[i] == np.inf:
            continue
        own[p, 0] += 1
        k = pool[i]
        if k < 0:
            continue
        if k == node[p]:
            own[p, 1] += 1
            own[p, 2] -= quanta(z[i])
        else:
            sums[k, 0] += 1
            sums[k, 1] -= quanta(z[i])


@njit(nogil=True, cache=True)
def add_up(own, sums, node, spill):
    """Bring what was summed by pit to the nodes, in place; depths then count from each node's spill level."""
    for p in range(1, node.size):
        k = node[p]
        if k >= 0:
            sums[k, 0] += own[p, 1]
            sums[k, 1] += own[p, 2]
    for k in range(spill.size):
        sums[k, 1] += sums[k, 0] * quanta(spill[k])


@njit(nogil=True, cache=True)
def drained(own, catchment, count):
    """Cells that drain to each leaf: int64 (count,), from own of `measure`."""
    out = np.zeros(count, np.int64)
    for p in range(1, own.shape[0]):
        if catchment[p] >= 0:
            out[catchment[p]] += own[p, 0]
    return out


@njit(nogil=True, cache=True)
def gather(above, spill, sums, catchment, edge):
    """Add children to parents, in place; nodes are in postorder."""
    for k in range(above.size):
        t = above[k]
        if t < 0:
            continue
        sums[t, 0] += sums[k, 0]
        sums[t, 1] += sums[k, 1] + sums[k, 0] * (quanta(spill[t]) - quanta(spill[k]))
        catchment[t] += catchment[k]
        edge[t] |= edge[k]


@njit(nogil=True, cache=True)
def _unknown(z, i, j):
    """True on the raster's border, on an outlet inside it, on a wall."""
    rows, cols = z.shape
    return i == 0 or j == 0 or i == rows - 1 or j == cols - 1 or abs(z[i, j]) == np.inf


@njit(nogil=True, cache=True)
def touch(z, pool, inner, spill, edge):
    """Set edge (nodes,) to 1 where the pool or the spill cell touches the border, an outlet or a wall.

    inner: whether there are outlets or walls within the raster; spill (nodes,) int64 flat index of the spill cell.
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
        i = spill[k] // cols
        j = spill[k] - i * cols
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
                box[k, 0] = min(box[k, 0], i)
                box[k, 1] = min(box[k, 1], j)
                box[k, 2] = max(box[k, 2], i + 1)
                box[k, 3] = max(box[k, 3], j + 1)
    for k in range(above.size):
        t = above[k]
        if t >= 0:
            box[t, 0] = min(box[t, 0], box[k, 0])
            box[t, 1] = min(box[t, 1], box[k, 1])
            box[t, 2] = max(box[t, 2], box[k, 2])
            box[t, 3] = max(box[t, 3], box[k, 3])
    return box
