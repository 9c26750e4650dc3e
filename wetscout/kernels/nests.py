"""Cells of nested pools in the order of their heights: what lies lowest in one of them, without sorting it anew.

A view is (order, level, free): places of cells, their heights ascending, and whether they count where only free ones
do. The cells of a pool are those at the places begin ... end - 1; a view may hold others'.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled

# cells of which the lowest is noted, so that they can be passed at once
CHUNK = 256


@compiled
def gather(window, labels, first, top, bits):
    """Cells of a nest by their innermost pool, within one in the order of rows and columns.

    Parameters
    ----------
    window : (float32 (h, w), float32 (h, w), float32 (h, w), uint8 (h, w))
        Natural ground, two others [m], and what the cells are.
    labels : int32 (h, w)
        Innermost pools.
    first, top : int
        The nest's pools.
    bits : int
        A cell with none of them is free.

    Returns
    -------
    node, at : int32 (n,)
        Pool, and place in the window.
    free : bool (n,)
    natural, one, other : float32 (n,)
        [m].
    """
    rows, cols = labels.shape
    spot = np.zeros(top - first + 2, np.int64)
    for r in range(rows):
        for c in range(cols):
            k = labels[r, c] - first
            if 0 <= k <= top - first:
                spot[k + 1] += 1
    for k in range(top - first + 1):
        spot[k + 1] += spot[k]
    n = spot[-1]
    node, at, free = np.empty(n, np.int32), np.empty(n, np.int32), np.empty(n, np.bool_)
    natural, one, other = np.empty(n, np.float32), np.empty(n, np.float32), np.empty(n, np.float32)
    ground, second, third, kind = window
    for r in range(rows):
        for c in range(cols):
            k = labels[r, c] - first
            if 0 <= k <= top - first:
                i = spot[k]
                spot[k] = i + 1
                node[i], at[i], free[i] = labels[r, c], r * cols + c, kind[r, c] & bits == 0
                natural[i], one[i], other[i] = ground[r, c], second[r, c], third[r, c]
    return node, at, free, natural, one, other


@compiled
def narrowed(view, begin, end):
    """The view of one pool, cut out of that of a pool around it.

    Parameters
    ----------
    view : (int32 (n,), float32 (n,), bool (n,))
    begin, end : int

    Returns
    -------
    (int32 (m,), float32 (m,), bool (m,))
    """
    order, level, free = view
    n = end - begin
    # room for one more: each cell is written down and counted where it is one, as no guess at which comes next is right
    places, levels, open_ = np.empty(n + 1, np.int32), np.empty(n + 1, np.float32), np.empty(n + 1, np.bool_)
    k = 0
    for i in range(order.size):
        places[k], levels[k], open_[k] = order[i], level[i], free[i]
        k += (order[i] >= begin) & (order[i] < end)
    return places[:n], levels[:n], open_[:n]


@compiled
def level_at(view, begin, end, only_free, above, k):
    """Height of the k-th lowest cell of a pool.

    Parameters
    ----------
    view : as in `narrowed`
    begin, end : int
    only_free : bool
    above : float
        Cells up to this height do not count [m].
    k : int
        0 is the lowest.

    Returns
    -------
    float32
        [m]; infinite where there are not so many.
    """
    order, level, free = view
    for i in range(order.size):
        if begin <= order[i] < end and (free[i] or not only_free) and level[i] > above:
            if k == 0:
                return level[i]
            k -= 1
    return np.float32(np.inf)


@compiled
def lowest(view, begin, end, only_free, above, limit):
    """Cells of a pool with heights above ... limit, the lowest first.

    Parameters
    ----------
    view : as in `narrowed`
    begin, end : int
    only_free : bool
    above, limit : float
        [m].

    Returns
    -------
    places : int32 (n,)
    heights : float32 (n,)
        [m].
    """
    order, level, free = view
    most, high = 0, level.size
    while most < high:
        middle = (most + high) // 2
        if level[middle] <= limit:
            most = middle + 1
        else:
            high = middle
    most = min(most, end - begin)
    places, heights = np.empty(most, np.int32), np.empty(most, np.float32)
    n = 0
    for i in range(order.size):
        if level[i] > limit:
            break
        if begin <= order[i] < end and (free[i] or not only_free) and level[i] > above:
            places[n], heights[n] = order[i], level[i]
            n += 1
    return places[:n], heights[:n]


@compiled
def levels_at(view, begin, end, only_free, ranks, few, least):
    """Heights of the cells of a pool at some ranks; none where the one at `ranks[few]` is lower than `least`.

    Parameters
    ----------
    view : as in `narrowed`
    begin, end : int
    only_free : bool
    ranks : int64 (k,)
        Ascending, 0 is the lowest; no more than there are.
    few : int
        Which rank is asked first.
    least : float32
        [m].

    Returns
    -------
    float32 (k,) or (0,)
        [m].
    """
    order, level, free = view
    heights = np.empty(ranks.size, np.float32)
    size, every = np.uint32(end - begin), not only_free
    n = k = 0
    for start in range(0, order.size, CHUNK):
        # counted a chunk at a time, one by one only where a rank lies in it
        more = 0
        for i in range(start, min(start + CHUNK, order.size)):
            more += (np.uint32(order[i] - begin) < size) & (free[i] | every)
        i, passed = start, n
        while k < ranks.size and n + more > ranks[k]:
            while passed <= ranks[k]:
                passed += (np.uint32(order[i] - begin) < size) & (free[i] | every)
                i += 1
            heights[k] = level[i - 1]
            if k == few and heights[k] < least:
                return heights[:0]
            k += 1
        n += more
        if k == ranks.size:
            return heights
    return heights[:0]


@compiled
def lowest_few(view, begin, end, only_free, most):
    """Heights of the `most + 1` lowest cells of a pool.

    Parameters
    ----------
    view : as in `narrowed`
    begin, end : int
    only_free : bool
    most : int

    Returns
    -------
    float32 (n,)
        Ascending [m].
    """
    order, level, free = view
    heights = np.empty(most + 2, np.float32)
    n = i = 0
    while i < order.size and n <= most:
        # written down and counted where it is one: no guess at which comes next is right
        heights[n] = level[i]
        n += (order[i] >= begin) & (order[i] < end) & (free[i] | (not only_free))
        i += 1
    return heights[:n]


@compiled
def lowest_of_each(height):
    """The lowest of every `CHUNK` cells, for `levels_over`.

    Parameters
    ----------
    height : float32 (n,)
        [m].

    Returns
    -------
    float32 (ceil(n / CHUNK),)
        [m].
    """
    low = np.empty(-(-height.size // CHUNK), np.float32)
    for i in range(height.size):
        if i % CHUNK == 0:
            low[i // CHUNK] = np.inf
        low[i // CHUNK] = min(low[i // CHUNK], height[i])
    return low


@compiled
def flat_over(grounds, free, span, only_free, above, limit):
    """The level that each of two other surfaces has over most of what `levels_over` gives: its median.

    A floor stands under one level of water more often than not: over all but a half per cent of 124 million cells. Only
    the level over the first cell is tried.

    Parameters
    ----------
    grounds, free, span, only_free, above, limit : as in `levels_over`

    Returns
    -------
    int
        Cells.
    float32, float32
        [m]; NaN where that is not the level over more than half of them, or a level over any is unknown.
    """
    height, one, other, low = grounds
    begin, end = span
    n = n_one = n_other = unknown = 0
    a = b = np.float32(np.nan)
    for chunk in range(begin // CHUNK, -(-end // CHUNK)):
        if low[chunk] > limit:
            continue
        first, last = max(begin, chunk * CHUNK), min(end, (chunk + 1) * CHUNK)
        while n == 0 and first < last:
            if above < height[first] <= limit and (free[first] or not only_free):
                a, b = one[first], other[first]
                break
            first += 1
        for i in range(first, last):
            counts = (height[i] > above) & (height[i] <= limit) & (free[i] | (not only_free))
            n += counts
            n_one += counts & (one[i] == a)
            n_other += counts & (other[i] == b)
            unknown += counts & (np.isnan(one[i]) | np.isnan(other[i]))
    unclear = np.float32(np.nan)
    if unknown:
        return n, unclear, unclear
    return n, a if 2 * n_one > n else unclear, b if 2 * n_other > n else unclear


@compiled
def levels_over(grounds, free, span, only_free, above, limit):
    """Two other surfaces over the ground of a pool with heights above ... limit.

    Cells are taken as they lie: by height each would be a read far from the last. Those of inner pools stand together,
    so most of what is too high is passed by a chunk at a time: 124 of 930 million cells of pools in each other count.

    Parameters
    ----------
    grounds : (float32 (n,), float32 (n,), float32 (n,), float32 (m,))
        Heights of the cells of the nest, and the others [m]; the lowest of each chunk, from `lowest_of_each`.
    free : bool (n,)
    span : (int, int)
        The pool's cells, from and to.
    only_free : bool
    above, limit : float
        [m].

    Returns
    -------
    float32 (k,), float32 (k,)
        [m].
    """
    height, one, other, low = grounds
    begin, end = span
    ones, others = np.empty(end - begin, np.float32), np.empty(end - begin, np.float32)
    n = 0
    for chunk in range(begin // CHUNK, -(-end // CHUNK)):
        if low[chunk] > limit:
            continue
        for i in range(max(begin, chunk * CHUNK), min(end, (chunk + 1) * CHUNK)):
            ones[n], others[n] = one[i], other[i]
            n += (height[i] > above) & (height[i] <= limit) & (free[i] | (not only_free))
    return ones[:n], others[:n]


@compiled
def majority(values):
    """The value that more than half of all have, which is their median; NaN where there is none or any is NaN.

    A floor stands under one level of water more often than not: of 124 million cells asked, all but a half per cent.
    The only value that can be is found by votes for and against (Boyer & Moore 1981), and counted then.

    Parameters
    ----------
    values : float32 (n,)

    Returns
    -------
    float32
    """
    for k in range(3):
        if k < 2:
            # one of two values taken at random mostly is it
            value = values[k * values.size // 2]
        else:
            votes = 0
            for one in values:
                if votes == 0:
                    value = one
                votes += 1 if one == value else -1
        count = unknown = 0
        for one in values:
            count += one == value
            unknown += np.isnan(one)
        if unknown:
            break
        if 2 * count > values.size:
            return value
    return np.float32(np.nan)


@compiled
def share_held(grounds, free, only_free, above, spill):
    """Share of a pool's water that another surface over its ground still holds.

    One pass without copies: of 2,000 pools of up to 9 million cells in each other, as a drained lowland has them, this
    took two thirds of the time of all measures.

    Parameters
    ----------
    grounds : (float32 (n,), float32 (n,))
        Heights of the cells of the pool, and of the water or ground over them today [m].
    free : bool (n,)
    only_free : bool
    above : float
        Cells up to this height do not count [m].
    spill : float
        Level of the full pool [m].

    Returns
    -------
    float
        0-1.
    """
    height, today = grounds
    held, water = 0.0, 0.0
    for i in range(height.size):
        if height[i] > above and (free[i] or not only_free):
            ground = np.float64(height[i])
            water += spill - ground
            held += max(min(np.float64(today[i]), spill) - ground, 0.0)
    return held / max(water, 1e-9)
