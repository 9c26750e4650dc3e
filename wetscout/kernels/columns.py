"""Running medians down the columns of a table, all of them at once: the processor puts several in order together."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, inlined
from wetscout.kernels.lines import small_median


@inlined
def _copy(values, out, unknown):
    """Copy a row and mark the columns in which it is unknown."""
    for j in range(values.size):
        out[j] = values[j]
        unknown[j] |= values[j] != values[j]


@inlined
def _put_in_order(one, other):
    """The lower of each two into the first row, the higher into the second."""
    for j in range(one.size):
        a, b = one[j], other[j]
        one[j] = b if b < a else a
        other[j] = a if b < a else b


@compiled
def columns_running_median(a, half, every):
    """Running median down each column, at every so many rows.

    Parameters
    ----------
    a : float64 (n, m)
    half, every : int
        Rows on both sides that count; distance of the rows worked out.

    Returns
    -------
    float64 ((n + every - 1) // every, m)
        NaN where nothing is known.
    """
    n, m = a.shape
    rows = (n + every - 1) // every
    out = np.empty((rows, m))
    part = np.empty(2 * half + 1)
    table, unknown = np.empty((2 * half + 1, m)), np.empty(m, np.bool_)
    for k in range(rows):
        low, high = max(0, k * every - half), min(n, k * every + half + 1)
        size = high - low
        for j in range(m):
            unknown[j] = size % 2 == 0
        if size % 2 == 1:
            for q in range(size):
                _copy(a[low + q], table[q], unknown)
            # the higher half bubbles up, all columns at once
            for top in range(size - 1, size // 2 - 1, -1):
                for q in range(top):
                    _put_in_order(table[q], table[q + 1])
            # a row at once would bring the text of its error along: 4 s of compiling
            for j in range(m):
                out[k, j] = table[size // 2, j]
        for j in range(m):
            if not unknown[j]:
                continue
            count = np.int64(0)
            for q in range(low, high):
                if not np.isnan(a[q, j]):
                    part[count] = a[q, j]
                    count += 1
            out[k, j] = small_median(part, count) if count > 0 else np.nan
    return out
