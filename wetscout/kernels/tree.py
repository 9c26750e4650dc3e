"""The basin tree: merging of pits along the spanning tree of passes, from the lowest pass up.

An *item* is a pit (1 ... n) or a junction (from n + 1) at which two or more basins deep enough meet. Going up through
the passes, items meet two by two at a level. An item counts if it is a junction, or a pit at least min_depth below the
level. Both count: both close and become nodes under a junction of this level (a junction of the same level stays open
and takes the other in: many children, no node of no thickness). One counts: the other dissolves in it. None counts:
the one with the deeper floor lives on. Whatever dissolves hands its catchment to the pit behind the pass. So no node
has a single child, and the outcome rests on levels and floors only, not on order.

Strips of rows merge alone. Whether the ground behind a pass already drains out is known beforehand from the spanning
tree (`outward`), so what leads out needs no neighbour. A basin that meets one of another strip is *tainted* from that
pass on: what follows for it waits for the whole (`merge` once more, over the passes put off). Junctions of strip
(low, high] are numbered from n + low + 1, those of the whole from 2 n + 1: a junction above another is a later one.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf
from wetscout.kernels.grow import longer
from wetscout.kernels.sort import sorted_by

# columns of items: item above (0 outside, -1 none yet), the pass that linked it (of an open junction: that made it),
# pit with its deepest floor, the pass over which it spills, pit behind the pass that linked it, one of the three kinds
# below, nodes of its subtree, how far its number is below that of the node around it. While a junction is open, the two
# last but one of BEHIND and BACK hold its children, or MANY and the last of a ring of them that BACK of each links
ABOVE, VIA, FLOOR, SPILL, BEHIND, KIND, SIZE, BACK = 0, 1, 2, 3, 4, 5, 6, 7
LOOSE, NODE, GONE = 0, 1, 2
COLUMNS = 8
_MANY = -1


@leaf
def before(p, q, level, low, code):
    """True if the pass that pit p took comes before that of pit q."""
    if level[p] != level[q]:
        return level[p] < level[q]
    if low[p] != low[q]:
        return low[p] < low[q]
    return code[p] < code[q]


@compiled
def edges(label, begin, cols, forest, which, ends):
    """Write the labels at both ends of the passes taken by some pits.

    label flat, of so many columns, from flat index begin of the raster on; forest = (parent, level, code) by pit; which
    int32, the pits; ends (n + 1, 2) int32: label on the pit's side, label behind, -1 for a pit that found no way out.
    -0 in level becomes +0: one level.
    """
    parent, level, code = forest
    step = (1, cols - 1, cols, cols + 1)
    for p in which:
        if parent[p] < 0:
            ends[p, 0] = -1
            continue
        a = (code[p] >> 4) - begin
        b = a + step[code[p] >> 2 & 3]
        first = code[p] & 1
        ends[p, 0] = label[a] if first else label[b]
        ends[p, 1] = label[b] if first else label[a]
        level[p] = level[p] + 0.0


@compiled
def highest_ways(forest, low, rows, top):
    """Pit that took the highest pass on the way out from each pit of a strip, into top (n + 1,) int32.

    top is 0 for label 0, -2 for what is not known yet, -1 where there is no way out. Other strips may be asked for the
    same pit at the same time: all write the same.
    """
    parent, level, code = forest
    path = np.empty(1024, np.int32)
    for i in range(rows[0], rows[1]):
        depth = 0
        j = i
        while top[j] == -2:
            if depth == path.size:
                path = longer(path)
            path[depth] = j
            depth += 1
            if parent[j] < 0:
                break
            j = parent[j]
        highest = top[j] if top[j] != -2 else -1
        for k in range(depth - 1, -1, -1):
            j = path[k]
            if parent[j] >= 0 and highest >= 0 and (highest == 0 or before(highest, np.int64(j), level, low, code)):
                highest = j
            top[j] = highest


@compiled
def outward(forest, low, top, rows, own, ends):
    """Turn the end t behind a pass into ~t where the ground there drains out below it; tell which passes stay.

    own (low, high] are the strip's pits. Returns two lists of pits that took a pass: those whose pass lies between this
    strip's basins or leads out, and those with an end in another strip.
    """
    _, level, code = forest
    stay = np.empty(rows[1] - rows[0], np.int32)
    stray = np.empty(64, np.int32)
    n, m = 0, 0
    for p in range(rows[0], rows[1]):
        if ends[p, 0] < 0:
            continue
        t = ends[p, 1]
        if t == 0 or (top[t] >= 0 and before(np.int64(top[t]), np.int64(p), level, low, code)):
            ends[p, 1] = ~t
            t = 0
        inside = own[0] < ends[p, 0] <= own[1]
        if inside and (t == 0 or own[0] < t <= own[1]):
            stay[n] = p
            n += 1
        else:
            if m == stray.size:
                stray = longer(stray)
            stray[m] = p
            m += 1
    return stay[:n].copy(), stray[:m].copy()


@compiled
def clear(items, group, rows):
    """Make each pit of a strip its own basin."""
    for p in range(rows[0], rows[1]):
        items[p, ABOVE] = -1
        items[p, FLOOR] = p
        items[p, SPILL] = -1
        items[p, KIND] = LOOSE
        items[p, SIZE] = 1
        group[p, 0] = p
        group[p, 1] = p


@leaf
def _root(group, i):
    while group[i, 0] != i:
        group[i, 0] = group[group[i, 0], 0]
        i = group[i, 0]
    return i


@leaf
def _deeper(floor, a, b):
    """True if pit a has the deeper floor; among equals the first in row, column order."""
    return floor[a] < floor[b] or (floor[a] == floor[b] and a < b)


@leaf
def _ring(items, x):
    """Write the children of an open junction as a ring."""
    a, b = items[x, BEHIND], items[x, BACK]
    if a != _MANY:
        items[a, BACK] = b
        items[b, BACK] = a
        items[x, BEHIND] = _MANY


@leaf
def _take_in(items, top, x, is_open):
    """Put a node, or the children of an open junction, among the children of an open junction."""
    _ring(items, top)
    tail, last = items[top, BACK], x
    if is_open:
        _ring(items, x)
        last = items[x, BACK]
    else:
        items[x, BACK] = x
    if tail != 0:
        head = items[tail, BACK]
        items[tail, BACK] = items[last, BACK]
        items[last, BACK] = head
    items[top, BACK] = last
    items[top, SIZE] += items[x, SIZE] - (1 if is_open else 0)


@leaf
def _order_two(items, floor, a, b):
    """Put two children in order, by the pit with the deepest floor; their spill level is one."""
    if _deeper(floor, items[b, FLOOR], items[a, FLOOR]):
        a, b = b, a
    items[b, BACK] = 1
    items[a, BACK] = 1 + items[b, SIZE]


@compiled
def _close(items, floor, x):
    """Put the children of a junction in order as `_order_two` does; two stand so already."""
    if items[x, BEHIND] != _MANY:
        return
    b = items[x, BACK]
    count = 1
    kid = items[b, BACK]
    while kid != b:
        count += 1
        kid = items[kid, BACK]
    kids = np.empty(count, np.int32)
    height, pit = np.empty(count), np.empty(count, np.int64)
    for k in range(count):
        kids[k] = kid
        pit[k] = items[kid, FLOOR]
        height[k] = floor[pit[k]]
        kid = items[kid, BACK]
    order = sorted_by(height, pit)
    back = 1
    for k in range(count - 1, -1, -1):
        kid = kids[order[k]]
        items[kid, BACK] = back
        items[kid, ABOVE] = x
        back += items[kid, SIZE]


@compiled
def merge(order, passes, floor, state, own, first, min_depth):
    """Grow the tree of items from passes from the lowest up.

    order int32: pits that took the passes, sorted; passes = (ends, level) by pit; floor (n + 1,) like level;
    state = (items, group, tainted, hand): items (.., 8) int32, group (n + 1, 2) root and item of each pit, tainted
    (n + 1,) uint8 by root, hand (n + 1,) pit that a dissolved pit hands its catchment to; own (low, high]: an end
    beyond it belongs to another strip, one below 0 stands for ~end and drains out; first: the junction to make next.
    Returns the passes put off, and the junction after the last.
    Kernel of more than 50 lines: one loop over passes with three outcomes; taken apart it would pass 12 arrays about.
    """
    ends, level = passes
    items, group, tainted, hand = state
    n = floor.size - 1
    later = np.empty(64, np.int32)
    count = 0
    junction = first
    for e in order:
        here = level[e]
        far, near = np.int64(ends[e, 0]), np.int64(ends[e, 1])
        out = near < 0
        near = ~near if out else near
        far_in = own[0] < far <= own[1]
        a = _root(group, far) if far_in else -1
        b = 0 if out else (_root(group, near) if own[0] < near <= own[1] else -1)
        if a < 0 or b < 0 or tainted[a] or tainted[b]:
            if a > 0:
                tainted[a] = 1
            if b > 0:
                tainted[b] = 1
            if far_in:
                if count == later.size:
                    later = longer(later)
                later[count] = e
                count += 1
            continue
        p, q = group[a, 1], np.int32(0) if b == 0 else group[b, 1]
        # the first pass at this level that leads out of the item is where it spills
        for x in (p, q):
            if x > 0 and (items[x, SPILL] < 0 or level[items[x, SPILL]] < here):
                items[x, SPILL] = e
        p_counts = p > n or (here > floor[p] and np.float64(here) - np.float64(floor[p]) >= min_depth)
        q_counts = q > n or (here > floor[q] and np.float64(here) - np.float64(floor[q]) >= min_depth)
        p_open = p > n and level[items[p, VIA]] == here
        q_open = q > n and level[items[q, VIA]] == here
        if q == 0:
            top = q
            if p > n and not p_open:
                _close(items, floor, p)
        elif p_counts and q_counts:
            # only a junction made in this call may take others in: items above are later than items below
            top = q if q_open and (q > p or not p_open) else p
            alone = not (p_open or q_open)
            if top < first or alone:
                top = np.int32(junction)
                junction += 1
                items[top, ABOVE] = -1
                items[top, VIA] = e
                items[top, FLOOR] = items[p, FLOOR]
                items[top, SPILL] = -1 if alone else e
                items[top, KIND] = LOOSE
                items[top, BEHIND] = p if alone else _MANY
                items[top, BACK] = q if alone else 0
                items[top, SIZE] = 1 + (items[p, SIZE] + items[q, SIZE] if alone else 0)
            for x in (p, q):
                if _deeper(floor, items[x, FLOOR], items[top, FLOOR]):
                    items[top, FLOOR] = items[x, FLOOR]
                is_open = q_open if x == q else p_open
                if x > n and not is_open:
                    _close(items, floor, x)
                if x != top and not alone:
                    _take_in(items, top, x, is_open)
            if alone:
                # nearly always: while both are at hand
                _order_two(items, floor, p, q)
        else:
            top = p if p_counts or (not q_counts and _deeper(floor, p, q)) else q
        for side in range(2):
            x = q if side else p
            if x == top:
                continue
            counts, is_open = (q_counts, q_open) if side else (p_counts, p_open)
            items[x, ABOVE] = top
            items[x, VIA] = e
            items[x, BEHIND] = far if side else near
            items[x, KIND] = NODE if counts and not is_open else GONE
            if not counts:
                hand[x] = items[x, BEHIND]
        # label 0 stays the root of all that is outside
        if b == 0:
            group[a, 0] = 0
        else:
            group[b, 0] = a
            group[a, 1] = top
    return later[:count].copy(), junction
