"""Pieces of a mask that hang together by the sides of their cells."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(nogil=True, cache=True)
def _root(above, k):
    while above[k] != k:
        above[k] = above[above[k]]
        k = above[k]
    return k


@njit(nogil=True, cache=True)
def label(mask):
    """Number the pieces of mask (h, w) bool from 1, in the order of their first cells: (h, w) int32, and how many.

    For small masks; general libraries take a tenth of a millisecond to begin with.
    """
    h, w = mask.shape
    out = np.zeros((h, w), np.int32)
    above = np.zeros(h * w // 2 + 2, np.int32)
    n = 0
    for i in range(h):
        for j in range(w):
            if not mask[i, j]:
                continue
            up = out[i - 1, j] if i > 0 else 0
            left = out[i, j - 1] if j > 0 else 0
            if up == 0 and left == 0:
                n += 1
                above[n] = n
                out[i, j] = n
            elif up == 0 or left in (0, up):
                out[i, j] = max(up, left)
            else:
                a, b = _root(above, up), _root(above, left)
                low = min(a, b)
                above[max(a, b)] = low
                out[i, j] = low
    pieces = 0
    number = np.zeros(n + 1, np.int32)
    for k in range(1, n + 1):
        # the lowest number of a piece is its root and comes first
        root = _root(above, k)
        if root == k:
            pieces += 1
            number[k] = pieces
        else:
            number[k] = number[root]
    for i in range(h):
        for j in range(w):
            out[i, j] = number[out[i, j]]
    return out, pieces
