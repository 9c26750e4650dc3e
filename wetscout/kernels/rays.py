"""Straight lines from a cell to free ground, and a quadratic fitted to the free ground around it."""

from __future__ import annotations

import numpy as np
from numba import njit

N_DIRECTIONS = 16
# what a cell is: to be bridged, unknown; and whether it is the first of four free ones
GAP, UNKNOWN, SQUARE = 1, 2, 4


@njit(nogil=True, cache=True)
def directions():
    """Unit vectors of the lines over half a turn."""
    dirs_r = np.empty(N_DIRECTIONS)
    dirs_c = np.empty(N_DIRECTIONS)
    for k in range(N_DIRECTIONS):
        angle = np.pi * k / N_DIRECTIONS
        dirs_r[k] = np.sin(angle)
        dirs_c[k] = np.cos(angle)
    return dirs_r, dirs_c


@njit(nogil=True, cache=True)
def _whole(v):
    """A number without the rounding error of a sine that should be 0 or 1."""
    near = np.floor(v + 0.5)
    return near if abs(v - near) < 1e-9 else v


@njit(nogil=True, cache=True)
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
    dirs_r, dirs_c = directions()
    nearest = np.empty((2 * N_DIRECTIONS, length + 1), dtype=np.int64)
    corner = np.empty((2 * N_DIRECTIONS, length + 1), dtype=np.int64)
    part_r = np.empty((2 * N_DIRECTIONS, length + 1))
    part_c = np.empty((2 * N_DIRECTIONS, length + 1))
    for q in range(2 * N_DIRECTIONS):
        sign = 1.0 if q < N_DIRECTIONS else -1.0
        for d in range(length + 1):
            rr = _whole(sign * dirs_r[q % N_DIRECTIONS] * d)
            cc = _whole(sign * dirs_c[q % N_DIRECTIONS] * d)
            nearest[q, d] = int(np.floor(rr + 0.5)) * wide + int(np.floor(cc + 0.5))
            corner[q, d] = int(np.floor(rr)) * wide + int(np.floor(cc))
            part_r[q, d] = rr - np.floor(rr)
            part_c[q, d] = cc - np.floor(cc)
    return nearest, corner, part_r, part_c


@njit(nogil=True, cache=True)
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
    n = (rows + 2 * margin) * wide
    flat = np.full(n, np.nan, dtype=z.dtype)
    state = np.full(n, UNKNOWN, dtype=np.uint8)
    for r in range(rows):
        at = (r + margin) * wide + margin
        for c in range(cols):
            flat[at + c] = z[r, c]
            state[at + c] = (GAP if mask[r, c] else 0) | (0 if np.isfinite(z[r, c]) else UNKNOWN)
    for i in range(n - wide - 1):
        if (state[i] | state[i + 1] | state[i + wide] | state[i + wide + 1]) & (GAP | UNKNOWN) == 0:
            state[i] |= SQUARE
    return flat, state


@njit(nogil=True, cache=True)
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
    out = np.zeros(n, dtype=np.int16)
    for i in range(n):
        if state[i] & GAP:
            out[i] = min(out[i - 1], out[i - wide - 1], out[i - wide], out[i - wide + 1], most - 1) + 1
    for i in range(n - 1, -1, -1):
        if state[i] & GAP:
            near = min(out[i + 1], out[i + wide + 1], out[i + wide], out[i + wide - 1])
            out[i] = min(out[i], near + 1)
    return out


@njit(nogil=True, cache=True, inline="always")
def free_distance(deep, state, here, q, reach, nearest):
    """Distance to free ground along a ray [cells], negative if there is none within reach or it is unknown.

    `deep` (from `depth_in_gap`) says how far the next cell outside the gap is at least, so the ray jumps that far.
    """
    d = np.int64(deep[here])
    while d <= reach and deep[here + nearest[q, d]] > 0:
        d += np.int64(deep[here + nearest[q, d]])
    return np.int64(-1) if d > reach or state[here + nearest[q, d]] & UNKNOWN else d


@njit(nogil=True, cache=True)
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
    s0 = 0.0
    s1 = 0.0
    s2 = 0.0
    t0 = 0.0
    t1 = 0.0
    n = 0
    for k in range(run + 1):
        if state[here + nearest[q, d + k]] & (GAP | UNKNOWN):
            break
        n += 1
        i = here + corner[q, d + k]
        if state[i] & SQUARE:
            fr = part_r[q, d + k]
            fc = part_c[q, d + k]
            low = i + corner[N_DIRECTIONS // 2, 1]
            top = flat[i] * (1.0 - fc) + flat[i + 1] * fc
            value = top * (1.0 - fr) + (flat[low] * (1.0 - fc) + flat[low + 1] * fc) * fr
            s0 += 1.0
            s1 += k
            s2 += k * k
            t0 += value
            t1 += k * value
    if s0 < 3.0:
        near = 0.0
        for k in range(n):
            near += flat[here + nearest[q, d + k]]
        return near / n, 0.0
    slope = (s0 * t1 - s1 * t0) / (s0 * s2 - s1 * s1)
    return (t0 - slope * s1) / s0, -slope


@njit(nogil=True, cache=True)
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


@njit(nogil=True, cache=True)
def fit_terms(radius, stride):
    """Samples of a disc with the six terms of a quadratic and their 21 products: worked out once, not at every cell.

    Returns (row offset, column offset, terms (n, 6), products (n, 21)); samples lie at multiples of `stride` from the
    cell, so that a tile sees the same ones.
    """
    n = 0
    for i in range(-radius, radius + 1, stride):
        for j in range(-radius, radius + 1, stride):
            if i * i + j * j <= radius * radius:
                n += 1
    at_row = np.empty(n, dtype=np.int64)
    at_col = np.empty(n, dtype=np.int64)
    term = np.empty((n, 6))
    product = np.empty((n, 21))
    n = 0
    for i in range(-radius, radius + 1, stride):
        for j in range(-radius, radius + 1, stride):
            if i * i + j * j > radius * radius:
                continue
            at_row[n] = i
            at_col[n] = j
            y = i / radius
            x = j / radius
            term[n, 0] = 1.0
            term[n, 1] = x
            term[n, 2] = y
            term[n, 3] = x * x
            term[n, 4] = x * y
            term[n, 5] = y * y
            k = 0
            for p in range(6):
                for q in range(p, 6):
                    product[n, k] = term[n, p] * term[n, q]
                    k += 1
            n += 1
    return at_row, at_col, term, product
