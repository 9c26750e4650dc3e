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

from wetscout.kernels.sort import sorted_by


@njit(nogil=True, cache=True)
def _root(group, i):
    while group[i, 0] != i:
        group[i, 0] = group[group[i, 0], 0]
        i = group[i, 0]
    return i


@njit(nogil=True, cache=True)
def _deeper(floor, a, b):
    """True if pit a has the deeper floor; among equals the first in row, column order."""
    return floor[a] < floor[b] or (floor[a] == floor[b] and a < b)


@njit(nogil=True, cache=True)
def merge(ends, level, floor, min_depth):
    """Grow the tree of items from passes sorted by level.

    ends (passes, 2) int32 pit labels (0 outside); level (passes,), floor (n + 1,) float64 heights. Returns links, int32
    (links, 7), one row each time an item goes under another, from the lowest level up, with columns
    0 item, 1 item above it (0 outside), 2 whether it became a node (else it dissolved), 3 the pass that linked it,
    4 pit with its deepest floor, 5 the pass over which it spills, 6 pit behind the pass that linked it;
    and hand, int32 (n + 1,): pit that a dissolved pit hands its catchment to, -1 none.
    Kernel of more than 50 lines: one loop over passes with three outcomes; taken apart it would pass 12 arrays about.
    """
    n = floor.size - 1
    # root and item of a pit side by side, likewise deepest pit and spill pass of an item: one look-up in memory each
    group = np.empty((n + 1, 2), np.int32)
    group[:, 0] = group[:, 1] = np.arange(n + 1)
    size = 2 * n + 1
    facts = np.empty((size, 2), np.int32)
    facts[:, 0] = np.arange(size)
    facts[:, 1] = -1
    born = np.empty(size, np.float64)
    born[: n + 1] = floor
    hand = np.full(n + 1, -1, np.int32)
    links = np.empty((size, 7), np.int32)
    linked = 0
    items = n + 1
    run = 0
    for e in range(level.size):
        here = level[e]
        if here != level[run]:
            run = e
        a, b = _root(group, ends[e, 0]), _root(group, ends[e, 1])
        p, q = group[a, 1], group[b, 1]
        # the first pass at this level that leads out of the item is where it spills
        if facts[p, 1] < run:
            facts[p, 1] = e
        if facts[q, 1] < run:
            facts[q, 1] = e
        p_counts = p > n or (here > floor[p] and here - floor[p] >= min_depth)
        q_counts = q > n or (here > floor[q] and here - floor[q] >= min_depth)
        p_open = p > n and born[p] == here
        q_open = q > n and born[q] == here
        if p == 0 or q == 0:
            top = 0
        elif p_counts and q_counts:
            if p_open:
                top = p
            elif q_open:
                top = q
            else:
                top = items
                items += 1
                born[top] = here
                facts[top, 0] = facts[p, 0]
            if _deeper(floor, facts[p, 0], facts[top, 0]):
                facts[top, 0] = facts[p, 0]
            if _deeper(floor, facts[q, 0], facts[top, 0]):
                facts[top, 0] = facts[q, 0]
        else:
            top = p if p_counts or (not q_counts and _deeper(floor, p, q)) else q
        for side in range(2):
            x = q if side else p
            if x == top:
                continue
            counts, is_open = (q_counts, q_open) if side else (p_counts, p_open)
            behind = ends[e, 1 - side]
            links[linked, 0] = x
            links[linked, 1] = top
            links[linked, 2] = 1 if counts and not is_open else 0
            links[linked, 3] = e
            links[linked, 4] = facts[x, 0]
            links[linked, 5] = facts[x, 1]
            links[linked, 6] = behind
            linked += 1
            if not counts:
                hand[x] = behind
        # label 0 stays the root of all that is outside
        if b == 0:
            group[a, 0] = b
        else:
            group[b, 0] = a
            group[a, 1] = top
    return links[:linked].copy(), hand


@njit(nogil=True, cache=True)
def number(links, level, floor, pits):
    """Number the nodes in postorder; siblings by (spill level, floor, first in row, column order).

    links, level and floor as in `merge`; pits how many. Returns node (pits + 1,) int32: innermost node around a pit, -1
    none; leaf (pits + 1,) int32: the node that is the pit's own, -1 none; above (nodes,) int32 parent or -1;
    first (nodes,) int32: the subtree is first[i] ... i; which (nodes,) int32: the link that made the node.
    Everything runs over links, not over items, since links lie in memory as they are read.
    """
    count = links.shape[0]
    at = np.full(2 * pits + 1, -1, np.int32)
    for k in range(count):
        at[links[k, 0]] = k
    above_link = np.empty(count, np.int32)
    size = np.zeros(count, np.int32)
    for k in range(count - 1, -1, -1):
        # an item is linked before the item above it; what dissolved at a basin's spill level lies beside its pool
        t = at[links[k, 1]]
        if t >= 0 and (links[t, 2] == 0 or level[links[t, 3]] <= level[links[k, 3]]):
            t = above_link[t]
        above_link[k] = t
    nodes, roots = 0, 0
    for k in range(count):
        if links[k, 2] == 1:
            nodes += 1
            size[k] += 1
            t = above_link[k]
            if t >= 0:
                size[t] += size[k]
            else:
                roots += 1
    start, below = _children(links, above_link, roots, nodes)
    node_of = np.full(count, -1, np.int32)
    above = np.empty(nodes, np.int32)
    first = np.empty(nodes, np.int32)
    which = np.empty(nodes, np.int32)
    _sort_siblings(below[:roots], links, level, floor)
    base = 0
    for k in range(roots):
        base += size[below[k]]
        node_of[below[k]] = base - 1
    for k in range(count - 1, -1, -1):
        t = above_link[k]
        if links[k, 2] == 0:
            node_of[k] = node_of[t] if t >= 0 else -1
            continue
        own = node_of[k]
        which[own] = k
        first[own] = own - size[k] + 1
        above[own] = node_of[t] if t >= 0 else -1
        if start[k + 1] > start[k]:
            _sort_siblings(below[start[k] : start[k + 1]], links, level, floor)
        base = first[own]
        for m in range(start[k], start[k + 1]):
            base += size[below[m]]
            node_of[below[m]] = base - 1
    node = np.full(pits + 1, -1, np.int32)
    leaf = np.full(pits + 1, -1, np.int32)
    for p in range(1, pits + 1):
        if at[p] >= 0:
            node[p] = node_of[at[p]]
            leaf[p] = node[p] if links[at[p], 2] == 1 else -1
    return node, leaf, above, first, which


@njit(nogil=True, cache=True)
def _children(links, above_link, roots, nodes):
    """Nodes grouped by parent: roots first, then children of link k from start[k] to start[k + 1]."""
    count = links.shape[0]
    start = np.zeros(count + 2, np.int64)
    for k in range(count):
        if links[k, 2] == 1 and above_link[k] >= 0:
            start[above_link[k] + 2] += 1
    start[:2] = roots
    for k in range(2, count + 2):
        start[k] += start[k - 1]
    below = np.empty(nodes, np.int32)
    r = 0
    for k in range(count):
        if links[k, 2] == 1:
            t = above_link[k]
            if t >= 0:
                below[start[t + 1]] = k
                start[t + 1] += 1
            else:
                below[r] = k
                r += 1
    # filling moved each start to its end, so start[k] is now right for k
    return start, below


@njit(nogil=True, cache=True)
def _sort_siblings(below, links, level, floor):
    """Sort nodes by (spill level, floor), in place; their spill levels are in order already."""
    i = 0
    while i < below.size:
        end = i + 1
        while end < below.size and level[links[below[end], 3]] == level[links[below[i], 3]]:
            end += 1
        if end - i == 2:
            # nearly always
            if _deeper(floor, links[below[i + 1], 4], links[below[i], 4]):
                below[i], below[i + 1] = below[i + 1], below[i]
        elif end - i > 2:
            heights = np.empty(end - i, np.float64)
            pits = np.empty(end - i, np.int64)
            for k in range(end - i):
                pits[k] = links[below[i + k], 4]
                heights[k] = floor[pits[k]]
            below[i:end] = below[i:end][sorted_by(heights, pits)]
        i = end


@njit(nogil=True, cache=True)
def catchments(hand, leaf):
    """Leaf whose catchment holds each pit: int32 (pits + 1,), -1 outside; hand from `merge`, leaf from `number`."""
    n = hand.size - 1
    out = np.full(n + 1, -2, np.int32)
    out[0] = -1
    for p in range(1, n + 1):
        if hand[p] < 0:
            out[p] = leaf[p]
    for p in range(1, n + 1):
        t = p
        while out[t] == -2:
            t = hand[t]
        end = out[t]
        t = p
        while out[t] == -2:
            out[t] = end
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
