"""The way water takes over a surface without depressions."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(nogil=True, cache=True)
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


@njit(nogil=True, cache=True)
def _window(shape, start, reach, queue, n):
    """Marks of the cells seen, in a window that reaches so far around a cell: (first row, first column, marks)."""
    rows, cols = shape
    r, c = start // cols, start % cols
    top, left = max(0, r - reach), max(0, c - reach)
    seen = np.zeros((min(rows, r + reach + 1) - top, min(cols, c + reach + 1) - left), np.bool_)
    for k in range(n):
        seen[queue[k] // cols - top, queue[k] % cols - left] = True
    return top, left, seen


@njit(nogil=True, cache=True)
def _over_flat(z, start):
    """Shortest way over level ground to a cell from which water leaves it, the first found of equals.

    Lakes have millions of cells: what was seen is marked in a window that grows, not kept in a dictionary.
    """
    cols = z.shape[1]
    queue = np.empty(64, np.int64)
    # place in the queue from which each was reached
    came = np.empty(64, np.int64)
    queue[0], came[0] = start, -1
    n, reach = 1, 32
    top, left, seen = _window(z.shape, start, reach, queue, n)
    level = z[start // cols, start % cols]
    head = 0
    last = 0
    while head < n:
        last = head
        at = queue[head]
        head += 1
        r = at // cols
        c = at - r * cols
        to, out = _lowest_beside(z, r, c)
        if to >= 0 or out:
            break
        if n + 8 > queue.size:
            queue = np.append(queue, np.empty(n, np.int64))
            came = np.append(came, np.empty(n, np.int64))
        if max(abs(r - start // cols), abs(c - start % cols)) >= reach:
            reach *= 2
            top, left, seen = _window(z.shape, start, reach, queue, n)
        for dr in range(-1, 2):
            for dc in range(-1, 2):
                if z[r + dr, c + dc] == level and not seen[r + dr - top, c + dc - left]:
                    seen[r + dr - top, c + dc - left] = True
                    queue[n], came[n] = (r + dr) * cols + c + dc, head - 1
                    n += 1
    way = [queue[last]]
    while came[last] >= 0:
        last = came[last]
        way.append(queue[last])
    return way


@njit(nogil=True, cache=True)
def follow_down(z, row, col, most):
    """Cells that water passes from a place, to the border, unknown ground or `most` cells.

    Parameters
    ----------
    z : float32 (rows, cols)
        Ground with depressions raised to their spill levels [m]; NaN is outside.
    row, col : int
        Where it begins.
    most : int
        Cells at most.

    Returns
    -------
    int64 (n,)
        row * cols + col of the cells, the first one included. On level ground the shortest way is taken.
    """
    cols = z.shape[1]
    at = np.int64(row) * cols + np.int64(col)
    out = [at]
    while len(out) < most:
        to, leaves = _lowest_beside(z, at // cols, at % cols)
        if leaves or z[at // cols, at % cols] != z[at // cols, at % cols]:
            break
        if to >= 0:
            out.append(to)
            at = to
            continue
        way = _over_flat(z, at)
        if len(way) == 1:
            break
        for k in range(len(way) - 2, -1, -1):
            out.append(way[k])
        at = out[-1]
    n = min(len(out), most)
    cells = np.empty(n, dtype=np.int64)
    for k in range(n):
        cells[k] = out[k]
    return cells
