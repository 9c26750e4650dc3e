"""Basins of a surface, for the truth: labels by steepest neighbour, passes between them, merged from the lowest up.

Plain numpy, shared with no part of the screen. Family of methods: Cordonnier, Bovy & Braun 2019; Barnes, Callaghan &
Wickert 2020.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wetscout.records import F32, F64, I32

_HALF = ((0, 1), (1, -1), (1, 0), (1, 1))
_ALL = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))


@dataclass(frozen=True)
class Node:
    """A closed hollow: the pits it joins, its floor and spill levels [m], and the nodes inside it."""

    pits: tuple[int, ...]
    floor_pit: int
    floor_m: float
    spill_m: float
    children: tuple[int, ...]


def labels_of(z: F32) -> tuple[I32, F64]:
    """Label each cell with the pit its water runs to; the border is label 0, outside.

    Parameters
    ----------
    z : float32 (rows, cols)
        Finite surface [m].

    Returns
    -------
    labels : int32 (rows, cols)
    floor : float64 (pits + 1,)
        Lowest level of each label [m]; entry 0 is -inf.
    """
    rows, cols = z.shape
    own = np.arange(z.size, dtype=np.int32).reshape(z.shape)
    to = own.copy()
    inner = to[1:-1, 1:-1]
    best = z[1:-1, 1:-1].copy()
    for dr, dc in _ALL:
        near = z[1 + dr : rows - 1 + dr, 1 + dc : cols - 1 + dc]
        # an equal neighbour counts as lower when it comes first: total order (z, index), so no loops
        lower = (near < best) | ((near == best) & (dr * cols + dc < inner - own[1:-1, 1:-1]))
        np.copyto(best, near, where=lower)
        np.copyto(inner, own[1:-1, 1:-1] + np.int32(dr * cols + dc), where=lower)
    flat = to.ravel()
    while True:
        further = flat[flat]
        if np.array_equal(further, flat):
            break
        flat = further
    border = np.zeros(z.shape, dtype=np.bool_)
    border[[0, -1], :] = True
    border[:, [0, -1]] = True
    is_pit = (flat == own.ravel()) & ~border.ravel()
    number = np.zeros(z.size, dtype=np.int32)
    number[is_pit] = np.arange(1, int(is_pit.sum()) + 1, dtype=np.int32)
    labels = number[flat].reshape(z.shape)
    floor = np.concatenate([[-np.inf], z.ravel()[is_pit].astype(np.float64)])
    return labels, floor


def passes_of(z: F32, labels: I32) -> tuple[NDArray[np.int64], NDArray[np.int64], F64]:
    """Lowest pass between each two neighbouring labels, lowest first.

    Parameters
    ----------
    z : float32 (rows, cols)
    labels : int32 (rows, cols)

    Returns
    -------
    a, b : int64 (n,)
        Labels, a < b.
    level : float64 (n,)
        [m].
    """
    rows, cols = z.shape
    keys, levels = [], []
    n = int(labels.max()) + 1
    for dr, dc in _HALF:
        c0, c1 = max(0, -dc), cols - max(0, dc)
        one, two = np.s_[0 : rows - dr, c0:c1], np.s_[dr:rows, c0 + dc : c1 + dc]
        at = np.flatnonzero(labels[one] != labels[two])
        la, lb = labels[one].ravel()[at].astype(np.int64), labels[two].ravel()[at].astype(np.int64)
        keys.append(np.minimum(la, lb) * n + np.maximum(la, lb))
        levels.append(np.maximum(z[one].ravel()[at], z[two].ravel()[at]).astype(np.float64))
    key, level = np.concatenate(keys), np.concatenate(levels)
    order = np.lexsort((key, level))
    key, level = key[order], level[order]
    key, first = np.unique(key, return_index=True)
    level = level[first]
    order = np.lexsort((key, level))
    return key[order] // n, key[order] % n, level[order]


class _Sets:
    """Disjoint sets of labels with path halving."""

    def __init__(self, n: int) -> None:
        self.up = list(range(n))

    def find(self, a: int) -> int:
        up = self.up
        while up[a] != a:
            up[a] = up[up[a]]
            a = up[a]
        return a


def fill_level(z: F32) -> F32:
    """Raise every hollow to the level at which it spills (8 neighbours, the border is the outlet).

    Parameters
    ----------
    z : float32 (rows, cols)

    Returns
    -------
    float32 (rows, cols)
    """
    labels, floor = labels_of(z)
    level = np.full(floor.size, -np.inf)
    sets = _Sets(floor.size)
    members: list[list[int]] = [[i] for i in range(floor.size)]
    for a, b, at in zip(*(v.tolist() for v in passes_of(z, labels)), strict=True):
        one, two = sets.find(a), sets.find(b)
        if one == two:
            continue
        out = sets.find(0)
        if out in (one, two):
            inner = two if one == out else one
            level[members[inner]] = at
            members[inner] = []
            sets.up[inner] = out
            continue
        if len(members[one]) < len(members[two]):
            one, two = two, one
        members[one] += members[two]
        members[two] = []
        sets.up[two] = one
    return np.maximum(z, level[labels].astype(np.float32))


def nodes_of(
    labels: I32, floor: F64, passes: tuple[NDArray[np.int64], NDArray[np.int64], F64], deep_m: float
) -> list[Node]:
    """Nested hollows, children before parents.

    Two hollows that meet become two nodes and a parent only when both are at least `deep_m` deep there: a dimple in
    the rim or on the floor of another is part of it.

    Parameters
    ----------
    labels : int32 (rows, cols)
    floor : float64 (pits + 1,)
        [m].
    passes : (a, b, level)
        As `passes_of` gives them.
    deep_m : float
        [m].

    Returns
    -------
    list of Node
    """
    sets = _Sets(floor.size)
    pits: list[list[int]] = [[i] for i in range(floor.size)]
    low = list(range(floor.size))
    below: list[list[int]] = [[] for _ in range(floor.size)]
    nodes: list[Node] = []

    def close(a: int, at: float) -> list[int]:
        nodes.append(Node(tuple(pits[a]), low[a], float(floor[low[a]]), at, tuple(below[a])))
        return [len(nodes) - 1]

    for a, b, at in zip(*(v.tolist() for v in passes), strict=True):
        one, two = sets.find(a), sets.find(b)
        if one == two:
            continue
        out = sets.find(0)
        if out in (one, two):
            inner = two if one == out else one
            if at - floor[low[inner]] >= deep_m:
                close(inner, at)
            sets.up[inner] = out
            continue
        if floor[low[two]] < floor[low[one]]:
            one, two = two, one
        if at - floor[low[two]] >= deep_m:
            below[one] = close(one, at) + close(two, at)
        else:
            below[one] += below[two]
        pits[one] += pits[two]
        sets.up[two] = one
    return nodes
