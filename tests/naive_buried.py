"""Slow, obvious versions of the kernels behind covered drains."""

from __future__ import annotations

import itertools
import math

import numpy as np


def least_trench(z, bed, start_row, start_col, level, grade, least, step_m):
    """Dijkstra with a plain list: (cells of the way, deepest cut), or (None, 0.0)."""
    rows, cols = z.shape
    cost = {(start_row, start_col): (0.0, 0)}
    far = {(start_row, start_col): 0.0}
    came = {(start_row, start_col): None}
    done = set()
    order = 0
    while True:
        open_cells = [(c, k, at) for at, (c, k) in cost.items() if at not in done]
        if not open_cells:
            return None, 0.0
        paid, _, at = min(open_cells)
        done.add(at)
        if math.isfinite(bed[at]) and bed[at] <= level - grade * far[at]:
            break
        for dr, dc in itertools.product((-1, 0, 1), repeat=2):
            to = (at[0] + dr, at[1] + dc)
            if (dr, dc) == (0, 0) or not (0 <= to[0] < rows and 0 <= to[1] < cols) or not math.isfinite(z[to]):
                continue
            length = step_m * math.sqrt(dr * dr + dc * dc)
            depth = max(float(z[to]) - (level - grade * (far[at] + length)), least)
            total = paid + length * depth * depth
            if to not in cost or total < cost[to][0]:
                order += 1
                cost[to], far[to], came[to] = (total, order), far[at] + length, at
    way = []
    while at is not None:
        way.append(at)
        at = came[at]
    way.reverse()
    return way, max(max(float(z[c]) - (level - grade * far[c]), least) for c in way)


def bands(section, reach, centre, near, far):
    """Middle less both sides at every offset, one at a time."""
    half = section.shape[1] // 2
    out = []
    for line in section:
        row = []
        for k in range(-reach, reach + 1):

            def mean(first, last, at=half + k, line=line):
                known = [line[at + d] for d in range(first, last + 1) if 0 <= at + d < len(line)]
                known = [float(v) for v in known if math.isfinite(v)]
                return sum(known) / len(known) if known else None

            left, middle, right = mean(-far, -near), mean(-centre, centre), mean(near, far)
            row.append(0.0 if None in (left, middle, right) else middle - 0.5 * (left + right))
        out.append(row)
    return out


def follow(answer, turn, last_reach):
    """Highest sum over every path there is."""
    n, m = answer.shape
    best = None
    for path in itertools.product(range(m), repeat=n):
        if abs(path[-1] - m // 2) > last_reach or any(abs(a - b) > turn for a, b in itertools.pairwise(path)):
            continue
        total = sum(float(answer[i, k]) for i, k in enumerate(path))
        if best is None or total > best[0]:
            best = (total, path)
    return best


def block_means(section, edges):
    """Block by block with numpy."""
    mean = np.empty((edges.size - 1, section.shape[1]))
    for i in range(edges.size - 1):
        part = section[edges[i] : edges[i + 1]]
        known = np.isfinite(part)
        count = known.sum(axis=0)
        total = np.where(known, part, 0.0).sum(axis=0)
        mean[i] = np.where(2 * count >= part.shape[0], total / np.maximum(count, 1), np.nan)
    return mean
