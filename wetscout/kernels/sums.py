"""Sums in the order in which numpy adds, and the lengths of lines by them."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf

# numpy adds blocks of this many numbers in eight running sums, and halves what is longer
BLOCK = 128


@leaf
def _block(values, first, n):
    """Sum of n <= 128 values from `first` on: eight running sums, added in pairs, then the rest one by one."""
    if n < 8:
        out = 0.0
        for i in range(first, first + n):
            out += values[i]
        return out
    a, b, c, d = values[first], values[first + 1], values[first + 2], values[first + 3]
    e, f, g, h = values[first + 4], values[first + 5], values[first + 6], values[first + 7]
    whole = first + n - n % 8
    for i in range(first + 8, whole, 8):
        a += values[i]
        b += values[i + 1]
        c += values[i + 2]
        d += values[i + 3]
        e += values[i + 4]
        f += values[i + 5]
        g += values[i + 6]
        h += values[i + 7]
    out = ((a + b) + (c + d)) + ((e + f) + (g + h))
    for i in range(whole, first + n):
        out += values[i]
    return out


@compiled
def total(values):
    """Sum of values (n,), to the bit what numpy's `sum` gives: halves of halves (Higham 1993, pairwise summation).

    Parameters
    ----------
    values : float64 (n,)
        Any unit.

    Returns
    -------
    float
        In the same unit.
    """
    n = values.size
    if n <= BLOCK:
        return _block(values, np.int64(0), n)
    # one place for each halving: 63 are enough for any size
    first, size = np.zeros(64, np.int64), np.zeros(64, np.int64)
    left, halves = np.zeros(64), np.zeros(64, np.int64)
    size[0] = n
    top = 0
    while True:
        if size[top] > BLOCK:
            half = size[top] // 2
            half -= half % 8
            first[top + 1], size[top + 1], halves[top + 1] = first[top], half, 0
            top += 1
            continue
        out = _block(values, first[top], size[top])
        while top > 0 and halves[top - 1] == 1:
            top -= 1
            halves[top] = 0
            out = left[top] + out
        if top == 0:
            return out
        # the right half of the place above comes next
        top -= 1
        left[top], halves[top] = out, 1
        half = size[top] // 2
        half -= half % 8
        first[top + 1], size[top + 1], halves[top + 1] = first[top] + half, size[top] - half, 0
        top += 1


@compiled
def length(points):
    """Length of a line.

    Parameters
    ----------
    points : float64 (n, 2)
        [cells].

    Returns
    -------
    float
        [cells]
    """
    if points.shape[0] < 2:
        return 0.0
    step = np.empty(points.shape[0] - 1)
    for i in range(step.size):
        step[i] = np.hypot(points[i + 1, 0] - points[i, 0], points[i + 1, 1] - points[i, 1])
    return total(step)
