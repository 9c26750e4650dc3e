"""Cells of the basin tree: which pool holds each, and what the pools measure.

Areas are counted in cells and depths in whole 2**-14 m (0.06 mm), so sums are exact in any order.
"""

from __future__ import annotations

import numpy as np
from numba import njit

QUANTA = 16384.0


@njit(nogil=True, cache=True)
def pass_cells(z, label, parent, code):
    """The passes of the spanning tree, in the order of the pits that took them.

    Returns who (m,) int32, that pit; ends (m, 2) int32, labels at both ends; low (m,) like z, height of the lower
    cell; cell (m,) int64, flat index of the higher cell (the first among equals).
    """
    cols = z.shape[1]
    height = z.reshape(-1)
    flat = label.reshape(-1)
    step = (1, cols - 1, cols, cols + 1)
    who = np.empty(parent.size, np.int32)
    ends = np.empty((parent.size, 2), np.int32)
    low = np.empty(parent.size, z.dtype)
    cell = np.empty(parent.size, np.int64)
    m = 0
    for p in range(1, parent.size):
        if parent[p] >= 0:
            a = code[p] >> 2
            b = a + step[code[p] & 3]
            who[m] = p
            ends[m, 0] = flat[a]
            ends[m, 1] = flat[b]
            low[m] = min(height[a], height[b])
            cell[m] = b if height[b] > height[a] else a
            m += 1
    return who[:m], ends[:m], low[:m], cell[:m]


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
def place(z, label, node, levels, spill, above, jump, pool):
    """Put every cell into the innermost pool that holds it.

    z, label and pool are flat strips; node (pits + 1,) from the tree; levels from `pit_levels`; spill, above, jump
    (nodes,). Cells above all pools, outside and walls (+inf) get -1.
    """
    for i in range(z.size):
        p = label[i]
        h = z[i]
        if h >= levels[p, 1]:
            pool[i] = -1
            continue
        k = node[p]
        if h >= levels[p, 0]:
            while spill[k] <= h:
                j = jump[k]
                k = j if j >= 0 and spill[j] <= h else above[k]
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
def measure(z, label, pool, node, spill, sums, box):
    """Measure the cells of every node that lie in none of its children.

    z, label, pool (rows, cols); node (pits + 1,); spill (nodes,). sums (nodes, 2) int64: cells, depth below the node's
    spill level; box (nodes, 4) int32: row0, col0, row1, col1, half open. Returns cells of each pit, int64 (pits + 1,).
    A pit's own lowest water is summed by pit, which lies beside its cells in memory, and brought to its node at the
    end.
    """
    rows, cols = z.shape
    size = node.size
    cells = np.zeros(size, np.int64)
    own = np.zeros((size, 2), np.int64)
    own_box = np.empty((size, 4), np.int32)
    own_box[:, :2] = max(rows, cols)
    own_box[:, 2:] = 0
    for i in range(rows):
        for j in range(cols):
            p = label[i, j]
            if p == 0 or z[i, j] == np.inf:
                continue
            cells[p] += 1
            k = pool[i, j]
            if k < 0:
                continue
            # below zero here, above the spill level at the end
            depth = quanta(z[i, j])
            if k == node[p]:
                own[p, 0] += 1
                own[p, 1] -= depth
                _include(own_box, p, i, j)
            else:
                sums[k, 0] += 1
                sums[k, 1] -= depth
                _include(box, k, i, j)
    for p in range(1, size):
        k = node[p]
        if k >= 0 and own[p, 0] > 0:
            sums[k, 0] += own[p, 0]
            sums[k, 1] += own[p, 1]
            _widen(box, k, own_box, p)
    for k in range(spill.size):
        sums[k, 1] += sums[k, 0] * quanta(spill[k])
    return cells


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
def drained(cells, catchment, count):
    """Cells that drain to each leaf: int64 (count,), from cells of each pit."""
    out = np.zeros(count, np.int64)
    for p in range(1, cells.size):
        if catchment[p] >= 0:
            out[catchment[p]] += cells[p]
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
def touch(z, pool, inner, spill_row, spill_col, edge):
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
        i, j = spill_row[k], spill_col[k]
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
