"""Following a faint line through a corridor: the path whose summed answer is highest."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled


@compiled
def block_means(section, edges):
    """Means of the known values of each column over blocks of rows.

    Parameters
    ----------
    section : float64 (n, m)
        [m], NaN unknown.
    edges : int64 (blocks + 1,)
        First row of each block, and one past the last.

    Returns
    -------
    float64 (blocks, m)
        [m]; NaN where less than half of a block is known.
    """
    m = section.shape[1]
    out = np.full((edges.size - 1, m), np.nan)
    for k in range(edges.size - 1):
        for j in range(m):
            total, known = 0.0, 0
            for i in range(edges[k], edges[k + 1]):
                if np.isfinite(section[i, j]):
                    total += section[i, j]
                    known += 1
            if 2 * known >= edges[k + 1] - edges[k]:
                out[k, j] = total / max(known, 1)
    return out


@compiled
def bands(section, reach, centre, flank_from, flank_to):
    """How far the middle of a section stands above the ground on both sides, at each offset.

    Parameters
    ----------
    section : float64 (n, m)
        Ground along a corridor (rows) and across it (columns) [m], NaN unknown.
    reach : int
        Offsets on each side of the middle column that are answered.
    centre, flank_from, flank_to : int
        Half width of the middle band, nearest and farthest sample of the bands beside it.

    Returns
    -------
    float64 (n, 2 reach + 1)
        Mean of the middle band less the mean of the two bands beside it [m]; 0 where one of the three is unknown.
    """
    n, m = section.shape
    half = m // 2
    out = np.zeros((n, 2 * reach + 1))
    for i in range(n):
        for k in range(-reach, reach + 1):
            at = half + k
            total = np.zeros(3)
            count = np.zeros(3)
            for d in range(-flank_to, flank_to + 1):
                if -flank_from < d < -centre or centre < d < flank_from:
                    continue
                j = at + d
                if j < 0 or j >= m:
                    continue
                value = section[i, j]
                if value != value:
                    continue
                b = 0 if d <= -flank_from else (2 if d >= flank_from else 1)
                total[b] += value
                count[b] += 1.0
            if count[0] > 0 and count[1] > 0 and count[2] > 0:
                out[i, k + reach] = total[1] / count[1] - 0.5 * (total[0] / count[0] + total[2] / count[2])
    return out


@compiled
def follow(answer, turn, last_reach):
    """Path through a table, one column a row, whose sum is highest (Bellman 1957, dynamic programming).

    Parameters
    ----------
    answer : float64 (n, m)
        Answer at each block along (rows) and offset (columns).
    turn : int
        Columns the path may move from one row to the next.
    last_reach : int
        The path ends in the last row within this many columns of the middle.

    Returns
    -------
    path : int64 (n,)
        Column in each row; of equal sums the lower column.
    total : float
        Sum along the path.
    """
    n, m = answer.shape
    best = np.empty((n, m))
    came = np.zeros((n, m), np.int64)
    for k in range(m):
        best[0, k] = answer[0, k]
    for i in range(1, n):
        for k in range(m):
            top = -np.inf
            at = 0
            for j in range(max(0, k - turn), min(m, k + turn + 1)):
                if best[i - 1, j] > top:
                    top = best[i - 1, j]
                    at = j
            best[i, k] = top + answer[i, k]
            came[i, k] = at
    half = m // 2
    at = half
    top = -np.inf
    for k in range(max(0, half - last_reach), min(m, half + last_reach + 1)):
        if best[n - 1, k] > top:
            top = best[n - 1, k]
            at = k
    path = np.empty(n, np.int64)
    for i in range(n - 1, -1, -1):
        path[i] = at
        at = came[i, at]
    return path, top
