"""Numbers for the basins of a merged tree: postorder, siblings by (spill level, floor, first in row, column order).

Strips are numbered by themselves as far as their basins reach; what holds basins of several strips, and the roots, are
put in order in one place between. `above` (items,) int32 is the node around an item, 0 for a root or none. A node's
number is that of the node around it less its `back`, and a root's is known.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from wetscout.kernels.grow import longer
from wetscout.kernels.pools import quanta
from wetscout.kernels.sort import sorted_by
from wetscout.kernels.tree import ABOVE, BEHIND, FLOOR, KIND, LOOSE, NODE, SPILL, VIA

# columns of a chain: nodes of the subtree, how far below the node around it, first child, next of its siblings
SIZE, BACK, KID, NEXT = 0, 1, 2, 3


@njit(nogil=True, cache=True)
def around(items, level, junctions, above):
    """Node around each junction in (first, last), from the last down."""
    for x in range(junctions[1] - 1, junctions[0] - 1, -1):
        t = items[x, ABOVE]
        if t <= 0 or items[t, KIND] == LOOSE:
            above[x] = 0
        elif items[t, KIND] == NODE and level[items[t, VIA]] > level[items[x, VIA]]:
            above[x] = t
        else:
            above[x] = above[t]


@njit(nogil=True, cache=True)
def around_pits(items, level, rows, above):
    """Node around each pit in (first, last); above is -2 where not known yet.

    What dissolved at a basin's spill level lies beside its pool. Pits dissolve in pits, also of other strips: all write
    the same.
    """
    path = np.empty(1024, np.int32)
    for i in range(rows[0], rows[1]):
        depth = 0
        x = i
        while above[x] == -2:
            t = items[x, ABOVE]
            if t <= 0 or items[t, KIND] == LOOSE:
                above[x] = 0
            elif items[t, KIND] == NODE and level[items[t, VIA]] > level[items[x, VIA]]:
                above[x] = t
            else:
                if depth == path.size:
                    path = longer(path)
                path[depth] = x
                depth += 1
                x = t
        end = above[x]
        for k in range(depth):
            above[path[k]] = end


@njit(nogil=True, cache=True)
def sizes(items, level, floor, above, parts, chain, heads):
    """Count the nodes of every subtree, order siblings, and list the nodes that hang on none of these junctions.

    parts = (pits (first, last), junctions (first, last), nodes that hang on these junctions though made elsewhere);
    chain (items, 4) int32: SIZE, BACK, KID, NEXT; heads, int32, long enough. Returns how many heads.
    """
    pits, junctions, more = parts
    n = 0
    chain[junctions[0] : junctions[1], KID] = 0
    for x in more:
        chain[x, NEXT] = chain[above[x], KID]
        chain[above[x], KID] = x
    for x in range(pits[0], pits[1]):
        if items[x, KIND] != NODE:
            continue
        chain[x, SIZE] = 1
        t = above[x]
        if junctions[0] <= t < junctions[1]:
            chain[x, NEXT] = chain[t, KID]
            chain[t, KID] = x
        else:
            heads[n] = x
            n += 1
    for x in range(junctions[0], junctions[1]):
        if items[x, KIND] != NODE:
            continue
        chain[x, SIZE] = 1 + _order_kids(items, level, floor, chain[x, KID], chain)
        t = above[x]
        if junctions[0] <= t < junctions[1]:
            chain[x, NEXT] = chain[t, KID]
            chain[t, KID] = x
        else:
            heads[n] = x
            n += 1
    return n


@njit(nogil=True, cache=True)
def _first(items, level, floor, a, b):
    """True if node a comes before its sibling b."""
    if items[a, VIA] != items[b, VIA]:
        u, v = level[items[a, VIA]], level[items[b, VIA]]
        if u != v:
            return u < v
    p, q = items[a, FLOOR], items[b, FLOOR]
    return floor[p] < floor[q] or (floor[p] == floor[q] and p < q)


@njit(nogil=True, cache=True)
def _order_kids(items, level, floor, first, chain):
    """Set back of the children that begin with the first; their sizes added up."""
    if first == 0:
        return 0
    second = chain[first, NEXT]
    if second != 0 and chain[second, NEXT] == 0:
        # nearly always two
        if _first(items, level, floor, second, first):
            first, second = second, first
        chain[second, BACK] = 1
        chain[first, BACK] = 1 + chain[second, SIZE]
        return chain[first, SIZE] + chain[second, SIZE]
    count = 0
    x = first
    while x != 0:
        count += 1
        x = chain[x, NEXT]
    kids = np.empty(count, np.int32)
    x = first
    for k in range(count):
        kids[k] = x
        x = chain[x, NEXT]
    total = 1
    order = in_order(items, level, floor, kids)
    for k in range(count - 1, -1, -1):
        chain[kids[order[k]], BACK] = total
        total += chain[kids[order[k]], SIZE]
    return total - 1


@njit(nogil=True, cache=True)
def in_order(items, level, floor, nodes):
    """Order (int32) of nodes by spill level, floor, and pit."""
    count = nodes.size
    height = np.empty(count, np.float64)
    pit = np.empty(count, np.int64)
    for k in range(count):
        pit[k] = items[nodes[k], FLOOR]
        height[k] = floor[pit[k]]
    by_floor = sorted_by(height, pit)
    for k in range(count):
        height[by_floor[k]] = level[items[nodes[by_floor[k]], VIA]]
        pit[by_floor[k]] = k
    return sorted_by(height, pit)


@njit(nogil=True, cache=True)
def hand_down(items, above, chain, parts, number):
    """Numbers of nodes below those that have theirs; parts = (pits (first, last), junctions (first, last)).

    number (items,) int32 is set for heads.
    """
    for first, last in (parts[1], parts[0]):
        for x in range(last - 1, first - 1, -1):
            if items[x, KIND] == NODE and above[x] > 0:
                number[x] = number[above[x]] - chain[x, BACK]


@njit(nogil=True, cache=True)
def innermost(items, above, rows, number):
    """Number of the innermost node around the pits of a strip that are none, after all nodes; -1 for none."""
    for x in range(rows[0], rows[1]):
        if items[x, KIND] != NODE:
            number[x] = number[above[x]] if above[x] > 0 else -1


@njit(nogil=True, cache=True)
def number_roots(roots, chain, number):
    """Numbers of the outermost nodes, given in order: each ends its subtree. Returns how many nodes there are."""
    base = 0
    for x in roots:
        base += chain[x, SIZE]
        number[x] = base - 1
    return base


@njit(nogil=True, cache=True)
def describe(cols, items, passes, pits, numbers, sums, span, nodes):
    """Write what is known of the nodes among items span = (first, last).

    cols of the raster; passes = (level, code) by pit; pits = (floor, place, leaf) by pit; numbers =
    (chain, above, number) by item; sums = (own, wider) of `pools.place`: depths then count from spill levels. nodes =
    (parent, first, spill_to int32, floor, spill float64, floor_at, spill_at, cells, depth int64). The spill cell is the
    higher of the two of a pass (the first among equals).
    """
    level, code = passes
    floor, place, leaf = pits
    chain, above, number = numbers
    own, wider = sums
    parent, first, spill_to, low, spill, low_at, spill_at, cells, depth = nodes
    step = (1, cols - 1, cols, cols + 1)
    base = own.shape[0]
    for x in range(span[0], span[1]):
        if items[x, KIND] != NODE:
            continue
        k = number[x]
        parent[k] = number[above[x]] if above[x] > 0 else -1
        first[k] = k - chain[x, SIZE] + 1
        spill_to[k] = leaf[items[x, BEHIND]]
        p = items[x, FLOOR]
        low[k] = floor[p]
        low_at[k] = place[p]
        spill[k] = level[items[x, VIA]]
        e = items[x, SPILL]
        spill_at[k] = (code[e] >> 4) + (step[code[e] >> 2 & 3] if code[e] >> 1 & 1 else 0)
        count = own[x, 0] if x < base else wider[x - base, 0]
        cells[k] = count
        depth[k] = (own[x, 1] if x < base else wider[x - base, 1]) + count * quanta(spill[k])


@njit(nogil=True, cache=True)
def add_joined(items, number, own, spill, cells, depth):
    """Add what pits that are no nodes hold to the innermost nodes around them."""
    for x in range(1, own.shape[0]):
        k = number[x]
        if items[x, KIND] != NODE and k >= 0 and own[x, 0] > 0:
            cells[k] += own[x, 0]
            depth[k] += own[x, 1] + own[x, 0] * quanta(spill[k])


@njit(nogil=True, cache=True)
def catchments(hand, number, items, rows, leaf):
    """Leaf whose catchment holds each pit of a strip, into leaf (pits + 1,) int32; -2 where not known yet, -1 outside.

    hand from `merge`: -1 for a pit that did not dissolve. Other strips may be asked for the same pit: all write the
    same.
    """
    path = np.empty(1024, np.int32)
    for p in range(rows[0], rows[1]):
        depth = 0
        t = p
        while leaf[t] == -2:
            if hand[t] < 0:
                leaf[t] = number[t] if items[t, KIND] == NODE else -1
            else:
                if depth == path.size:
                    path = longer(path)
                path[depth] = t
                depth += 1
                t = hand[t]
        end = leaf[t]
        for k in range(depth):
            leaf[path[k]] = end
