"""The lowest passes between pits, and the spanning tree they form.

A pass is a pair of neighbouring cells with different labels; its level is the higher of the two. Passes are compared
by (level, height of the lower cell, code); code = 4 * flat index of the first cell + direction (east, south-west,
south, south-east). Code makes the order strict, so the spanning tree of lowest passes is one and the same however the
raster was cut up; the lower cell before it sends water that stands on a saddle down its steeper side, whichever way
the raster is mirrored.

Spanning tree in rounds (Boruvka 1926): every basin takes its lowest pass and joins the basin behind it. If w is the
level of the lowest pass of basin s and t the basin behind it, then fill(s) = max(w, fill(t)): s cannot leave below w,
neither side of the pass can stand above max(w, the other). So the join itself carries the fill level and no walk over
the finished tree is needed. A strip may join every basin whose passes it knows all ("active"); those that touch its
seams wait for the whole ("frozen").
"""

from __future__ import annotations

import numpy as np
from numba import njit

SLOTS = 1 << 14
_SHIFT = np.uint32(32 - 14)
_MIX_A = np.uint32(0x9E3779B1)
_MIX_B = np.uint32(0x85EBCA6B)


@njit(nogil=True, cache=True)
def _lower(level, low, code, level2, low2, code2):
    """True if the first pass comes before the second."""
    if level != level2:
        return level < level2
    if low != low2:
        return low < low2
    return code < code2


@njit(nogil=True, cache=True)
def _offer(a, b, za, zb, code, slot_ab, slot_z, slot_code, pass_ab, pass_z, pass_code, n):
    """Put a pass into the cache; a pass that loses its slot goes to the list. Returns the new length of the list."""
    level = za if za > zb else zb
    low = zb if za > zb else za
    if level == np.inf:
        return n
    lo = a if a < b else b
    hi = b if a < b else a
    s = np.uint32(np.uint32(lo) * _MIX_A + np.uint32(hi) * _MIX_B) >> _SHIFT
    if slot_ab[s, 0] == lo and slot_ab[s, 1] == hi:
        if _lower(level, low, code, slot_z[s, 0], slot_z[s, 1], slot_code[s]):
            slot_z[s, 0] = level
            slot_z[s, 1] = low
            slot_code[s] = code
        return n
    if slot_ab[s, 0] >= 0:
        pass_ab[n, 0] = slot_ab[s, 0]
        pass_ab[n, 1] = slot_ab[s, 1]
        pass_z[n, 0] = slot_z[s, 0]
        pass_z[n, 1] = slot_z[s, 1]
        pass_code[n] = slot_code[s]
        n += 1
    slot_ab[s, 0] = lo
    slot_ab[s, 1] = hi
    slot_z[s, 0] = level
    slot_z[s, 1] = low
    slot_code[s] = code
    return n


@njit(nogil=True, cache=True)
def collect(z, lab, r0, r1, slots, passes, n):
    """Collect passes of the pairs that begin in rows r0 to r1, in a lossy cache (a pair may come out several times).

    slots and passes are (ab int32 (m, 2), z (m, 2), code int64 (m)). Returns (next row, length of the list): the caller
    enlarges the list and calls again if the next row is not r1.
    """
    slot_ab, slot_z, slot_code = slots
    pass_ab, pass_z, pass_code = passes
    rows, cols = z.shape
    room = pass_code.size
    for i in range(r0, r1):
        if i == rows - 1:
            break
        if room - n < 4 * cols:
            return i, n
        here, below = z[i], z[i + 1]
        lab_here, lab_below = lab[i], lab[i + 1]
        for j in range(cols):
            a = lab_here[j]
            za = here[j]
            code = 4 * (np.int64(i) * cols + j)
            if j + 1 < cols:
                b = lab_here[j + 1]
                if b != a:
                    n = _offer(a, b, za, here[j + 1], code, slot_ab, slot_z, slot_code, pass_ab, pass_z, pass_code, n)
            if j > 0:
                b = lab_below[j - 1]
                if b != a:
                    n = _offer(
                        a, b, za, below[j - 1], code + 1, slot_ab, slot_z, slot_code, pass_ab, pass_z, pass_code, n
                    )
            b = lab_below[j]
            if b != a:
                n = _offer(a, b, za, below[j], code + 2, slot_ab, slot_z, slot_code, pass_ab, pass_z, pass_code, n)
            if j + 1 < cols:
                b = lab_below[j + 1]
                if b != a:
                    n = _offer(
                        a, b, za, below[j + 1], code + 3, slot_ab, slot_z, slot_code, pass_ab, pass_z, pass_code, n
                    )
    return r1, n


@njit(nogil=True, cache=True)
def flush(slots, passes, n):
    """Move what is left in the cache to the list (which must have room for SLOTS more) and empty the cache."""
    slot_ab, slot_z, slot_code = slots
    pass_ab, pass_z, pass_code = passes
    for s in range(slot_code.size):
        if slot_ab[s, 0] >= 0:
            pass_ab[n] = slot_ab[s]
            pass_z[n] = slot_z[s]
            pass_code[n] = slot_code[s]
            n += 1
            slot_ab[s, 0] = -1
    return n


@njit(nogil=True, cache=True)
def freeze(lab, r0, r1, low, frozen):
    """Mark the strip's own pits (low < label <= low + frozen.size) that touch the rows at its seams."""
    rows, cols = lab.shape
    high = low + frozen.size
    for i in (r0, r1):
        if i == 0 or i >= rows:
            continue
        for j in range(cols):
            if low < lab[i, j] <= high:
                frozen[lab[i, j] - low - 1] = 1


@njit(nogil=True, cache=True)
def join(passes, n, low, active, count, forest):
    """Join every active basin to the one behind its lowest pass, in rounds, until none is active.

    passes hold labels of basins that have not joined another; own labels are low + 1 ... low + rep.size. active lists
    count of them, numbered from 0. forest = (rep, parent, level, code): rep (own, int32, starts as the label itself)
    the basin each has gone into; for each that joined: the label behind its pass, level and code of the pass.
    Passes are rewritten and closed up in place. Returns the number that are left.
    """
    pass_ab, pass_z, pass_code = passes
    rep, parent, level, where = forest
    own = rep.size
    best = np.full(own, -1, np.int32)
    # 1 while a basin may still choose: frozen and joined ones may not
    free = np.zeros(own, np.uint8)
    for k in range(count):
        free[active[k]] = 1
    while count > 0:
        for k in range(n):
            for side in range(2):
                v = pass_ab[k, side] - low - 1
                if v < 0 or v >= own or free[v] == 0:
                    continue
                m = best[v]
                if m < 0 or _lower(pass_z[k, 0], pass_z[k, 1], pass_code[k], pass_z[m, 0], pass_z[m, 1], pass_code[m]):
                    best[v] = k
        for k in range(count):
            v = active[k]
            m = best[v]
            if m < 0:
                # enclosed by unknown ground: no way out at any level
                free[v] = 0
                continue
            other = pass_ab[m, 0] + pass_ab[m, 1] - (v + low + 1)
            u = other - low - 1
            if 0 <= u < own and v < u and free[u] == 1 and best[u] == m:
                # both chose the same pass: the first one stays
                continue
            rep[v] = other
            parent[v] = other
            level[v] = pass_z[m, 0]
            where[v] = pass_code[m]
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
                free[v] = 0
            elif free[v] == 1:
                active[kept] = v
                kept += 1
        count = kept
        n = _close_up(pass_ab, pass_z, pass_code, n, low, rep)
    return n


@njit(nogil=True, cache=True)
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
