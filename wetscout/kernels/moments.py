"""Sums over a disc of free ground, as a fitted quadratic needs them: whole numbers, from running sums along rows.

Heights are whole numbers of a small step, so nothing is rounded and the order of adding does not matter: what 200
samples add up to is told from the ends of 17 rows, in a third of the time.
"""

from __future__ import annotations

import math

import numpy as np

from wetscout.kernels.compiled import compiled, leaf

# running sums: free cells times 0-4 powers of their column, heights times 0-2 powers
N_SUMS = 8
N_POWERS = 5


def disc_rows(radius, stride):
    """Samples to each side of the middle one, in each row of samples of a disc.

    Parameters
    ----------
    radius, stride : int
        [cells].

    Returns
    -------
    int64 (2 radius / stride + 1,)
        Empty where sums over it would be rounded: radius no power of two or no multiple of the stride.
    """
    if radius & (radius - 1) or radius % stride:
        return np.zeros(0, np.int64)
    most = radius // stride
    return np.array([math.isqrt(most * most - v * v) for v in range(-most, most + 1)], dtype=np.int64)


@compiled
def whole_scale(flat, rows):
    """What heights must be multiplied by to be whole numbers whose sums over a disc float64 holds without rounding.

    Parameters
    ----------
    flat : float32 (n,)
        [m].
    rows : int64 (m,)
        From `disc_rows`.

    Returns
    -------
    float
        A power of two [1/m]; 0 where there is none.
    """
    if rows.size == 0:
        return 0.0
    most = 0.0
    for i in range(flat.size):
        if not np.isnan(flat[i]):
            most = max(most, abs(np.float64(flat[i])))
    # differences of two heights times the square of a row or column, all added up, stay below 2^53
    squares = 0.0
    for v in rows:
        squares += (2 * v + 1) * max(v * v, rows.size * rows.size // 4)
    bits = 52.0 - math.ceil(math.log2(2.0 * max(most, 1.0) * squares))
    scale = 2.0**bits
    for i in range(flat.size):
        if not np.isnan(flat[i]) and flat[i] * scale != math.floor(flat[i] * scale):
            return 0.0
    return scale


@leaf
def add_along(flat, state, begin, stride, scale, sums):
    """Running sums along a row of cells, over every `stride`-th cell, into `sums` (stride + cells, N_SUMS).

    The first `stride` are 0; cells that are to be bridged or unknown add nothing. Columns are counted in samples.
    """
    for t in range(stride):
        for k in range(N_SUMS):
            sums[t, k] = 0
    for t in range(stride, sums.shape[0]):
        i = np.uint64(begin + t - stride)
        here, last = np.uint64(t), np.uint64(t - stride)
        if state[i] & 3:
            for k in range(N_SUMS):
                sums[here, k] = sums[last, k]
            continue
        m = np.int64(t // stride)
        z = np.int64(np.float64(flat[i]) * scale)
        sums[here, 0] = sums[last, 0] + 1
        sums[here, 1] = sums[last, 1] + m
        sums[here, 2] = sums[last, 2] + m * m
        sums[here, 3] = sums[last, 3] + m * m * m
        sums[here, 4] = sums[last, 4] + m * m * m * m
        sums[here, 5] = sums[last, 5] + z
        sums[here, 6] = sums[last, 6] + z * m
        sums[here, 7] = sums[last, 7] + z * m * m


@leaf
def _pair(ring, lines, at, k):
    """Sum k of two rows that lie as far from the middle: both together, and how much more the lower one has."""
    right, left = at
    upper = ring[lines[0], right, k] - ring[lines[0], left, k]
    lower = ring[lines[1], right, k] - ring[lines[1], left, k]
    return lower + upper, lower - upper


@leaf
def add_up(ring, first, t, rows, stride, out):
    """Sums over the disc around a column, times 0-4 powers of the row, into `out` (N_POWERS, N_SUMS).

    Parameters
    ----------
    ring : int64 (height, n, N_SUMS)
        Rows of running sums, by row modulo the height.
    first : int
        Uppermost row of the disc.
    t : int
        The column in the ring.
    rows : int64 (m,)
        From `disc_rows`.
    stride : int
        [cells].
    out : int64 (N_POWERS, N_SUMS)
        Columns and rows are counted in samples from the middle; together at most four powers of free cells and two of
        heights, the others are not filled in.
    """
    most = rows.size // 2
    height = ring.shape[0]
    at = np.uint64(t + most * stride), np.uint64(t - (most + 1) * stride)
    line = np.uint64((first + most * stride) % height)
    right, left = at
    a0 = ring[line, right, 0] - ring[line, left, 0]
    a1 = ring[line, right, 1] - ring[line, left, 1]
    a2 = ring[line, right, 2] - ring[line, left, 2]
    a3 = ring[line, right, 3] - ring[line, left, 3]
    a4 = ring[line, right, 4] - ring[line, left, 4]
    z0 = ring[line, right, 5] - ring[line, left, 5]
    z1 = ring[line, right, 6] - ring[line, left, 6]
    z2 = ring[line, right, 7] - ring[line, left, 7]
    # a bare number would have `_pair` compiled for each of them: 1.4 s
    b0 = b1 = b2 = b3 = c0 = c1 = c2 = d0 = d1 = e0 = y0 = y1 = x0 = np.int64(0)
    for n in range(most):
        v = np.int64(most - n)
        lines = np.uint64((first + n * stride) % height), np.uint64((first + (2 * most - n) * stride) % height)
        at = np.uint64(t + rows[n] * stride), np.uint64(t - (rows[n] + 1) * stride)
        both, more = _pair(ring, lines, at, np.int64(0))
        a0 += both
        b0 += v * more
        c0 += v * v * both
        d0 += v * v * v * more
        e0 += v * v * v * v * both
        both, more = _pair(ring, lines, at, np.int64(1))
        a1 += both
        b1 += v * more
        c1 += v * v * both
        d1 += v * v * v * more
        both, more = _pair(ring, lines, at, np.int64(2))
        a2 += both
        b2 += v * more
        c2 += v * v * both
        both, more = _pair(ring, lines, at, np.int64(3))
        a3 += both
        b3 += v * more
        a4 += _pair(ring, lines, at, np.int64(4))[0]
        both, more = _pair(ring, lines, at, np.int64(5))
        z0 += both
        y0 += v * more
        x0 += v * v * both
        both, more = _pair(ring, lines, at, np.int64(6))
        z1 += both
        y1 += v * more
        z2 += _pair(ring, lines, at, np.int64(7))[0]
    out[0, 0], out[0, 1], out[0, 2], out[0, 3], out[0, 4], out[0, 5], out[0, 6], out[0, 7] = (
        a0,
        a1,
        a2,
        a3,
        a4,
        z0,
        z1,
        z2,
    )
    out[1, 0], out[1, 1], out[1, 2], out[1, 3], out[1, 5], out[1, 6] = b0, b1, b2, b3, y0, y1
    out[2, 0], out[2, 1], out[2, 2], out[2, 5] = c0, c1, c2, x0
    out[3, 0], out[3, 1], out[4, 0] = d0, d1, e0
    # columns from the middle: sums of m^k become those of (m - c)^k
    c = np.int64(t // stride)
    for j in range(N_POWERS):
        for step in range(1, N_POWERS - j):
            for k in range(N_POWERS - 1 - j, step - 1, -1):
                out[j, k] -= c * out[j, k - 1]
        for step in range(1, 3 - j):
            for k in range(7 - j, step + 4, -1):
                out[j, k] -= c * out[j, k - 1]


__all__ = ["N_POWERS", "N_SUMS", "add_along", "add_up", "disc_rows", "whole_scale"]
