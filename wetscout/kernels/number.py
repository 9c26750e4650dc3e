"""Numbers for the basins of a merged tree: postorder, siblings by (spill level, floor, first in row, column order).

Strips are numbered by themselves as far as their basins reach; what holds basins of several strips, and the roots, are
put in order in one place between. `above` (items,) int32 is the node around an item, 0 for a root or none. A node's
number is that of the node around it less its `back`, and a root's is known.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled
from wetscout.kernels.grow import longer
from wetscout.kernels.pools import quanta
from wetscout.kernels.tree import ABOVE, BACK, BEHIND, FLOOR, KIND, LOOSE, NODE, SIZE, SPILL, VIA


@compiled
def around(items, level, junctions, above):
    """Node around each junction in (first, last), from the last down."""
    for x in range(junctions[1] - 1, junctions[0] - 1, -1):
        t = items[x, ABOVE]
        if t <= 0 or items[t, KIND] == LOOSE:
            above[x] = 0
        elif items[x, KIND] == NODE:
            # nodes hang on what closed over them, or on none
            above[x] = t if items[t, KIND] == NODE else 0
        elif items[t, KIND] == NODE and level[items[t, VIA]] > level[items[x, VIA]]:
            above[x] = t
        else:
            above[x] = above[t]


@compiled
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
            elif items[x, KIND] == NODE:
                above[x] = t if items[t, KIND] == NODE else 0
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


@compiled
def roots(items, above, parts):
    """List (int32) the nodes that no other holds, among parts = (pits (first, last), junctions (first, last))."""
    found = np.empty(1024, np.int32)
    n = 0
    for first, last in parts:
        for x in range(first, last):
            if items[x, KIND] != NODE or above[x] > 0:
                continue
            if n == found.size:
                found = longer(found)
            found[n] = x
            n += 1
    return found[:n].copy()


@compiled
def hand_down(items, above, parts, number):
    """Numbers of nodes below those that have theirs; parts = (pits (first, last), junctions (first, last)).

    number (items,) int32 is set for the roots.
    """
    for first, last in (parts[1], parts[0]):
        for x in range(last - 1, first - 1, -1):
            if items[x, KIND] == NODE and above[x] > 0:
                number[x] = number[above[x]] - items[x, BACK]


@compiled
def innermost(items, above, rows, number):
    """Number of the innermost node around the pits of a strip that are none, after all nodes; -1 for none."""
    for x in range(rows[0], rows[1]):
        if items[x, KIND] != NODE:
            number[x] = number[above[x]] if above[x] > 0 else -1


@compiled
def number_roots(roots, items, number):
    """Numbers of the outermost nodes, given in order: each ends its subtree. Returns how many nodes there are."""
    base = 0
    for x in roots:
        base += items[x, SIZE]
        number[x] = base - 1
    return base


@compiled
def describe(cols, items, passes, pits, numbers, sums, span, nodes):
    """Write what is known of the nodes among items span = (first, last).

    cols of the raster; passes = (level, code) by pit; pits = (floor, place, leaf) by pit; numbers = (above, number) by
    item, and places of junctions on the ladder; sums = (own, wider) of `pools.place`: depths then count from spill
    levels. nodes = (parent, first, spill_to int32, floor, spill float64, floor_at, spill_at, cells, depth int64). The
    spill cell is the higher of the two of a pass (the first among equals).
    """
    level, code = passes
    floor, place, leaf = pits
    above, number, spot = numbers
    own, wider = sums
    parent, first, spill_to, low, spill, low_at, spill_at, cells, depth = nodes
    step = (1, cols - 1, cols, cols + 1)
    base = own.shape[0]
    for x in range(span[0], span[1]):
        if items[x, KIND] != NODE:
            continue
        k = number[x]
        parent[k] = number[above[x]] if above[x] > 0 else -1
        first[k] = k - items[x, SIZE] + 1
        spill_to[k] = leaf[items[x, BEHIND]]
        p = items[x, FLOOR]
        low[k] = floor[p]
        low_at[k] = place[p]
        spill[k] = level[items[x, VIA]]
        e = items[x, SPILL]
        spill_at[k] = (code[e] >> 4) + (step[code[e] >> 2 & 3] if code[e] >> 1 & 1 else 0)
        count = own[x, 0] if x < base else wider[spot[x - base], 0]
        cells[k] = count
        depth[k] = (own[x, 1] if x < base else wider[spot[x - base], 1]) + count * quanta(spill[k])


@compiled
def add_joined(items, number, own, spill, cells, depth):
    """Add what pits that are no nodes hold to the innermost nodes around them."""
    for x in range(1, own.shape[0]):
        k = number[x]
        if items[x, KIND] != NODE and k >= 0 and own[x, 0] > 0:
            cells[k] += own[x, 0]
            depth[k] += own[x, 1] + own[x, 0] * quanta(spill[k])


@compiled
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
