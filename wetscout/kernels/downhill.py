"""The way water takes over a surface without depressions."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf
from wetscout.kernels.grow import longer


@leaf
def _lowest_beside(z, r, c):
    """Lowest of the eight neighbours, the first in row, col order of equals; `out` where one is unknown or missing."""
    rows, cols = z.shape
    best = np.float64(z[r, c])
    to = np.int64(-1)
    for dr in range(-1, 2):
        for dc in range(-1, 2):
            rr = r + dr
            cc = c + dc
            if rr < 0 or cc < 0 or rr >= rows or cc >= cols or z[rr, cc] != z[rr, cc]:
                return np.int64(-1), True
            if np.float64(z[rr, cc]) < best:
                best = np.float64(z[rr, cc])
                to = rr * cols + cc
    return to, False


@compiled
def _lay_flat(z, start, far):
    """Steps to the nearest way out, by threes, for all cells of the level ground around a cell: 1 is none, 3 is two.

    Steps of neighbours differ by one at most, so remainders tell which of them is nearer. False where there is no way
    out.
    """
    rows, cols = z.shape
    level = z[start // cols, start % cols]
    flat = np.empty(64, np.int64)
    outs = np.empty(16, np.int64)
    flat[0] = start
    far[start // cols, start % cols] = 4
    n, m, head = 1, 0, 0
    while head < n:
        at = flat[head]
        head += 1
        r, c = at // cols, at % cols
        to, out = _lowest_beside(z, r, c)
        if to >= 0 or out:
            if m == outs.size:
                outs = longer(outs)
            outs[m] = at
            m += 1
            far[r, c] = 1
        if n + 8 > flat.size:
            flat = longer(flat)
        for rr in range(max(0, r - 1), min(rows, r + 2)):
            for cc in range(max(0, c - 1), min(cols, c + 2)):
                if far[rr, cc] == 0 and z[rr, cc] == level:
                    far[rr, cc] = 4
                    flat[n] = rr * cols + cc
                    n += 1
    for i in range(m):
        flat[i] = outs[i]
    end, head = m, 0
    while head < end:
        r, c = flat[head] // cols, flat[head] % cols
        head += 1
        for rr in range(max(0, r - 1), min(rows, r + 2)):
            for cc in range(max(0, c - 1), min(cols, c + 2)):
                if far[rr, cc] == 4 and z[rr, cc] == level:
                    far[rr, cc] = 1 + far[r, c] % 3
                    flat[end] = rr * cols + cc
                    end += 1
    return m > 0


@leaf
def _over_flat(z, at, far):
    """Next cell of the shortest way over level ground, the first in row, col order of equals."""
    cols = z.shape[1]
    r, c = at // cols, at % cols
    nearer = 1 + (far[r, c] + 1) % 3
    for rr in range(r - 1, r + 2):
        for cc in range(c - 1, c + 2):
            if far[rr, cc] == nearer and z[rr, cc] == z[r, c]:
                return rr * cols + cc
    return at


@compiled
def follow_down(z, row, col, most, far):
    """Cells that water passes from a place, to the border, unknown ground or `most` cells.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground with depressions raised to their spill levels [m]; NaN is outside.
    row, col : int
        Where it begins.
    most : int
        Cells at most.
    far : uint8 (rows, cols)
        Zeros at first; what is found out about level ground is kept here for the next call with the same ground.

    Returns
    -------
    int64 (n,)
        row * cols + col of the cells, the first one included. On level ground the shortest way is taken.
    """
    cols = z.shape[1]
    at = np.int64(row) * cols + np.int64(col)
    out = [at]
    while len(out) < most:
        r, c = at // cols, at % cols
        to, leaves = _lowest_beside(z, r, c)
        if leaves or z[r, c] != z[r, c]:
            break
        if to < 0:
            if far[r, c] == 0 and not _lay_flat(z, at, far):
                break
            to = _over_flat(z, at, far)
            if to == at:
                break
        out.append(to)
        at = to
    return np.array(out)
