"""Rings along cell edges around the pieces of a mask, pieces that touch at a corner only kept apart.

Masks of large pools are mostly empty, so they come as runs: cells of one row side by side.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf
from wetscout.kernels.grow import longer

# bits of a column in a packed run: rasters are at most a million cells wide
PACK_BITS = 20
# steps of a walk that keeps its piece on the left hand, as seen on the map
_DOWN, _RIGHT, _UP, _LEFT = 0, 1, 2, 3


@compiled
def _grown(points, n):
    if n < points.shape[0]:
        return points
    more = np.empty((2 * points.shape[0], 2), np.int64)
    for i in range(n):
        more[i, 0], more[i, 1] = points[i, 0], points[i, 1]
    return more


@compiled
def _walk(found, of_run, row, col, own, hole, walked, points, n):
    """One ring from its lowest corner: its corners go into points from n on; points, which may have grown, and the end.

    Edges above cells that it passes are marked in walked. All in one body: a call that is handed arrays counts their
    references up and down, which took most of a step.
    """
    begins, left, right = found
    start_row, start_col = row, col
    first = _RIGHT if hole else _DOWN
    came, way = -1, first
    while came == -1 or way != first or row != start_row or col != start_col:
        if way != came:
            if n == points.shape[0]:
                points = _grown(points, n)
            points[n, 0], points[n, 1] = row, col
            n += 1
        if way == _RIGHT or way == _LEFT:  # noqa: PLR1714  a tuple compiles slowly
            col -= 1 if way == _LEFT else 0
            walked[row, col] = True
            col += 1 if way == _RIGHT else 0
        else:
            row += 1 if way == _DOWN else -1
        came = way
        # the pieces of the two cells ahead, on the left and on the right hand; 0 where there is none
        up, back = (way + 1) // 2 % 2, way // 2
        one = other = np.int64(0)
        for side in range(2):
            at_row, at_col = (row - back, col - 1 + up) if side else (row - up, col - back)
            piece = np.int64(0)
            if 0 <= at_row < begins.size - 1:
                low, end = begins[at_row], begins[at_row + 1]
                high = end
                while high > low:
                    middle = (low + high) // 2
                    if right[middle] > at_col:
                        high = middle
                    else:
                        low = middle + 1
                if low < end and left[low] <= at_col:
                    piece = np.int64(of_run[low])
            one, other = (one, piece) if side else (piece, other)
        # where two cells of one piece meet at the corner the walk goes over to the other, so it never meets itself
        # there; one on the right hand alone touches the piece at the corner only, and may be of another one
        if other > 0 and (one > 0 or other == own):
            way = (way + 3) % 4
        elif one == 0:
            way = (way + 1) % 4
    if n == points.shape[0]:
        points = _grown(points, n)
    points[n, 0], points[n, 1] = row, col
    return points, n + 1


@compiled
def runs(labels, first, last):
    """Runs of the cells whose labels lie between two.

    Parameters
    ----------
    labels : int (h, w)
    first, last : int

    Returns
    -------
    begins : int64 (h + 1,)
        First run of each row.
    left, right : int64 (n,)
        First column of each run, and the one after its last.
    """
    h, w = labels.shape
    begins = np.zeros(h + 1, np.int64)
    n = np.int64(0)
    changes = np.empty(max(64, 2 * (w + 1)), np.int64)
    for r in range(h):
        if n + w + 1 > changes.size:
            changes = longer(changes)
        n = _changes(labels[r], first, last, changes, n)
        begins[r + 1] = n // 2
    left, right = np.empty(n // 2, np.int64), np.empty(n // 2, np.int64)
    for k in range(n // 2):
        left[k], right[k] = changes[2 * k], changes[2 * k + 1]
    return begins, left, right


@leaf
def _changes(row, first, last, changes, n):
    """Columns where a row goes in and out of the cells, appended; blocks of 32 cells without a change are passed over:
    0.5 ns a cell in place of 7."""
    inside = False
    for begin in range(0, row.size, 32):
        end = min(begin + 32, row.size)
        count = 0
        for c in range(begin, end):
            count += 1 if (row[c] >= first) & (row[c] <= last) else 0
        if count == (end - begin if inside else 0):
            continue
        for c in range(begin, end):
            if (first <= row[c] <= last) != inside:
                changes[n] = c
                n += 1
                inside = not inside
    if inside:
        changes[n] = row.size
        n += 1
    return n


@compiled
def label_runs(labels, nodes, corner):
    """Runs of cells with one label each, of those with labels between two, row by row.

    Parameters
    ----------
    labels : int (h, w)
    nodes : (int, int)
        First and last label.
    corner : (int, int)
        Row and column of the first cell.

    Returns
    -------
    label : int32 (n,)
    packed : int64 (n,)
        Row, first column and the one after the last, of `PACK_BITS` bits each: sorted they stand row by row.
    """
    (first, last), (row0, col0) = nodes, corner
    h, w = labels.shape
    packed = np.empty(4 * (w + 1), np.int64)
    label = np.empty(4 * (w + 1), np.int32)
    n = 0
    for r in range(h):
        if n + w > packed.size:
            packed, label = longer(packed), longer(label)
        begin = 0
        for c in range(1, w + 1):
            k = labels[r, begin]
            if c < w and labels[r, c] == k:
                continue
            if first <= k <= last:
                label[n] = k
                packed[n] = ((row0 + r) << 2 * PACK_BITS) + ((col0 + begin) << PACK_BITS) + col0 + c
                n += 1
            begin = c
    return label[:n].copy(), packed[:n].copy()


@compiled
def joined(packed, box):
    """Runs of the cells of some runs that share none, as `runs` gives them.

    Parameters
    ----------
    packed : int64 (n,)
        As from `label_runs`, sorted. Those of the answer are put in their place.
    box : (int, int, int)
        First row, rows and first column of a window that holds them all; the answer counts from it.

    Returns
    -------
    begins, left, right : as from `runs`
    """
    row0, h, col0 = box
    bits = (1 << PACK_BITS) - 1
    begins = np.zeros(h + 1, np.int64)
    left, right = np.empty(packed.size, np.int64), np.empty(packed.size, np.int64)
    n = 0
    before = np.int64(-1)
    for i in range(packed.size):
        r = (packed[i] >> 2 * PACK_BITS) - row0
        one, other = (packed[i] >> PACK_BITS & bits) - col0, (packed[i] & bits) - col0
        if r == before and right[n - 1] == one:
            right[n - 1] = other
            packed[n - 1] += (packed[i] & bits) - (packed[n - 1] & bits)
            continue
        left[n], right[n], packed[n] = one, other, packed[i]
        n += 1
        begins[r + 1] += 1
        before = r
    for r in range(h):
        begins[r + 1] += begins[r]
    return begins, left[:n].copy(), right[:n].copy()


@leaf
def _root(above, k):
    while above[k] != k:
        above[k] = above[above[k]]
        k = above[k]
    return k


@compiled
def number(begins, left, right):
    """Number the pieces that runs make by touching with sides, from 1 in the order of their first cells.

    Parameters
    ----------
    begins : int64 (h + 1,)
        First run of each row.
    left, right : int64 (n,)
        First column of each run, and the one after its last; in each row from left to right.

    Returns
    -------
    piece : int32 (n,)
    pieces : int
    """
    above = np.empty(left.size, np.int64)
    for k in range(left.size):
        above[k] = k
    for i in range(1, begins.size - 1):
        a, b = begins[i - 1], begins[i]
        while a < begins[i] and b < begins[i + 1]:
            if left[a] < right[b] and left[b] < right[a]:
                one, other = _root(above, a), _root(above, b)
                above[max(one, other)] = min(one, other)
            if right[a] <= right[b]:
                a += 1
            else:
                b += 1
    piece = np.zeros(left.size, np.int32)
    n = 0
    for k in range(left.size):
        # the first run of a piece is its root
        root = _root(above, k)
        if root == k:
            n += 1
            piece[k] = n
        else:
            piece[k] = piece[root]
    return piece, n


@compiled
def rings(found, walked):
    """Rings around the pieces of some cells of a window, numbered as by `number`.

    The window itself is not looked at: those of large pools are mostly empty.

    Parameters
    ----------
    found : (int64 (h + 1,), int64 (n,), int64 (n,))
        From `runs`.
    walked : bool (h + 1, w)
        Zeros; edges above cells.

    Returns
    -------
    corners : int64 (n, 2)
        (row, col). Rings are closed, run from their lowest (row, col) and stand in the order of these, so the first
        of a piece is its outer one; seen on the map outer rings run counter-clockwise and holes clockwise. No ring
        touches itself.
    first : int64 (rings + 1,)
        Where each ring begins among them.
    piece : int64 (rings,)
        The piece of each ring.
    """
    begins, left, right = found
    of_run, _ = number(begins, left, right)
    h, w = walked.shape[0] - 1, walked.shape[1]
    points = np.empty((64, 2), np.int64)
    # an outer ring begins at the left end of a run, a hole at the right end of one
    first = np.zeros(2 * left.size + 2, np.int64)
    piece = np.empty(2 * left.size + 1, np.int64)
    n, k = np.int64(0), 0
    for i in range(h + 1):
        # stretches of the edges between this row and the one above, from where a run of either begins or ends
        a, end_a = (begins[i - 1], begins[i]) if i > 0 else (0, 0)
        b, end_b = (begins[i], begins[i + 1]) if i < h else (0, 0)
        j = 0
        while a < end_a or b < end_b:
            left_a, right_a = (left[a], right[a]) if a < end_a else (w, w)
            left_b, right_b = (left[b], right[b]) if b < end_b else (w, w)
            j = max(j, min(left_a, left_b))
            above, here = left_a <= j, left_b <= j
            # two different pieces never share a side
            if above != here and not walked[i, j]:
                piece[k] = of_run[a] if above else of_run[b]
                points, n = _walk(found, of_run, i, j, piece[k], above, walked, points, n)
                k += 1
                first[k] = n
            j = min(right_a if above else left_a, right_b if here else left_b)
            a += 1 if above and j == right_a else 0
            b += 1 if here and j == right_b else 0
    return points[:n].copy(), first[: k + 1].copy(), piece[:k].copy()
