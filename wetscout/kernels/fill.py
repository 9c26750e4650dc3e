"""Fill levels of pits, and the raised surface."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled


@compiled
def levels(parent, level):
    """Fill level of each label: fill(s) = max(level of its pass, fill(parent)); label 0 (outside) is -inf.

    parent (labels, int32) is -1 where there is no way out (+inf). Returns an array like level; adding 0 turns -0 into
    +0, so a raised cell has the same bits whichever of the two the ground held.
    """
    n = parent.size
    out = np.full(n, np.nan, level.dtype)
    out[0] = -np.inf
    path = np.empty(n, np.int32)
    for i in range(1, n):
        depth = 0
        j = i
        while out[j] != out[j]:
            path[depth] = j
            depth += 1
            if parent[j] < 0:
                break
            j = parent[j]
        top = out[j]
        for k in range(depth - 1, -1, -1):
            j = path[k]
            if parent[j] < 0:
                top = np.inf
            elif level[j] > top:
                top = level[j]
            out[j] = top if top != 0 else 0.0
    return out


@compiled
def raise_ground(z, lab, fill):
    """Lift z (flat, in place) to the fill level of each cell's label."""
    for i in range(z.size):
        v = fill[lab[i]]
        z[i] = v if v > z[i] else z[i]
