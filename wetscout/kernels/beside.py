"""Lines that run beside a place: points of lines in square buckets, and how many parallel ones pass."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled


@compiled
def buckets(points, size):
    """Points (n, 2) in square buckets: their order, where each bucket begins in it, rows, columns, the corner."""
    low_r, low_c, high_r, high_c = np.inf, np.inf, -np.inf, -np.inf
    for i in range(points.shape[0]):
        low_r, high_r = min(low_r, points[i, 0]), max(high_r, points[i, 0])
        low_c, high_c = min(low_c, points[i, 1]), max(high_c, points[i, 1])
    rows = int((high_r - low_r) / size) + 1
    cols = int((high_c - low_c) / size) + 1
    at = np.empty(points.shape[0], np.int64)
    begins = np.zeros(rows * cols + 1, np.int64)
    for i in range(points.shape[0]):
        at[i] = int((points[i, 0] - low_r) / size) * cols + int((points[i, 1] - low_c) / size)
        begins[at[i] + 1] += 1
    free = np.empty(rows * cols, np.int64)
    for k in range(rows * cols):
        free[k] = begins[k]
        begins[k + 1] += begins[k]
    order = np.empty(points.shape[0], np.int64)
    for i in range(points.shape[0]):
        order[free[at[i]]] = i
        free[at[i]] += 1
    return order, begins, rows, cols, low_r, low_c


@compiled
def parallel_lines(points, heading, owner, places, reach, cosine, beside):
    """How many other lines pass each place, parallel and square to it.

    Parameters
    ----------
    points, heading : float64 (n, 2)
        Points of all lines [cells] and the unit vectors along them.
    owner : int64 (n,)
        Line of each point.
    places : int64 (m,)
        Numbers of points.
    reach : float
        Points count within it [cells].
    cosine : float
        Of the largest angle between two lines that count as parallel.
    beside : float
        How far ahead or behind a point may lie [cells].

    Returns
    -------
    int64 (m,)
    """
    order, begins, rows, cols, low_r, low_c = buckets(points, reach)
    lines = 0
    for k in range(owner.size):
        lines = max(lines, owner[k] + 1)
    # for each line the last place it passed, from 1
    seen = np.zeros(lines, np.int64)
    out = np.zeros(places.size, np.int64)
    for k in range(places.size):
        p = places[k]
        r, c = points[p, 0], points[p, 1]
        i, j = int((r - low_r) / reach), int((c - low_c) / reach)
        for a in range(max(0, i - 1), min(rows, i + 2)):
            first, last = max(0, j - 1), min(cols, j + 2)
            for n in range(begins[a * cols + first], begins[a * cols + last]):
                q = order[n]
                if owner[q] == owner[p] or seen[owner[q]] == k + 1:
                    continue
                d_row, d_col = points[q, 0] - r, points[q, 1] - c
                turn = heading[q, 0] * heading[p, 0] + heading[q, 1] * heading[p, 1]
                ahead = d_row * heading[p, 0] + d_col * heading[p, 1]
                if d_row * d_row + d_col * d_col <= reach * reach and abs(turn) >= cosine and abs(ahead) <= beside:
                    seen[owner[q]] = k + 1
                    out[k] += 1
    return out
