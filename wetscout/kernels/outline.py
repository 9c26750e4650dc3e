"""Rings along cell edges around labelled pieces of a mask, pieces that touch at a corner only kept apart."""

from __future__ import annotations

import numpy as np
from numba import njit

# steps of a walk that keeps its piece on the left hand, as seen on the map
_DOWN, _RIGHT, _UP, _LEFT = 0, 1, 2, 3


@njit(nogil=True, cache=True)
def _next(around, row, col, way, own):
    """Step from a corner that was reached by `way` along piece `own`; labels in `around` have a margin of one cell.

    Where two cells of one piece meet at the corner, the walk goes over to the other: it never meets itself there.
    """
    above_left, above_right = around[row, col], around[row, col + 1]
    below_left, below_right = around[row + 1, col], around[row + 1, col + 1]
    # the two cells ahead, on the left and on the right hand
    if way == _DOWN:
        left, right = below_right, below_left
    elif way == _RIGHT:
        left, right = above_right, below_right
    elif way == _UP:
        left, right = above_left, above_right
    else:
        left, right = below_left, above_left
    if right == own:
        return (way + 3) % 4
    return way if left == own else (way + 1) % 4


@njit(nogil=True, cache=True)
def _grown(points, n):
    if n < points.shape[0]:
        return points
    more = np.empty((2 * points.shape[0], 2), np.int64)
    more[:n] = points
    return more


@njit(nogil=True, cache=True)
def _walk(around, start, hole, walked, points, n):
    """One ring from its lowest corner: its corners go into points from n on; points, which may have grown, and the end.

    Edges above cells that it passes are marked in walked.
    """
    row, col = start
    first = _RIGHT if hole else _DOWN
    own = around[row, col + 1] if hole else around[row + 1, col + 1]
    came, way = -1, first
    while came == -1 or way != first or row != start[0] or col != start[1]:
        if way != came:
            points = _grown(points, n)
            points[n, 0], points[n, 1] = row, col
            n += 1
        if way in (_RIGHT, _LEFT):
            col -= 1 if way == _LEFT else 0
            walked[row, col] = True
            col += 1 if way == _RIGHT else 0
        else:
            row += 1 if way == _DOWN else -1
        came = way
        way = _next(around, row, col, way, own)
    points = _grown(points, n)
    points[n, 0], points[n, 1] = row, col
    return points, n + 1


@njit(nogil=True, cache=True)
def rings(labels, pieces):
    """Rings around each of the pieces of labels (h, w) int32, numbered from 1 and connected by their sides.

    Returns corners (n, 2) int64 as (row, col), where each ring begins among them (rings + 1,), and the piece of each
    ring. Rings are closed, run from their lowest (row, col) and stand in the order of these, so the first of a piece
    is its outer one; seen on the map outer rings run counter-clockwise and holes clockwise. No ring touches itself.
    """
    h, w = labels.shape
    walked = np.zeros((h + 1, w), np.bool_)
    around = np.zeros((h + 2, w + 2), np.int32)
    around[1:-1, 1:-1] = labels
    points = np.empty((64, 2), np.int64)
    begins = np.zeros(pieces + 2, np.int64)
    piece = np.zeros(pieces + 1, np.int64)
    n, k = 0, 0
    for i in range(h + 1):
        for j in range(w):
            here, above = around[i + 1, j + 1], around[i, j + 1]
            # two different pieces never share a side
            if here == above or walked[i, j]:
                continue
            if k == piece.size:
                piece = np.append(piece, np.zeros(k, np.int64))
                begins = np.append(begins, np.zeros(k, np.int64))
            piece[k] = here + above
            points, n = _walk(around, (i, j), here == 0, walked, points, n)
            k += 1
            begins[k] = n
    return points[:n].copy(), begins[: k + 1].copy(), piece[:k].copy()
