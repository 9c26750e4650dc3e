"""Keep the middle of a response: the deepest cell across, with others along that answer alike."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled


@compiled
def thin_across(depth, direction, across_dr, across_dc, t_low):
    """Cells that are the deepest across their own direction.

    Parameters
    ----------
    depth : float32 (rows, cols)
        Response [m].
    direction : int8 (rows, cols)
        Direction along the line, -1 for none.
    across_dr, across_dc : int64 (n_dir, n)
        Offsets [cells] across each direction, one side; the other side is their opposite.
    t_low : float
        Least response [m].

    Returns
    -------
    bool (rows, cols)
        Of equal neighbours the one first in row, column order stays.
    """
    rows, cols = depth.shape
    keep = np.zeros((rows, cols), np.bool_)
    n = across_dr.shape[1]
    for r in range(rows):
        for c in range(cols):
            v = depth[r, c]
            d = direction[r, c]
            if d < 0 or v < t_low:
                continue
            good = True
            for i in range(n):
                for side in (-1, 1):
                    y = r + side * across_dr[d, i]
                    x = c + side * across_dc[d, i]
                    if y < 0 or x < 0 or y >= rows or x >= cols:
                        continue
                    o = depth[y, x]
                    if o > v or (o == v and (y < r or (y == r and x < c))):
                        good = False
                        break
                if not good:
                    break
            keep[r, c] = good
    return keep


@compiled
def supported(keep, direction, unit_r, unit_c, reach, along, turn, wanted):
    """Kept cells with enough kept cells along their direction that answer in nearly the same direction.

    Parameters
    ----------
    keep : bool (rows, cols)
    direction : int8 (rows, cols)
    unit_r, unit_c : float64 (n_dir,)
        Unit vector of each direction.
    reach : float
        [cells].
    along : float
        Least cosine between direction and the way to the supporter.
    turn : int
        Greatest difference of direction [steps].
    wanted : int
        Number of supporters.

    Returns
    -------
    bool (rows, cols)
    """
    rows, cols = keep.shape
    n_dir = unit_r.size
    out = np.zeros((rows, cols), np.bool_)
    h = int(np.ceil(reach))
    for r in range(rows):
        for c in range(cols):
            if not keep[r, c]:
                continue
            d = direction[r, c]
            n = 0
            for y in range(max(0, r - h), min(rows, r + h + 1)):
                for x in range(max(0, c - h), min(cols, c + h + 1)):
                    if not keep[y, x] or (y == r and x == c):
                        continue
                    far = np.sqrt((y - r) ** 2 + (x - c) ** 2)
                    if far > reach:
                        continue
                    if abs((y - r) * unit_r[d] + (x - c) * unit_c[d]) < along * far:
                        continue
                    diff = abs(direction[y, x] - d)
                    if min(diff, n_dir - diff) <= turn:
                        n += 1
            out[r, c] = n >= wanted
    return out
