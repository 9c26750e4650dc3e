"""Slow, obvious twins of the terrain kernels: pure Python, one idea each, none shared with the fast code.

`naive_fill` floods from the outlets inward; `naive_basins` raises the water level through all heights and watches
pools grow and meet; `naive_catchments` follows pointers and joins pits over every pair of neighbouring cells.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

import numpy as np

EIGHT = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))


def is_outlet(z):
    """Border, NaN and -inf."""
    out = np.isnan(z) | (z == -np.inf)
    out[:1] = out[-1:] = True
    out[:, :1] = out[:, -1:] = True
    return out


def neighbours(z, i, j):
    """The up to 8 cells around a cell, in row, column order."""
    rows, cols = z.shape
    return [(i + y, j + x) for y, x in EIGHT if 0 <= i + y < rows and 0 <= j + x < cols]


def naive_fill(z):
    """Priority flood (Barnes, Lehman & Mulla 2014): lowest open cell first, a cell stands as high as its way out."""
    out = z.copy()
    done = is_outlet(z)
    open_cells = [(-np.inf if np.isnan(z[i, j]) else z[i, j], i, j) for i, j in np.argwhere(done)]
    heapq.heapify(open_cells)
    while open_cells:
        level, i, j = heapq.heappop(open_cells)
        for y, x in neighbours(z, i, j):
            if not done[y, x]:
                done[y, x] = True
                if level > z[y, x]:
                    out[y, x] = level
                heapq.heappush(open_cells, (max(level, z[y, x]), y, x))
    return out


@dataclass
class Pool:
    """Water that stands: its cells, its deepest floor (height, row, col), closed basins inside."""

    cells: set
    floor: tuple
    children: list = field(default_factory=list)
    spill: float = np.nan
    pool: frozenset = frozenset()


def deep_enough(met, floor, level, min_depth):
    """A pool that holds basins always counts, another one by its depth."""
    return met or (level > floor and float(level) - float(floor) >= min_depth)


def naive_basins(z, min_depth=0.0, hole=None):
    """All basins, children before parents, by raising the water through every height."""
    wall = np.zeros(z.shape, bool) if hole is None else hole
    outlet = is_outlet(z) & ~wall
    height = np.where(np.isnan(z), -np.inf, z)
    outside = Pool(set(), (-np.inf, -1, -1))
    owner, closed = {}, []
    for level in np.unique(height[~wall]):
        for cells, pools in _clusters(z, {tuple(c) for c in np.argwhere((height == level) & ~wall)}, owner):
            inner = [p for p in pools if p is not outside]
            deep = [p for p in inner if deep_enough(bool(p.children), p.floor[0], level, min_depth)]
            drains = len(inner) < len(pools) or any(outlet[c] for c in cells)
            if drains or len(deep) > 1:
                for p in deep:
                    p.spill, p.pool = level, frozenset(p.cells)
                    closed.append(p)
            if drains:
                new = outside
            else:
                new = deep[0] if len(deep) == 1 else Pool(set(), (level, *min(cells)), deep)
                new.floor = min([new.floor] + [p.floor for p in inner])
            joined = cells.union(*(p.cells for p in inner))
            new.cells |= joined
            owner.update(dict.fromkeys(joined, new))
    return closed


def _clusters(z, fresh, owner):
    """Cells that go under at one level, with the pools they connect; what shares a pool is one cluster."""
    clusters = []
    while fresh:
        stack = [fresh.pop()]
        cells, pools = set(stack), []
        while stack:
            for c in neighbours(z, *stack.pop()):
                if c in fresh:
                    fresh.remove(c)
                    cells.add(c)
                    stack.append(c)
                elif c in owner and all(owner[c] is not p for p in pools):
                    pools.append(owner[c])
        for other in [k for k in clusters if any(p is q for p in k[1] for q in pools)]:
            clusters.remove(other)
            cells |= other[0]
            pools += [p for p in other[1] if all(p is not q for q in pools)]
        clusters.append((cells, pools))
    return clusters


def _drains(h, out):
    """Floor cell that each cell runs to, always to the lowest of the cells around; None outside."""
    drains = {}
    for start in np.ndindex(h.shape):
        c = start
        while not out[c]:
            lowest = min([*neighbours(h, *c), c], key=lambda t: (h[t], t))
            if lowest == c:
                break
            c = lowest
        drains[start] = None if out[c] else c
    return drains


def _all_passes(h, drains):
    """Every pair of neighbouring cells that drain apart, lowest first: (level, lower height, place, cell, cell)."""
    passes = []
    for i, j in drains:
        for d, (y, x) in enumerate(((0, 1), (1, -1), (1, 0), (1, 1))):
            c = (i + y, j + x)
            if c in drains and drains[c] != drains[i, j] and max(h[i, j], h[c]) < np.inf:
                place = 4 * (i * h.shape[1] + j) + d
                passes.append((max(h[i, j], h[c]), min(h[i, j], h[c]), place, (i, j), c))
    return sorted(passes)


@dataclass
class Group:
    """Pits that have met: the deepest floor (height, cell) and whether basins met in it. pits holds None outside."""

    pits: set
    floor: tuple
    met: bool = False


def naive_catchments(z, min_depth=0.0, hole=None):
    """Floor cell of the leaf basin each cell drains to, int (rows, cols, 2); -1 outside."""
    wall = np.zeros(z.shape, bool) if hole is None else hole
    h = np.where(wall, np.inf, np.where(np.isnan(z), -np.inf, z))
    drains = _drains(h, is_outlet(h))
    group = {p: Group({p}, (h[p], p)) for p in drains.values() if p is not None}
    group[None] = Group({None}, (-np.inf, None), True)
    hand = {}
    for level, _, _, a, b in _all_passes(h, drains):
        one, two = group[drains[a]], group[drains[b]]
        if one is two:
            continue
        deep = [g for g in (one, two) if deep_enough(g.met, g.floor[0], level, min_depth)]
        outside = [g for g in (one, two) if None in g.pits]
        big = (outside or deep or [min(one, two, key=lambda g: g.floor)])[0]
        small, behind = (two, drains[a]) if big is one else (one, drains[b])
        if small not in deep:
            hand[small.floor[1]] = behind
        elif not outside:
            big.met, big.floor = True, min(one.floor, two.floor)
        big.pits |= small.pits
        group.update(dict.fromkeys(small.pits, big))
    return _leaves(drains, hand, group, wall)


def _leaves(drains, hand, group, wall):
    """Follow what was handed on; ground without a way out has a leaf only where basins met."""
    answer = np.full((*wall.shape, 2), -1)
    for c, floor in drains.items():
        pit = floor
        while pit in hand:
            pit = hand[pit]
        if pit is not None and not wall[c] and (None in group[pit].pits or group[pit].met):
            answer[c] = pit
    return answer


def band_slopes(z, free, low, high, cell_m):
    """Slopes of the free cells between two levels, by central differences."""
    out = []
    for r in range(1, len(z) - 1):
        for c in range(1, len(z[0]) - 1):
            d_row = (float(z[r + 1][c]) - float(z[r - 1][c])) / (2 * cell_m)
            d_col = (float(z[r][c + 1]) - float(z[r][c - 1])) / (2 * cell_m)
            slope = (d_row**2 + d_col**2) ** 0.5
            if free[r][c] and low < z[r][c] < high and slope == slope:  # noqa: PLR0124  NaN
                out.append(slope)
    return out
