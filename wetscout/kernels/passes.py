"""The lowest passes between pits, and the spanning tree they form.

A pass is a pair of neighbouring cells with different labels; its level is the higher of the two. Passes are compared
by (level, height of the lower cell, code); code = 8 * flat index of the first cell + 2 * direction (east, south-west,
south, south-east) + 1 if the second cell is the higher. Code makes the order strict, so the spanning tree of lowest
passes is one and the same however the raster was cut up; the lower cell before it sends water that stands on a saddle
down its steeper side, whichever way the raster is mirrored.

Spanning tree in rounds (Boruvka 1926): every basin takes its lowest pass and joins the basin behind it. If w is the
level of the lowest pass of basin s and t the basin behind it, then fill(s) = max(w, fill(t)): s cannot leave below w,
neither side of the pass can stand above max(w, the other). So the join itself carries the fill level and no walk over
the finished tree is needed. A strip may join every basin whose passes it knows all ("active"); those that touch its
seams wait for the whole ("frozen").
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf

# of the neighbours in row, column order: north-west, north, north-east, west, east, south-west, south, south-east
_DIRECTION = np.array([3, 2, 1, 0, 0, 1, 2, 3], np.int64)


def _arcs():
    """For each set of lower neighbours: which arc each belongs to, and how many arcs there are.

    Two neighbours are in one arc if they touch each other or are linked by neighbours that do.
    """
    arc = np.full((256, 8), -1, np.int8)
    count = np.zeros(256, np.uint8)
    place = [(k // 3 - 1, k % 3 - 1) for k in range(9) if k != 4]
    near = [[k for k, q in enumerate(place) if max(abs(q[0] - p[0]), abs(q[1] - p[1])) == 1] for p in place]
    for mask in range(256):
        for k in range(8):
            if not mask >> k & 1 or arc[mask, k] >= 0:
                continue
            stack = [k]
            while stack:
                m = stack.pop()
                arc[mask, m] = count[mask]
                stack += [q for q in near[m] if mask >> q & 1 and arc[mask, q] < 0]
            count[mask] += 1
    return arc, count


_ARC, _ARCS = _arcs()
# the neighbours of each set, one after the other, and how many there are
_SET = np.array([mask.bit_count() for mask in range(256)], np.uint8)
_BIT = np.array(
    [sorted(range(8), key=(~mask >> np.arange(8) & 1).tolist().__getitem__) for mask in range(256)], np.uint8
)
# the lower neighbours that lie beside a cell and one of the later four as well
EAST, SOUTH_WEST, SOUTH, SOUTH_EAST = np.uint8(0xC6), np.uint8(0x48), np.uint8(0xB8), np.uint8(0x50)
# 2**14 slots, told by the top bits of a product with an odd number (Fibonacci hashing): neighbouring labels fall far
# apart, and no division is needed
_SLOTS = 1 << 14
_TOP = np.uint64(50)
_MIX_A = np.uint64(0x9E3779B97F4A7C15)
_MIX_B = np.uint64(0xC2B2AE3D27D4EB4F)


@leaf
def _lower(level, low, code, level2, low2, code2):
    """True if the first pass comes before the second."""
    if level != level2:
        return level < level2
    if low != low2:
        return low < low2
    return code < code2


@compiled
def _lower_around(up, mid, down, mask, equal):
    """Bits of the neighbours strictly lower than each inner cell of a row; and of the later four (east, south-west,
    south, south-east) that are equal and may be in the spanning tree.

    A third cell beside both that is lower gives a ring of two passes with a lower cell, which come first; one that is
    equal gives a ring in which the pass with the greatest code goes: the one to the east if there is one to the north
    or north-east, those to the south-west and south if there is one to the west. On noise rounded to 1 dm this leaves
    0.35 passes a cell of 1.05.
    """
    for j in range(mid.size - 2):
        h = mid[j + 1]
        low = np.uint8(1) if up[j] < h else np.uint8(0)
        low |= np.uint8(2) if up[j + 1] < h else np.uint8(0)
        low |= np.uint8(4) if up[j + 2] < h else np.uint8(0)
        low |= np.uint8(8) if mid[j] < h else np.uint8(0)
        low |= np.uint8(16) if mid[j + 2] < h else np.uint8(0)
        low |= np.uint8(32) if down[j] < h else np.uint8(0)
        low |= np.uint8(64) if down[j + 1] < h else np.uint8(0)
        low |= np.uint8(128) if down[j + 2] < h else np.uint8(0)
        mask[j] = low
        north = (up[j + 1] != h) & (up[j + 2] != h)
        west = mid[j] != h
        same = np.uint8(1) if (mid[j + 2] == h) & ((low & EAST) == 0) & north else np.uint8(0)
        same |= np.uint8(2) if (down[j] == h) & ((low & SOUTH_WEST) == 0) & west else np.uint8(0)
        same |= np.uint8(4) if (down[j + 1] == h) & ((low & SOUTH) == 0) & west else np.uint8(0)
        same |= np.uint8(8) if (down[j + 2] == h) & ((low & SOUTH_EAST) == 0) else np.uint8(0)
        equal[j] = same


@leaf
def _around_border(z, i, j):
    """The same two values for one cell of the border, where neighbours are missing."""
    rows, cols = z.shape
    low, same = 0, 0
    north, west = True, True
    for k in range(8):
        m = k if k < 4 else k + 1
        y, x = i + m // 3 - 1, j + m % 3 - 1
        if 0 <= y < rows and 0 <= x < cols:
            low |= (1 << k) if z[y, x] < z[i, j] else 0
            if z[y, x] == z[i, j]:
                same |= (1 << k) >> 4
                north &= k not in (1, 2)
                west &= k != 3
    same &= (
        (1 if low & EAST == 0 and north else 0)
        | (2 if low & SOUTH_WEST == 0 and west else 0)
        | (4 if low & SOUTH == 0 and west else 0)
        | (8 if low & SOUTH_EAST == 0 else 0)
    )
    return np.uint8(low), np.uint8(same)


@leaf
def _scan_row(z, i, mask, equal):
    """Fill mask and equal (cols, uint8) for row i."""
    rows, cols = z.shape
    if i == 0 or i == rows - 1 or cols < 3:
        for j in range(cols):
            mask[j], equal[j] = _around_border(z, i, j)
        return
    _lower_around(z[i - 1], z[i], z[i + 1], mask[1:], equal[1:])
    mask[0], equal[0] = _around_border(z, i, np.int64(0))
    mask[cols - 1], equal[cols - 1] = _around_border(z, i, cols - 1)


@compiled
def collect(z, lab, r0, r1, passes, n):
    """Collect the passes whose higher cell (or first cell, if both are equal) lies in rows r0 to r1.

    passes are (ab int32 (m, 2): labels of the first and the second cell, z (m, 2), code int64 (m)), n of them used.
    Returns (next row, n): the caller enlarges the list and calls again if that is not r1. Of the passes from one
    cell to an arc of lower neighbours only the lowest can be in the spanning tree (the others close a ring of lower
    passes), and none to the arc with the cell's own receiver; so 0.3 passes a cell come out on raw noise instead of 2.
    An outlet on the border has no receiver.
    """
    pass_ab, pass_z, pass_code = passes
    rows, cols = z.shape
    height = z.reshape(-1)
    label = lab.reshape(-1)
    step = np.array([-cols - 1, -cols, -cols + 1, -1, 1, cols - 1, cols, cols + 1], np.int64)
    mask = np.empty(cols, np.uint8)
    equal = np.empty(cols, np.uint8)
    lows = np.empty(8, z.dtype)
    ats = np.empty(8, np.int64)
    for i in range(r0, r1):
        # a cell has at most 4 arcs and 4 equal neighbours
        if pass_code.size - n < 8 * cols:
            return i, n
        _scan_row(z, i, mask, equal)
        for j in range(cols):
            m = mask[j]
            border = i == 0 or j == 0 or i == rows - 1 or j == cols - 1
            if not (_ARCS[m] > 1 or equal[j] != 0 or (border and m != 0)):
                continue
            c = np.int64(i) * cols + j
            a = label[c]
            h = height[np.uint64(c)]
            if h == np.inf:
                continue
            if _ARCS[m] > 1 or border:
                # the lowest of each arc, the first of equals
                for arc in range(_ARCS[m]):
                    lows[arc] = h
                own = 8
                for q in range(_SET[m]):
                    k = _BIT[m, q]
                    v = height[np.uint64(c + step[k])]
                    arc = _ARC[m, k]
                    if v < lows[arc]:
                        lows[arc] = v
                        ats[arc] = k
                    if own == 8 or v < lows[own]:
                        own = arc
                for arc in range(_ARCS[m]):
                    if arc == own and not border:
                        continue
                    at = ats[arc]
                    lowest = lows[arc]
                    b = label[np.uint64(c + step[at])]
                    if a != b:
                        pass_ab[n, 0] = b if step[at] < 0 else a
                        pass_ab[n, 1] = a if step[at] < 0 else b
                        pass_z[n, 0] = h
                        pass_z[n, 1] = lowest
                        higher = 1 if step[at] < 0 else 0
                        pass_code[n] = 8 * (c + min(step[at], 0)) + 2 * _DIRECTION[at] + higher
                        n += 1
            if equal[j] != 0:
                for k in range(4, 8):
                    if equal[j] >> (k - 4) & 1 == 0:
                        continue
                    b = label[c + step[k]]
                    if a != b:
                        pass_ab[n, 0] = a
                        pass_ab[n, 1] = b
                        pass_z[n, 0] = h
                        pass_z[n, 1] = h
                        pass_code[n] = 8 * c + 2 * _DIRECTION[k]
                        n += 1
    return r1, n


@compiled
def freeze(lab, r0, r1, low, frozen):
    """Mark the strip's own pits (low < label <= low + frozen.size) that have cells in its first or last row."""
    rows, cols = lab.shape
    high = low + frozen.size
    for i in (r0, r1 - 1):
        if i == 0 or i == rows - 1:
            continue
        for j in range(cols):
            if low < lab[i, j] <= high:
                frozen[lab[i, j] - low - 1] = 1


@compiled
def join(passes, n, low, active, count, forest):
    """Join every active basin to the one behind its lowest pass, in rounds, until none is active.

    passes hold labels of basins that have not joined another; own labels are low + 1 ... low + rep.size. active lists
    count of them, numbered from 0. forest = (rep, parent, level, lower, code): rep (own, int32, starts as the label
    itself) the basin each has gone into; for each that joined: the basin behind its pass, level of the pass and height
    of its lower cell, and 2 * code, + 1 if the pass was left by its first cell.
    Passes are rewritten and closed up in place. Returns the number that are left.
    """
    pass_ab, pass_z, pass_code = passes
    rep, parent, level, lower, where = forest
    own = rep.size
    best = np.empty(own, np.int32)
    # level of the best pass so far; -inf where a basin may not choose: frozen and joined ones may not
    bound = np.empty(own, pass_z.dtype)
    for v in range(own):
        best[v], bound[v] = -1, -np.inf
    for k in range(count):
        bound[active[k]] = np.inf
    while count > 0:
        for k in range(n):
            here = pass_z[k, 0]
            for side in range(2):
                v = pass_ab[k, side] - low - 1
                if v < 0 or v >= own or here > bound[v]:
                    continue
                m = best[v]
                if here < bound[v] or _lower(here, pass_z[k, 1], pass_code[k], here, pass_z[m, 1], pass_code[m]):
                    best[v] = k
                    bound[v] = here
        for k in range(count):
            v = active[k]
            m = best[v]
            if m < 0:
                # enclosed by unknown ground: no way out at any level
                bound[v] = -np.inf
                continue
            other = pass_ab[m, 0] + pass_ab[m, 1] - (v + low + 1)
            u = other - low - 1
            if 0 <= u < own and v < u and bound[u] > -np.inf and best[u] == m:
                # both chose the same pass: the first one stays
                continue
            rep[v] = other
            parent[v] = other
            level[v] = pass_z[m, 0]
            lower[v] = pass_z[m, 1]
            where[v] = 2 * pass_code[m] + (1 if pass_ab[m, 1] == other else 0)
        kept = 0
        for k in range(count):
            v = active[k]
            r = v
            while 0 <= r < own and rep[r] != r + low + 1:
                r = rep[r] - low - 1
            t = v
            while 0 <= t < own and rep[t] != t + low + 1:
                nxt = rep[t] - low - 1
                rep[t] = r + low + 1
                t = nxt
            best[v] = -1
        for k in range(count):
            v = active[k]
            if rep[v] != v + low + 1:
                bound[v] = -np.inf
            elif bound[v] > -np.inf:
                bound[v] = np.inf
                active[kept] = v
                kept += 1
        count = kept
        n = _close_up(pass_ab, pass_z, pass_code, n, low, rep)
    return n


@leaf
def _close_up(pass_ab, pass_z, pass_code, n, low, rep):
    """Rename the ends of passes to the basins they now belong to; drop those that became inner ones."""
    own = rep.size
    m = 0
    for k in range(n):
        a = pass_ab[k, 0]
        b = pass_ab[k, 1]
        if 0 <= a - low - 1 < own:
            a = rep[a - low - 1]
        if 0 <= b - low - 1 < own:
            b = rep[b - low - 1]
        if a != b:
            pass_ab[m, 0] = a
            pass_ab[m, 1] = b
            pass_z[m, 0] = pass_z[k, 0]
            pass_z[m, 1] = pass_z[k, 1]
            pass_code[m] = pass_code[k]
            m += 1
    return m


@compiled
def thin(passes, n):
    """Drop all but the lowest of the passes between two basins, in place, as far as a lossy cache sees them.

    On flat ground every pair of cells along a border is a pass of one level: 4 a cell before, few after. Returns the
    number left.
    """
    pass_ab, pass_z, pass_code = passes
    slots = np.full(_SLOTS, -1, np.int64)
    m = 0
    for k in range(n):
        a = min(pass_ab[k, 0], pass_ab[k, 1])
        b = max(pass_ab[k, 0], pass_ab[k, 1])
        s = np.int64((np.uint64(a) * _MIX_A + np.uint64(b) * _MIX_B) >> _TOP)
        q = slots[s]
        if q >= 0 and min(pass_ab[q, 0], pass_ab[q, 1]) == a and max(pass_ab[q, 0], pass_ab[q, 1]) == b:
            if not _lower(pass_z[k, 0], pass_z[k, 1], pass_code[k], pass_z[q, 0], pass_z[q, 1], pass_code[q]):
                continue
        else:
            q = m
            slots[s] = m
            m += 1
        pass_ab[q, 0] = pass_ab[k, 0]
        pass_ab[q, 1] = pass_ab[k, 1]
        pass_z[q, 0] = pass_z[k, 0]
        pass_z[q, 1] = pass_z[k, 1]
        pass_code[q] = pass_code[k]
    return m
