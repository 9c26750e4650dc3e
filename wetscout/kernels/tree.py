"""The basin tree: merging of pits along the spanning tree of passes, from the lowest pass up.

An *item* is a pit (1 ... n) or a junction (from n + 1) at which two or more basins deep enough meet. Going up through
the passes, items meet two by two at a level. An item counts if it is a junction, or a pit at least min_depth below the
level. Both count: both close and become nodes under a junction of this level (a junction of the same level stays open
and takes the other in: many children, no node of no thickness). One counts: the other dissolves in it. None counts:
the one with the deeper floor lives on. Whatever dissolves hands its catchment to the pit behind the pass. So no node
has a single child, and the outcome rests on levels and floors only, not on order.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from wetscout.kernels.sort import heap_sort


@njit(nogil=True, cache=True)
def _root(uf, i):
    while uf[i] != i:
        uf[i] = uf[uf[i]]
        i = uf[i]
    return i


@njit(nogil=True, cache=True)
def _deeper(floor, a, b):
    """True if pit a has the deeper floor; among equals the first in row, column order."""
    return floor[a] < floor[b] or (floor[a] == floor[b] and a < b)


@njit(nogil=True, cache=True)
def merge(ends, level, floor, min_depth):
    """Grow the tree of items from passes sorted by level.

    ends (passes, 2) int32 pit labels (0 outside), level (passes,), floor (n + 1,) heights of pits. Returns
    up (items,) int32: item above, 0 outside, -1 never met anything; kind (items,) uint8: 1 node, 0 dissolved;
    met (items,) like level: level at which it was linked, of a node its spill level;
    deepest (items,) int32: pit with the deepest floor; spill (items,) int32: the pass over which a node spills;
    far (items,) int32: pit behind the pass at which a node closed; hand (n + 1,) int32: pit that a dissolved pit hands
    its catchment to, -1 none; order: items in the order in which they were linked.
    Kernel of more than 50 lines: one loop over passes with three outcomes; taken apart it would pass 14 arrays about.
    """
    n = floor.size - 1
    uf = np.arange(n + 1).astype(np.int32)
    item = np.arange(n + 1).astype(np.int32)
    size = 2 * n + 1
    up = np.full(size, -1, np.int32)
    kind = np.zeros(size, np.uint8)
    deepest = np.arange(size).astype(np.int32)
    born = np.empty(size, level.dtype)
    born[: n + 1] = floor
    met = np.full(size, np.inf, level.dtype)
    spill = np.full(size, -1, np.int32)
    far = np.full(size, -1, np.int32)
    hand = np.full(n + 1, -1, np.int32)
    order = np.empty(size, np.int32)
    linked = 0
    items = n + 1
    for e in range(level.size):
        here = level[e]
        a, b = _root(uf, ends[e, 0]), _root(uf, ends[e, 1])
        p, q = item[a], item[b]
        # the first pass at this level that leads out of the item is where it spills
        for x in (p, q):
            if x != 0 and (spill[x] < 0 or level[spill[x]] != here):
                spill[x] = e
        if p == 0 or q == 0:
            x = p + q
            counts = born[x] < here if x > n else here > floor[x] and np.float64(here) - floor[x] >= min_depth
            kind[x] = 1 if counts else 0
            behind = ends[e, 1] if p == x else ends[e, 0]
            far[x] = behind
            up[x] = 0
            met[x] = here
            order[linked] = x
            linked += 1
            if x <= n and not counts:
                hand[x] = behind
            uf[a if p == x else b] = b if p == x else a
            continue
        p_counts = p > n or (here > floor[p] and np.float64(here) - floor[p] >= min_depth)
        q_counts = q > n or (here > floor[q] and np.float64(here) - floor[q] >= min_depth)
        if p_counts and q_counts:
            p_open = p > n and born[p] == here
            q_open = q > n and born[q] == here
            if p_open:
                top = p
            elif q_open:
                top = q
            else:
                top = items
                items += 1
                born[top] = here
                deepest[top] = deepest[p]
            for x in (p, q):
                if _deeper(floor, deepest[x], deepest[top]):
                    deepest[top] = deepest[x]
                if x != top:
                    kind[x] = 0 if x > n and born[x] == here else 1
                    far[x] = ends[e, 1] if x == p else ends[e, 0]
                    up[x] = top
                    met[x] = here
                    order[linked] = x
                    linked += 1
        else:
            keep_p = p_counts or (not q_counts and _deeper(floor, p, q))
            top = p if keep_p else q
            lost = q if keep_p else p
            up[lost] = top
            met[lost] = here
            order[linked] = lost
            linked += 1
            hand[lost] = ends[e, 0] if keep_p else ends[e, 1]
        uf[b] = a
        item[a] = top
    return up[:items], kind[:items], met[:items], deepest[:items], spill[:items], far[:items], hand, order[:linked]


@njit(nogil=True, cache=True)
def number(up, kind, met, deepest, floor, order):
    """Number the nodes in postorder; siblings by (spill level, floor, first in row, column order).

    Arguments from `merge`. Returns node (items,) int32: own number of a node, else the first node
    above, -1 none; above (nodes,) int32 parent or -1; first (nodes,) int32: the subtree is first[i] ... i;
    which (nodes,) int32 the item of each node.
    """
    items = up.size
    node_above = np.full(items, -1, np.int32)
    size = np.zeros(items, np.int32)
    roots = 0
    for k in range(order.size - 1, -1, -1):
        x = order[k]
        t = up[x]
        # items are linked before the items above them; what dissolved at a basin's spill level lies beside its pool
        node_above[x] = t if kind[t] == 1 and met[t] > met[x] else node_above[t]
    count = 0
    for k in range(order.size):
        x = order[k]
        if kind[x] == 1:
            count += 1
            size[x] += 1
            t = node_above[x]
            if t >= 0:
                size[t] += size[x]
            else:
                roots += 1
    start, below = _children(kind, node_above, order, roots, count)
    node = np.full(items, -1, np.int32)
    above = np.full(count, -1, np.int32)
    first = np.empty(count, np.int32)
    which = np.empty(count, np.int32)
    _sort_siblings(below, 0, roots, deepest, floor, met)
    base = 0
    for k in range(roots):
        base += size[below[k]]
        node[below[k]] = base - 1
    for k in range(order.size - 1, -1, -1):
        x = order[k]
        t = node_above[x]
        if kind[x] == 0:
            node[x] = node[t] if t >= 0 else -1
            continue
        own = node[x]
        which[own] = x
        first[own] = own - size[x] + 1
        above[own] = node[t] if t >= 0 else -1
        _sort_siblings(below, start[x], start[x + 1], deepest, floor, met)
        base = first[own]
        for m in range(start[x], start[x + 1]):
            base += size[below[m]]
            node[below[m]] = base - 1
    return node, above, first, which


@njit(nogil=True, cache=True)
def _children(kind, node_above, order, roots, count):
    """Nodes grouped by parent: roots first, then children of x from start[x] to start[x + 1]."""
    items = kind.size
    start = np.zeros(items + 2, np.int64)
    for k in range(order.size):
        x = order[k]
        if kind[x] == 1 and node_above[x] >= 0:
            start[node_above[x] + 2] += 1
    start[0] = roots
    start[1] = roots
    for x in range(2, items + 2):
        start[x] += start[x - 1]
    below = np.empty(count, np.int32)
    r = 0
    for k in range(order.size):
        x = order[k]
        if kind[x] == 1:
            if node_above[x] >= 0:
                below[start[node_above[x] + 1]] = x
                start[node_above[x] + 1] += 1
            else:
                below[r] = x
                r += 1
    # filling moved each start to its end, so start[x] is now right for x
    return start, below


@njit(nogil=True, cache=True)
def _sort_siblings(below, low, high, deepest, floor, met):
    """Sort nodes by (spill level, floor), in place; their spill levels are in order already."""
    i = low
    while i < high:
        end = i + 1
        while end < high and met[below[end]] == met[below[i]]:
            end += 1
        if end - i == 2:
            # nearly always
            if _deeper(floor, deepest[below[i + 1]], deepest[below[i]]):
                below[i], below[i + 1] = below[i + 1], below[i]
        elif end - i > 2:
            run = below[i:end]
            heights = np.empty(end - i, floor.dtype)
            pits = np.empty(end - i, np.int32)
            for k in range(end - i):
                pits[k] = deepest[run[k]]
                heights[k] = floor[pits[k]]
            order = np.arange(end - i).astype(np.int32)
            heap_sort(order, heights, pits)
            run[:] = run[order]
        i = end


@njit(nogil=True, cache=True)
def catchments(hand, node, kind):
    """Leaf whose catchment holds each pit: int32 (pits + 1,), -1 outside.

    hand from `merge`; a pit that never dissolved is a leaf, or nothing if it has no way out.
    """
    n = hand.size - 1
    out = np.full(n + 1, -2, np.int32)
    out[0] = -1
    for p in range(1, n + 1):
        if hand[p] < 0:
            out[p] = node[p] if kind[p] == 1 else -1
    for p in range(1, n + 1):
        t = p
        while out[t] == -2:
            t = hand[t]
        leaf = out[t]
        t = p
        while out[t] == -2:
            out[t] = leaf
            t = hand[t]
    return out


@njit(nogil=True, cache=True)
def jumps(above):
    """Skew jump pointers (Myers 1983): a node far above each, so that climbing takes the logarithm of the depth."""
    count = above.size
    jump = np.full(count, -1, np.int32)
    depth = np.zeros(count, np.int32)
    for i in range(count - 1, -1, -1):
        t = above[i]
        if t < 0:
            continue
        depth[i] = depth[t] + 1
        j = jump[t]
        jump[i] = t
        if j >= 0 and jump[j] >= 0 and depth[t] - depth[j] == depth[j] - depth[jump[j]]:
            jump[i] = jump[j]
    return jump
