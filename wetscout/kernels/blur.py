"""Gauss filters, counts in boxes and bends of the ground, a row at a time: the processor does several cells at once."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf


@compiled
def _one(total, a, b, w):
    for c in range(total.size):
        total[c] += (a[c] + b[c]) * w


@compiled
def _two(total, a, b, w, e, f, v):
    """Two pairs in one pass, in their order."""
    for c in range(total.size):
        total[c] = (total[c] + (a[c] + b[c]) * w) + (e[c] + f[c]) * v


@compiled
def _weigh(flat, at, weights, total):
    """Weighted sums of the stretches of a flat array that begin at `at`, each as long as the row of sums, into it."""
    reach = weights.size // 2
    middle = flat[at[reach] :]
    for c in range(total.size):
        total[c] = middle[c] * weights[reach]
    for k in range(0, reach - 1, 2):
        m = 2 * reach - k
        _two(total, flat[at[k] :], flat[at[m] :], weights[k], flat[at[k + 1] :], flat[at[m - 1] :], weights[k + 1])
    if reach % 2 == 1:
        _one(total, flat[at[reach - 1] :], flat[at[reach + 1] :], weights[reach - 1])


@compiled
def gauss(values, weights, nearest, beyond):
    """Gauss filter along columns and then along rows, sums in float64 and in the order of `scipy.ndimage.correlate1d`.

    Parameters
    ----------
    values : float32 or float64 (rows, cols)
    weights : float64 (2 k + 1,)
        Symmetric.
    nearest : bool
        Beyond the border the outermost values go on, otherwise `beyond` stands there.
    beyond : float

    Returns
    -------
    like values
        Rounded to their type after each direction.
    """
    rows, cols = values.shape
    reach = weights.size // 2
    size = 2 * reach + 1
    out = np.empty_like(values)
    # rows as float64 in a ring, and one row with what lies beyond its ends
    ring = np.empty(size * cols)
    line = np.empty(cols + 2 * reach)
    total = np.empty(cols)
    at = np.empty(size, np.int64)
    along = np.empty(size, np.int64)
    for k in range(size):
        along[k] = k
    for i in range(-reach, rows + reach):
        into = i % size * cols
        near = min(max(i, 0), rows - 1)
        for c in range(cols):
            ring[into + c] = values[near, c]
        if near != i and not nearest:
            for c in range(cols):
                ring[into + c] = beyond
        r = i - reach
        if r < 0:
            continue
        for k in range(size):
            at[k] = (i + 1 + k) % size * cols
        _weigh(ring, at, weights, total)
        # rounded to the type between both directions
        for c in range(cols):
            out[r, c] = total[c]
            line[reach + c] = out[r, c]
        for k in range(reach):
            line[k] = line[reach] if nearest else beyond
            line[reach + cols + k] = line[reach + cols - 1] if nearest else beyond
        _weigh(line, along, weights, total)
        for c in range(cols):
            out[r, c] = total[c]
    return out


def weights_of(sigma, truncate):
    """Weights of a Gauss filter, as `scipy.ndimage.gaussian_filter1d` makes them.

    Parameters
    ----------
    sigma : float
        Width [cells].
    truncate : float
        Cut off at so many widths.

    Returns
    -------
    float64 (2 k + 1,)
    """
    reach = int(truncate * sigma + 0.5)
    at = np.arange(-reach, reach + 1)
    weights = np.exp(-0.5 / (sigma * sigma) * at**2)
    return weights / weights.sum()


@compiled
def box_count(mask, half):
    """How many cells of the square around each are set, cells beyond the border are not.

    Parameters
    ----------
    mask : bool (rows, cols)
    half : int
        The square has 2 half + 1 cells a side.

    Returns
    -------
    int32 (rows, cols)
    """
    rows, cols = mask.shape
    out = np.empty((rows, cols), np.int32)
    column = np.zeros(cols + 2 * half + 1, np.int32)
    for i in range(min(half, rows)):
        for c in range(cols):
            column[half + 1 + c] += mask[i, c]
    for r in range(rows):
        if r + half < rows:
            for c in range(cols):
                column[half + 1 + c] += mask[r + half, c]
        if r - half > 0:
            for c in range(cols):
                column[half + 1 + c] -= mask[r - half - 1, c]
        total = np.int32(0)
        for c in range(2 * half):
            total += column[c + 1]
        for c in range(cols):
            total += column[c + 2 * half + 1] - column[c]
            out[r, c] = total
    return out


@compiled
def bends(z):
    """Greatest second difference at each cell in four directions, see `ingest.faults.bend`.

    Parameters
    ----------
    z : float32 (rows, cols)

    Returns
    -------
    float32 (rows, cols)
    """
    rows, cols = z.shape
    out = np.empty((rows, cols), np.float32)
    for r in range(rows):
        for c in range(cols):
            out[r, c] = np.nan
    for r in range(1, rows - 1):
        up, here, down = z[r - 1], z[r], z[r + 1]
        for c in range(1, cols - 1):
            twice = np.float32(2.0) * here[c]
            a = abs((here[c - 1] + here[c + 1]) - twice)
            b = abs((up[c] + down[c]) - twice)
            d = abs((up[c - 1] + down[c + 1]) - twice)
            e = abs((up[c + 1] + down[c - 1]) - twice)
            most = max(a, b, d, e)
            # unknown where one of them is
            out[r, c] = most if (a + b) + (d + e) < np.inf else (a + b) + (d + e)
    return out


@compiled
def count_steps(values, skip, step, counts):
    """Count known values in steps; the last bin takes all that is larger.

    Parameters
    ----------
    values : float (rows, cols)
        0 or more, NaN unknown.
    skip : bool (rows, cols)
        Not to count.
    step : float
        A power of two.
    counts : int64 (bins,)
        Added to.
    """
    last = counts.size - 1
    for r in range(values.shape[0]):
        for c in range(values.shape[1]):
            v = values[r, c]
            if v < np.inf and not skip[r, c]:
                counts[last if v / step >= last else np.int64(v / step)] += 1


@leaf
def _lower_of(one, other, out):
    for c in range(out.size):
        out[c] = other[c] if other[c] < one[c] else one[c]


@compiled
def lowest_around(values, half):
    """Lowest value of the square around each cell, as far as it lies inside; the highest is that of minus the values.

    Parameters
    ----------
    values : float32 (rows, cols)
        Without NaN.
    half : int
        The square has 2 half + 1 cells a side.

    Returns
    -------
    float32 (rows, cols)
    """
    rows, cols = values.shape
    out = np.empty((rows, cols), np.float32)
    wide = 2 * half + 1
    beyond = np.float32(np.inf)
    # of twice as many cells from each on, until two such stretches cover the square
    line = np.empty(cols + 2 * wide, np.float32)
    next_line = np.empty(cols + 2 * wide, np.float32)
    most = 1
    while 2 * most <= wide:
        most *= 2
    stretch = np.empty((rows + 2 * half, cols), np.float32)
    for r in range(rows + 2 * half):
        inside = half <= r < half + rows
        for c in range(cols):
            stretch[r, c] = values[r - half, c] if inside else beyond
    size = 1
    while size < most:
        for r in range(rows + 2 * half - size):
            _lower_of(stretch[r], stretch[r + size], stretch[r])
        size *= 2
    for r in range(rows):
        _lower_of(stretch[r], stretch[r + wide - most], out[r])
    for r in range(rows):
        for c in range(line.size):
            line[c] = beyond
            next_line[c] = beyond
        for c in range(cols):
            line[half + c] = out[r, c]
        size = 1
        while size < most:
            _lower_of(line, line[size:], next_line[: cols + wide])
            line, next_line = next_line, line
            size *= 2
        _lower_of(line, line[wide - most :], out[r])
    return out


@compiled
def above_opening(ground, half, least):
    """What a grey opening leaves of the ground, and where it takes away a height or more.

    Parameters
    ----------
    ground : float32 (rows, cols)
        [m]; where it is not known it bounds nothing.
    half : int
        The square has 2 half + 1 cells a side.
    least : float32
        [m].

    Returns
    -------
    opened : float32 (rows, cols)
        [m], minus infinity where no square around holds known ground.
    above : bool (rows, cols)
    """
    rows, cols = ground.shape
    values = np.empty((rows, cols), np.float32)
    for r in range(rows):
        for c in range(cols):
            values[r, c] = ground[r, c] if np.isfinite(ground[r, c]) else np.float32(np.inf)
    low = lowest_around(values, half)
    for r in range(rows):
        for c in range(cols):
            values[r, c] = -low[r, c] if np.isfinite(low[r, c]) else np.float32(np.inf)
    opened = lowest_around(values, half)
    above = np.empty((rows, cols), np.bool_)
    for r in range(rows):
        for c in range(cols):
            opened[r, c] = -opened[r, c]
            known = np.isfinite(ground[r, c]) & np.isfinite(opened[r, c])
            above[r, c] = known & (ground[r, c] - opened[r, c] >= least)
    return opened, above
