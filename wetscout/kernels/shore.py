"""Distances in and around a pool: how wide it is, what lies along its shore, what a strip of dug ground reaches."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled


@compiled
def squared_distance(mask):
    """Square of the distance from each set cell to the nearest one that is not set (Meijster and others, 2000).

    Whole numbers all through, so the root of it is what any exact distance transform gives.

    Parameters
    ----------
    mask : bool (rows, cols)
        At least one cell not set.

    Returns
    -------
    int64 (rows, cols)
        [cells squared], 0 on cells that are not set.
    """
    rows, cols = mask.shape
    far = rows + cols
    up = np.empty((rows, cols), np.int64)
    for c in range(cols):
        up[0, c] = far if mask[0, c] else 0
    for r in range(1, rows):
        for c in range(cols):
            up[r, c] = min(up[r - 1, c] + 1, far) if mask[r, c] else 0
    for r in range(rows - 2, -1, -1):
        for c in range(cols):
            up[r, c] = min(up[r, c], up[r + 1, c] + 1)
    start = np.empty(cols, np.int64)
    best = np.empty(cols, np.int64)
    square = np.empty(cols, np.int64)
    for r in range(rows):
        for c in range(cols):
            square[c] = up[r, c] * up[r, c]
        q = 0
        best[0] = 0
        start[0] = 0
        for u in range(1, cols):
            while q >= 0:
                own, other = start[q] - best[q], start[q] - u
                if own * own + square[best[q]] <= other * other + square[u]:
                    break
                q -= 1
            if q < 0:
                q = 0
                best[0] = u
                continue
            i = best[q]
            w = 1 + (u * u - i * i + square[u] - square[i]) // (2 * (u - i))
            if w < cols:
                q += 1
                best[q] = u
                start[q] = w
        for u in range(cols - 1, -1, -1):
            off = u - best[q]
            up[r, u] = off * off + square[best[q]]
            if u == start[q]:
                q -= 1
    return up


@compiled
def _steps_to(mask, value, outside):
    """Steps along rows and columns from each cell to one of that value; cells beyond the window are `outside` away."""
    rows, cols = mask.shape
    away = np.empty((rows, cols), np.int32)
    for r in range(rows):
        for c in range(cols):
            before = away[r, c - 1] if c > 0 else outside
            above = away[r - 1, c] if r > 0 else outside
            away[r, c] = 0 if mask[r, c] == value else min(before, above) + 1
    for r in range(rows - 1, -1, -1):
        for c in range(cols - 1, -1, -1):
            after = away[r, c + 1] if c + 1 < cols else outside
            below = away[r + 1, c] if r + 1 < rows else outside
            away[r, c] = min(away[r, c], min(after, below) + 1)
    return away


@compiled
def shore_steps(mask):
    """Steps along rows and columns from each set cell to one that is not set, or to the outside.

    Parameters
    ----------
    mask : bool (rows, cols)

    Returns
    -------
    int32 (rows, cols)
        0 on cells that are not set. Never less than the straight distance, nor more than 1.414 of it.
    """
    return _steps_to(mask, np.bool_(False), np.int32(0))


@compiled
def within_steps(mask, steps):
    """Cells at most so many steps along rows and columns from a set one.

    Parameters
    ----------
    mask : bool (rows, cols)
    steps : int

    Returns
    -------
    bool (rows, cols)
        What `steps` dilations with a cross give.
    """
    away = _steps_to(mask, np.bool_(True), np.int32(mask.shape[0] + mask.shape[1]))
    out = np.empty(mask.shape, np.bool_)
    for r in range(out.shape[0]):
        for c in range(out.shape[1]):
            out[r, c] = away[r, c] <= steps
    return out


@compiled
def shore_ring(mask, steps):
    """Set cells from which one that is not set, or the outside, is at most so many steps along rows and columns away.

    Parameters
    ----------
    mask : bool (rows, cols)
    steps : int

    Returns
    -------
    bool (rows, cols)
        What `steps` erosions with a cross take away.
    """
    away = shore_steps(mask)
    out = np.empty(mask.shape, np.bool_)
    for r in range(out.shape[0]):
        for c in range(out.shape[1]):
            out[r, c] = mask[r, c] and away[r, c] <= steps
    return out


@compiled
def reached_across(start, strip, steps):
    """Cells of a strip reached from given cells: steps go to 4 neighbours and to 8 in turn, so the reach is round.

    Parameters
    ----------
    start, strip : bool (rows, cols)
        Start cells lie outside the strip.
    steps : int

    Returns
    -------
    bool (rows, cols)
        Reached cells of the strip.
    """
    rows, cols = strip.shape
    reached = np.zeros((rows, cols), np.bool_)
    # the cells of the last two steps, row * cols + col: what was reached before has passed on to all its neighbours
    queue = np.empty(rows * cols, np.int64)
    size = 0
    for r in range(rows):
        for c in range(cols):
            if not start[r, c]:
                continue
            touches = False
            for i in range(max(0, r - 1), min(rows, r + 2)):
                for j in range(max(0, c - 1), min(cols, c + 2)):
                    touches = touches or strip[i, j]
            if touches:
                queue[size] = r * cols + c
                size += 1
    older = 0
    newer = 0
    for step in range(steps):
        stop = size
        for k in range(older, stop):
            r = queue[k] // cols
            c = queue[k] - r * cols
            for i in range(max(0, r - 1), min(rows, r + 2)):
                for j in range(max(0, c - 1), min(cols, c + 2)):
                    near = step % 2 == 1 or i == r or j == c
                    if near and strip[i, j] and not reached[i, j]:
                        reached[i, j] = True
                        queue[size] = i * cols + j
                        size += 1
        older = newer
        newer = stop
    return reached


@compiled
def _few_steps_to(mask, value, steps, outside):
    """`_steps_to`, counted up to steps + 1 only, in one byte a cell; columns first: several are done at once."""
    rows, cols = mask.shape
    most = np.uint8(steps + 1)
    away = np.empty((rows, cols), np.uint8)
    for r in range(rows):
        for c in range(cols):
            above = away[r - 1, c] if r > 0 else np.uint8(outside)
            away[r, c] = 0 if mask[r, c] == value else min(np.uint8(above + 1), most)
        before = np.uint8(outside)
        for c in range(cols):
            before = min(away[r, c], np.uint8(before + 1))
            away[r, c] = before
    for r in range(rows - 1, -1, -1):
        for c in range(cols):
            below = away[r + 1, c] if r + 1 < rows else np.uint8(outside)
            away[r, c] = min(away[r, c], np.uint8(below + 1))
        after = np.uint8(outside)
        for c in range(cols - 1, -1, -1):
            after = min(away[r, c], np.uint8(after + 1))
            away[r, c] = after
    return away


@compiled
def closed(mask, steps):
    """A mask with gaps closed that so many steps along rows and columns from both sides fill.

    Parameters
    ----------
    mask : bool (rows, cols)
    steps : int
        Under 250.

    Returns
    -------
    bool (rows + 2 (steps + 1), cols + 2 (steps + 1))
        With a margin of steps + 1 cells around: what `steps` dilations and erosions with a cross give.
    """
    margin = steps + 1
    rows, cols = mask.shape
    wide = np.zeros((rows + 2 * margin, cols + 2 * margin), np.bool_)
    for r in range(rows):
        for c in range(cols):
            wide[r + margin, c + margin] = mask[r, c]
    away = _few_steps_to(wide, np.bool_(True), steps, margin)
    for r in range(wide.shape[0]):
        for c in range(wide.shape[1]):
            wide[r, c] = away[r, c] <= steps
    away = _few_steps_to(wide, np.bool_(False), steps, np.int64(0))
    for r in range(wide.shape[0]):
        for c in range(wide.shape[1]):
            wide[r, c] = away[r, c] > steps
    return wide
