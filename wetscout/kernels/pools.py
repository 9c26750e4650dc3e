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
def place(z, label, node, catchment, spill, above, jump, pool):
    """Put every cell into the innermost pool that holds it and turn its pit label into its catchment's leaf.

    z, label and pool are flat strips; node and catchment (pits + 1,) from the tree; spill, above, jump (nodes,).
    label is overwritten. Walls (+inf) and cells outside get -1 in both.
    """
    for i in range(z.size):
        p = label[i]
        h = z[i]
        if p == 0 or h == np.inf:
            pool[i] = -1
            label[i] = -1
            continue
        k = node[p]
        while k >= 0 and spill[k] <= h:
            j = jump[k]
            k = j if j >= 0 and spill[j] <= h else above[k]
        pool[i] = k
        label[i] = catchment[p]


@njit(nogil=True, cache=True)
def quanta(h):
    """A height in whole 2**-14 m."""
    return np.int64(np.rint(np.float64(h) * QUANTA))


@njit(nogil=True, cache=True)
def measure(z, pool, catchment, spill, area, depth, drained, box):
    """Add every cell to the node that holds it: area, depth below the node's spill level, window; count catchments.

    z, pool, catchment (rows, cols); area, depth, drained (nodes,) int64; box (nodes, 4) int32 row0, col0, row1, col1,
    half open.
    """
    rows, cols = z.shape
    top = np.empty(spill.size, np.int64)
    for k in range(spill.size):
        top[k] = quanta(spill[k])
    for i in range(rows):
        last = -1
        for j in range(cols):
            c = catchment[i, j]
            if c >= 0:
                drained[c] += 1
            k = pool[i, j]
            if k >= 0:
                area[k] += 1
                depth[k] += top[k] - quanta(z[i, j])
                if k != last:
                    box[k, 0] = min(box[k, 0], i)
                    box[k, 1] = min(box[k, 1], j)
                    box[k, 2] = max(box[k, 2], i + 1)
                box[k, 3] = max(box[k, 3], j + 1)
            last = k


@njit(nogil=True, cache=True)
def gather(above, spill, area, depth, drained, box, edge):
    """Add children to parents, in place; nodes are in postorder."""
    for k in range(above.size):
        t = above[k]
        if t < 0:
            continue
        area[t] += area[k]
        depth[t] += depth[k] + area[k] * (quanta(spill[t]) - quanta(spill[k]))
        drained[t] += drained[k]
        edge[t] |= edge[k]
        box[t, 0] = min(box[t, 0], box[k, 0])
        box[t, 1] = min(box[t, 1], box[k, 1])
        box[t, 2] = max(box[t, 2], box[k, 2])
        box[t, 3] = max(box[t, 3], box[k, 3])


@njit(nogil=True, cache=True)
def _unknown(z, i, j):
    """True on the raster's border, on an outlet inside it, on a wall."""
    rows, cols = z.shape
    return i == 0 or j == 0 or i == rows - 1 or j == cols - 1 or z[i, j] == -np.inf or z[i, j] == np.inf


@njit(nogil=True, cache=True)
def touch(z, pool, spill_row, spill_col, edge):
    """Set edge (nodes,) to 1 where the pool or the spill cell touches the border, an outlet or a wall."""
    rows, cols = z.shape
    for i in range(rows):
        for j in range(cols):
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
def windows(labels, count):
    """Window (row0, col0, row1, col1, half open) of each label 0 ... count - 1; int32 (count, 4)."""
    rows, cols = labels.shape
    box = np.empty((count, 4), np.int32)
    box[:, 0] = rows
    box[:, 1] = cols
    box[:, 2:] = 0
    for i in range(rows):
        for j in range(cols):
            k = labels[i, j]
            if k >= 0:
                box[k, 0] = min(box[k, 0], i)
                box[k, 1] = min(box[k, 1], j)
                box[k, 2] = max(box[k, 2], i + 1)
                box[k, 3] = max(box[k, 3], j + 1)
    return box
