"""Order of passes: by level with a radix sort, then runs of equal level by lower cell and place."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, inlined, leaf

_DIGIT = 11
_SIZE = 1 << _DIGIT


@inlined
def radix(key, bits):
    """Order (int32) that sorts unsigned keys of so many bits, and the sorted keys; equal keys stay in their order."""
    n = key.size
    order = np.empty(n, np.int32)
    for i in range(n):
        order[i] = i
    other = np.empty(n, np.int32)
    keys = key.copy()
    spare = np.empty(n, key.dtype)
    start = np.empty(_SIZE, np.int64)
    for shift in range(0, bits, _DIGIT):
        for d in range(_SIZE):
            start[d] = 0
        for i in range(n):
            start[(keys[i] >> np.uint64(shift)) & np.uint64(_SIZE - 1)] += 1
        total = 0
        for d in range(_SIZE):
            count = start[d]
            start[d] = total
            total += count
        for i in range(n):
            d = (keys[i] >> np.uint64(shift)) & np.uint64(_SIZE - 1)
            at = start[d]
            start[d] = at + 1
            other[at] = order[i]
            spare[at] = keys[i]
        order, other = other, order
        keys, spare = spare, keys
    return order, keys


@compiled
def in_order(which, bits, lower, code):
    """Some passes (int32) sorted by level, lower cell and code.

    bits (passes,) uint32 or uint64: the levels as they lie in memory; lower, code as in `break_ties`.
    """
    width = 8 * bits.itemsize
    sign = np.uint64(1) << np.uint64(width - 1)
    every = ~np.uint64(0) >> np.uint64(64 - width)
    key = np.empty(which.size, bits.dtype)
    for k in range(which.size):
        v = np.uint64(bits[which[k]])
        # as unsigned numbers, negative floats run backwards and come after the positive ones
        key[k] = v ^ every if v & sign else v | sign
    place, key = radix(key, width)
    order = np.empty(which.size, np.int32)
    for k in range(which.size):
        order[k] = which[place[k]]
    break_ties(order, key, lower, code)
    return order


@inlined
def break_ties(order, key, lower, code):
    """Sort runs of equal level in an order by (lower cell, code), in place.

    key (order.size,) sorted; lower (passes,) height of the lower cell; code (passes,) int64.
    """
    n = order.size
    i = 0
    while i < n:
        end = i + 1
        while end < n and key[end] == key[i]:
            end += 1
        if end - i > 1:
            low = np.empty(end - i)
            place = np.empty(end - i, np.int64)
            for k in range(end - i):
                low[k] = lower[order[i + k]]
                place[k] = code[order[i + k]]
            run = sorted_by(low, place)
            for k in range(end - i):
                run[k] = order[i + run[k]]
            for k in range(end - i):
                order[i + k] = run[k]
        i = end


@compiled
def sorted_by(low, code):
    """Order (int32) that sorts by (low, code): few by insertion, many by heap."""
    n = low.size
    run = np.empty(n, np.int32)
    for k in range(n):
        run[k] = k
    if n <= 16:
        for k in range(1, n):
            m = k - 1
            while m >= 0 and _before(np.int32(k), run[m], low, code):
                run[m + 1] = run[m]
                m -= 1
            run[m + 1] = k
        return run
    for begin in range(n // 2 - 1, -1, -1):
        _sift(run, begin, n, low, code)
    for end in range(n - 1, 0, -1):
        run[0], run[end] = run[end], run[0]
        _sift(run, np.int64(0), end, low, code)
    return run


@leaf
def _before(a, b, low, code):
    return low[a] < low[b] or (low[a] == low[b] and code[a] < code[b])


@leaf
def _sift(run, i, n, low, code):
    x = run[i]
    while 2 * i + 1 < n:
        c = 2 * i + 1
        if c + 1 < n and _before(run[c], run[c + 1], low, code):
            c += 1
        if not _before(x, run[c], low, code):
            break
        run[i] = run[c]
        i = c
    run[i] = x
