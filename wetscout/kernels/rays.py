"""Straight lines from a cell to free ground, and a quadratic fitted to the free ground around it.

Where cells are looked up in no order, places are unsigned: the compiler asks of every signed one whether it counts from
the end, a quarter of the time of `free_end`.
"""

from __future__ import annotations

import math

import numpy as np

from wetscout.kernels.compiled import compiled, inlined, leaf

N_DIRECTIONS = 16
# what a cell is: to be bridged, unknown; and whether it is the first of four free ones
GAP, UNKNOWN, SQUARE = 1, 2, 4
# powers of column and row in the terms 1, x, y, xx, xy, yy of a quadratic
TERMS = np.array(((0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)))


def directions():
    """Unit vectors of the lines over half a turn."""
    angles = [math.pi * k / N_DIRECTIONS for k in range(N_DIRECTIONS)]
    return np.array([math.sin(angle) for angle in angles]), np.array([math.cos(angle) for angle in angles])


def ray_tables(length, wide):
    """Where the samples of all rays lie, relative to the cell they start from: the same for every cell.

    Parameters
    ----------
    length : int
        Longest distance [cells].
    wide : int
        Columns of the array, to number cells.

    Returns
    -------
    nearest, corner : int64 (32, length + 1)
        Nearest cell of a sample and the first of the four cells around it, as steps in the flattened array; the second
        half of the rays runs against the first.
    part_r, part_c : float64 (32, length + 1)
        Place of the sample between those four.
    """
    far = np.arange(length + 1)
    # without the rounding errors of a sine that should be 0 or 1; the same way back
    rr, cc = (np.concatenate([way, -way]) for way in (np.outer(unit, far) for unit in directions()))
    for way in (rr, cc):
        whole = np.floor(way + 0.5)
        np.copyto(way, whole, where=np.abs(way - whole) < 1e-9)
    low_r, low_c = np.floor(rr), np.floor(cc)
    nearest = np.floor(rr + 0.5).astype(np.int64) * wide + np.floor(cc + 0.5).astype(np.int64)
    return nearest, low_r.astype(np.int64) * wide + low_c.astype(np.int64), rr - low_r, cc - low_c


def with_margin(z, mask, margin):
    """Ground and the state of its cells, with a margin of unknown ground all round, flattened.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground [m].
    mask : bool (rows, cols)
        Cells to bridge.
    margin : int
        [cells].

    Returns
    -------
    flat : float32 (n,)
    state : uint8 (n,)
        Bits GAP, UNKNOWN, SQUARE.
    """
    rows, cols = z.shape
    wide = cols + 2 * margin
    inner = slice(margin, margin + rows), slice(margin, margin + cols)
    ground = np.full((rows + 2 * margin, wide), np.nan, z.dtype)
    ground[inner] = z
    known = np.full(ground.shape, UNKNOWN, np.uint8)
    known[inner] = np.where(np.isfinite(z), 0, UNKNOWN).astype(np.uint8) | np.where(mask, GAP, 0).astype(np.uint8)
    flat, state = ground.ravel(), known.ravel()
    closed = state != 0
    n = state.size - wide - 1
    square = ~(closed[:n] | closed[1 : n + 1] | closed[wide : wide + n] | closed[wide + 1 :])
    state[:n] |= square.view(np.uint8) * np.uint8(SQUARE)
    return flat, state


@compiled
def depth_in_gap(state, wide, most):
    """Steps to the nearest cell that is not to be bridged, to 8 neighbours: no ray ends sooner.

    Parameters
    ----------
    state : uint8 (n,)
        With its margin, which is not to be bridged.
    wide : int
        Columns.
    most : int
        Counted up to this.

    Returns
    -------
    int16 (n,)
        0 outside the gaps.
    """
    n = state.size
    out = np.zeros(n, np.int16)
    for i in range(n):
        if state[i] & GAP:
            out[i] = min(out[i - 1], out[i - wide - 1], out[i - wide], out[i - wide + 1], most - 1) + 1
    for i in range(n - 1, -1, -1):
        if state[i] & GAP:
            near = min(out[i + 1], out[i + wide + 1], out[i + wide], out[i + wide - 1])
            out[i] = min(out[i], near + 1)
    return out


@inlined
def free_distance(deep, state, here, q, reach, near, nearest):
    """Distance to free ground along a ray [cells]; -1 if none is within reach or it is unknown, -2 if none is near.

    `deep` (from `depth_in_gap`) says how far the next cell outside the gap is at least, so the ray jumps that far.
    `near` is where looking ends, at most `reach`.
    """
    ray = np.uint64(q)
    d = np.int64(deep[np.uint64(here)])
    while d <= near:
        step = np.int64(deep[np.uint64(here + nearest[ray, np.uint64(d)])])
        if step == 0:
            return np.int64(-1) if state[np.uint64(here + nearest[ray, np.uint64(d)])] & UNKNOWN else d
        d += step
    return np.int64(-1) if d > reach else np.int64(-2)


@leaf
def free_end(flat, state, here, q, d, run, tables):
    """Level and slope of the free ground at a distance along a ray.

    Samples lie between four free cells; the nearest cell alone would be off by up to 15 mm on a slope of 3 %, and the
    highest of 16 lines collects such errors. Where there are fewer than three such samples, nearest cells serve.

    Parameters
    ----------
    flat, state : as from `with_margin`
    here, q, d : int
        The cell, the ray and the distance.
    run : int
        Free cells that give level and slope.
    tables : as from `ray_tables`

    Returns
    -------
    level, slope : float
        [m], into the gap [m per cell].
    """
    nearest, corner, part_r, part_c = tables
    down = corner[N_DIRECTIONS // 2, 1]
    s0 = s1 = s2 = n = 0
    t0 = t1 = 0.0
    ray = np.uint64(q)
    for k in range(run + 1):
        at = np.uint64(d + k)
        i = here + corner[ray, at]
        if state[np.uint64(i)] & SQUARE:
            # the nearest cell is one of the four
            fr = part_r[ray, at]
            fc = part_c[ray, at]
            top = flat[np.uint64(i)] * (1.0 - fc) + flat[np.uint64(i + 1)] * fc
            bottom = flat[np.uint64(i + down)] * (1.0 - fc) + flat[np.uint64(i + down + 1)] * fc
            value = top * (1.0 - fr) + bottom * fr
            s0 += 1
            s1 += k
            s2 += k * k
            t0 += value
            t1 += k * value
        elif state[np.uint64(here + nearest[ray, at])] & (GAP | UNKNOWN):
            break
        n += 1
    if s0 < 3:
        near = 0.0
        for k in range(n):
            near += flat[here + nearest[q, d + k]]
        return near / n, 0.0
    slope = (s0 * t1 - s1 * t0) / (s0 * s2 - s1 * s1)
    return (t0 - slope * s1) / s0, -slope


@leaf
def solve6(a, b):
    """Gaussian elimination with pivoting for a 6 x 6 system; False if singular."""
    for i in range(6):
        p = i
        for j in range(i + 1, 6):
            if abs(a[j, i]) > abs(a[p, i]):
                p = j
        if abs(a[p, i]) < 1e-9:
            return False
        if p != i:
            for k in range(6):
                a[i, k], a[p, k] = a[p, k], a[i, k]
            b[i], b[p] = b[p], b[i]
        for j in range(i + 1, 6):
            f = a[j, i] / a[i, i]
            if f != 0.0:
                for k in range(i, 6):
                    a[j, k] -= f * a[i, k]
                b[j] -= f * b[i]
    for i in range(5, -1, -1):
        s = b[i]
        for k in range(i + 1, 6):
            s -= a[i, k] * b[k]
        b[i] = s / a[i, i]
    return True


def fit_terms(radius, stride):
    """Samples of a disc with the six terms of a quadratic and their 21 products: worked out once, not at every cell.

    Returns (row offset, column offset, terms (n, 6), products (n, 21)); samples lie at multiples of `stride` from the
    cell, so that a tile sees the same ones.
    """
    steps = np.arange(-radius, radius + 1, stride)
    at_row, at_col = (at.ravel() for at in np.meshgrid(steps, steps, indexing="ij"))
    inside = at_row * at_row + at_col * at_col <= radius * radius
    at_row, at_col = at_row[inside], at_col[inside]
    y, x = at_row / radius, at_col / radius
    term = np.column_stack([np.ones(x.size), x, y, x * x, x * y, y * y])
    product = np.column_stack([term[:, p] * term[:, q] for p in range(6) for q in range(p, 6)])
    return at_row, at_col, term, product
