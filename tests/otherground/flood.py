"""Which hollows a ground has, by a method of its own: cells joined in rising order (a component tree by union-find).

Cells are taken from the lowest to the highest. Where two ponds meet at a cell, each is complete with that cell's height
as its spill level (Najman & Couprie 2006 describe the component tree). The raster's border is open water.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage
from skimage.morphology import reconstruction

Grid = NDArray[np.float64]
EIGHT = np.ones((3, 3), bool)


@dataclass(frozen=True)
class Hollow:
    """One closed hollow of a ground: numbers in cells and metres of the ground it was found in."""

    number: int
    parent: int
    floor_at: tuple[int, int]
    floor_m: float
    spill_at: tuple[int, int]
    spill_m: float
    cells: int
    volume_cells_m: float


@njit(cache=True)
def _root(up, i):
    while up[i] != i:
        up[i] = up[up[i]]
        i = up[i]
    return i


@njit(cache=True)
def _grow(z, order, least):  # noqa: PLR0912, PLR0915 (one compiled loop)
    """Hollows at least `least` deep as rows (floor cell, spill cell, cells, sum of heights, parent)."""
    rows, cols = z.shape
    n = rows * cols
    flat = z.ravel()
    up = np.full(n, -1, np.int64)
    floor = np.arange(n)
    count = np.zeros(n, np.int64)
    total = np.zeros(n, np.float64)
    outside = np.zeros(n, np.bool_)
    head = np.full(n, -1, np.int64)  # newest hollow of a component, linked by `after`
    cap = 1024
    out = np.zeros((cap, 5), np.float64)
    after = np.full(cap, -1, np.int64)
    made = 0
    for k in range(n):
        i = order[k]
        r, c = i // cols, i % cols
        up[i] = i
        own_out = r == 0 or c == 0 or r == rows - 1 or c == cols - 1
        outside[i] = own_out
        level = flat[i]
        # who meets here
        roots = np.empty(8, np.int64)
        m = 0
        for a in range(-1, 2):
            for b in range(-1, 2):
                rr, cc = r + a, c + b
                if (a == 0 and b == 0) or rr < 0 or cc < 0 or rr >= rows or cc >= cols:
                    continue
                j = rr * cols + cc
                if up[j] < 0:
                    continue
                q = _root(up, j)
                seen = False
                for t in range(m):
                    seen = seen or roots[t] == q
                if not seen:
                    roots[m] = q
                    m += 1
        deep = 0
        any_out = own_out
        for t in range(m):
            any_out = any_out or outside[roots[t]]
            if not outside[roots[t]] and level - flat[floor[roots[t]]] >= least:
                deep += 1
        for t in range(m):
            q = roots[t]
            closed = not outside[q] and level - flat[floor[q]] >= least and (any_out or deep > 1)
            if closed:
                if made == cap:
                    cap *= 2
                    wide = np.zeros((cap, 5), np.float64)
                    wide[:made] = out
                    out = wide
                    longer = np.full(cap, -1, np.int64)
                    longer[:made] = after
                    after = longer
                out[made, 0], out[made, 1], out[made, 2] = floor[q], i, count[q]
                out[made, 3], out[made, 4] = total[q], -1
                h = head[q]
                while h >= 0:
                    out[h, 4] = made
                    h = after[h]
                head[q] = made
                made += 1
        base = i
        for t in range(m):
            q = roots[t]
            big, small = (base, q) if count[base] >= count[q] else (q, base)
            low = floor[big] if flat[floor[big]] <= flat[floor[small]] else floor[small]
            up[small] = big
            count[big] += count[small]
            total[big] += total[small]
            outside[big] = outside[big] or outside[small]
            floor[big] = low
            h = head[small]
            if h >= 0:
                while after[h] >= 0:
                    h = after[h]
                after[h] = head[big]
                head[big] = head[small]
            base = big
        count[base] += 1
        total[base] += level
        if any_out:
            outside[base] = True
            head[base] = -1
    return out[:made]


def hollows(z: Grid, least_m: float = 0.12) -> list[Hollow]:
    """Every closed hollow at least `least_m` deep, inner ones before the ones that hold them."""
    z = np.ascontiguousarray(z, np.float64)
    order = np.argsort(z, axis=None, kind="stable")
    cols = z.shape[1]
    found = []
    for k, (floor, spill, cells, total, parent) in enumerate(_grow(z, order, least_m)):
        low, high = divmod(int(floor), cols), divmod(int(spill), cols)
        level = float(z[high])
        found.append(Hollow(k, int(parent), low, float(z[low]), high, level, int(cells), float(cells * level - total)))
    return found


def pool_of(z: Grid, floor_at: tuple[int, int], level: float) -> NDArray[np.bool_]:
    """Cells below a level that hang together with a floor cell."""
    marks, _ = ndimage.label(z < level, structure=EIGHT)
    mark = marks[floor_at]
    return (marks == mark) & (mark > 0)


def filled(z: Grid) -> Grid:
    """Water level everywhere when all hollows are brim-full (scikit-image's reconstruction by erosion)."""
    seed = np.full(z.shape, z.max())
    seed[0], seed[-1], seed[:, 0], seed[:, -1] = z[0], z[-1], z[:, 0], z[:, -1]
    return np.asarray(reconstruction(seed, z, method="erosion", footprint=EIGHT), np.float64)
