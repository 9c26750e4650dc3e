"""Middle lines of a sparse set of cells, kept as sorted cell numbers: memory follows the lines, not the county."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled

# neighbours in clockwise order from north: N NE E SE S SW W NW
STEP_R = np.array([-1, -1, 0, 1, 1, 1, 0, -1], dtype=np.int64)
STEP_C = np.array([0, 1, 1, 1, 0, -1, -1, -1], dtype=np.int64)


@compiled
def neighbour_table(keys, cols, out):
    """Index of each of the eight neighbours of each cell.

    Parameters
    ----------
    keys : int64 (n,)
        Sorted cell numbers row * cols + col.
    cols : int
        Columns of the whole DEM.
    out : int32 (n, 8)
        Written: clockwise from north; -1 where the neighbour is not in the set.
    """
    n = keys.size
    out[:] = -1
    for i in range(n):
        r = keys[i] // cols
        c = keys[i] - r * cols
        for k in range(8):
            x = c + STEP_C[k]
            y = r + STEP_R[k]
            if x < 0 or x >= cols or y < 0:
                continue
            key = y * cols + x
            j, high = 0, n
            while j < high:
                middle = (j + high) // 2
                if keys[middle] < key:
                    j = middle + 1
                else:
                    high = middle
            if j < n and keys[j] == key:
                out[i, k] = j


@compiled
def components(table):
    """Label of each cell: the lowest index of its connected group.

    Parameters
    ----------
    table : int32 (n, 8)

    Returns
    -------
    int64 (n,)
    """
    n = table.shape[0]
    label = np.empty(n, np.int64)
    queue = np.empty(n, np.int64)
    for i in range(n):
        label[i] = -1
    for i in range(n):
        if label[i] >= 0:
            continue
        label[i] = i
        queue[0] = i
        head = 0
        tail = 1
        while head < tail:
            at = queue[head]
            head += 1
            for k in range(8):
                j = table[at, k]
                if j >= 0 and label[j] < 0:
                    label[j] = i
                    queue[tail] = j
                    tail += 1
    return label


@compiled
def skeleton(table):
    """Thin the set to lines one cell wide (Zhang & Suen 1984, Comm. ACM 27(3) 236-239).

    Parameters
    ----------
    table : int32 (n, 8)

    Returns
    -------
    bool (n,)
        Cells that stay.
    """
    n = table.shape[0]
    alive = np.ones(n, np.bool_)
    marked = np.empty(n, np.int64)
    on = np.zeros(8, np.int64)
    changed = True
    while changed:
        changed = False
        for half in range(2):
            m = 0
            for i in range(n):
                if not alive[i]:
                    continue
                total = 0
                for k in range(8):
                    j = table[i, k]
                    on[k] = 1 if j >= 0 and alive[j] else 0
                    total += on[k]
                if total < 2 or total > 6:
                    continue
                turns = 0
                for k in range(8):
                    if on[k] == 0 and on[(k + 1) % 8] == 1:
                        turns += 1
                if turns != 1:
                    continue
                if half == 0:
                    good = on[0] * on[2] * on[4] == 0 and on[2] * on[4] * on[6] == 0
                else:
                    good = on[0] * on[2] * on[6] == 0 and on[0] * on[4] * on[6] == 0
                if good:
                    marked[m] = i
                    m += 1
            for q in range(m):
                alive[marked[q]] = False
            if m > 0:
                changed = True
    return alive


@compiled
def links(table, alive):
    """Neighbours along the skeleton, with the short way round each corner left out.

    A diagonal link is dropped where both cells share a straight neighbour, so that a bend is no junction.

    Parameters
    ----------
    table : int32 (n, 8)
    alive : bool (n,)

    Returns
    -------
    link : int32 (n, 8)
        Indices of linked cells, filled from the left, then -1.
    degree : int64 (n,)
    """
    n = table.shape[0]
    link = np.empty((n, 8), np.int32)
    degree = np.zeros(n, np.int64)
    for i in range(n):
        for k in range(8):
            link[i, k] = -1
        if not alive[i]:
            continue
        for k in range(8):
            j = table[i, k]
            if j < 0 or not alive[j]:
                continue
            if k % 2 == 1:
                a = table[i, (k + 7) % 8]
                b = table[i, (k + 1) % 8]
                if (a >= 0 and alive[a]) or (b >= 0 and alive[b]):
                    continue
            link[i, degree[i]] = j
            degree[i] += 1
    return link, degree


@compiled
def walk_edges(link, degree):
    """Ways between ends and junctions of a skeleton, closed rings last.

    Parameters
    ----------
    link : int32 (n, 8)
    degree : int64 (n,)

    Returns
    -------
    path : int64 (m,)
        Cell indices of all ways, one after the other, both end cells included.
    start : int64 (edges + 1,)
        Where each way begins in `path`.
    """
    n = degree.size
    total = 0
    for i in range(n):
        total += degree[i]
    path = np.empty(2 * total + n + 1, np.int64)
    start = np.empty(total + n + 1, np.int64)
    used = np.zeros((n, 8), np.bool_)
    m = 0
    edges = 0
    start[0] = 0
    for ring in range(2):
        for i in range(n):
            if degree[i] == 0 or (ring == 0 and degree[i] == 2):
                continue
            for k in range(degree[i]):
                if used[i, k]:
                    continue
                prev = i
                at = link[i, k]
                used[i, k] = True
                path[m] = i
                m += 1
                while True:
                    path[m] = at
                    m += 1
                    for q in range(degree[at]):
                        if link[at, q] == prev:
                            used[at, q] = True
                    if degree[at] != 2 or at == i:
                        break
                    ahead = link[at, 0] if link[at, 0] != prev else link[at, 1]
                    for q in range(degree[at]):
                        if link[at, q] == ahead:
                            used[at, q] = True
                    prev = at
                    at = ahead
                edges += 1
                start[edges] = m
    return path[:m], start[: edges + 1]


@compiled
def arms(path, start, points, reach):
    """Directions in which edges leave their two ends.

    Parameters
    ----------
    path : int64 (n,)
        Cells of all edges, one edge after the other.
    start : int64 (edges + 1,)
        Where each begins.
    points : float64 (cells, 2)
        Place of each cell [cells].
    reach : float
        A direction is taken to the first cell so far from the end, or to the other end [cells].

    Returns
    -------
    float64 (edges, 2, 2)
        Unit vectors into the edge from its first and its last cell; zeros where both are at one place.
    """
    out = np.empty((start.size - 1, 2, 2))
    for e in range(out.shape[0]):
        for side in range(2):
            end = path[start[e]] if side == 0 else path[start[e + 1] - 1]
            row, col, size = 0.0, 0.0, 0.0
            for i in range(start[e + 1] - start[e]):
                k = path[start[e] + i] if side == 0 else path[start[e + 1] - 1 - i]
                row, col = points[k, 0] - points[end, 0], points[k, 1] - points[end, 1]
                size = np.hypot(row, col)
                if size >= reach:
                    break
            out[e, side, 0] = row / size if size > 0.0 else row
            out[e, side, 1] = col / size if size > 0.0 else col
    return out
