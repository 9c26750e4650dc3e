"""Follow a cut on from the end of a line while the ground still shows one."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf
from wetscout.kernels.lines import strip_depth

_MIX = np.uint64(0x9E3779B97F4A7C15)


@leaf
def _slot(cells, cell):
    """Place of a cell in a table of cells (2**k,), or the free place where it would stand; -1 is free.

    Hashed by a product with an odd number, the next free place after it (Knuth 1973).
    """
    last = cells.size - 1
    at = np.int64((np.uint64(cell) * _MIX) >> np.uint64(32)) & last
    while cells[at] != cell and cells[at] >= 0:
        at = (at + 1) & last
    return at


@compiled
def move(owner, larger):
    """Enter all cells of a table, see `claim`, into a larger one."""
    for k in range(owner[0].size):
        if owner[0][k] >= 0:
            at = _slot(larger[0], owner[0][k])
            larger[0][at], larger[1][at] = owner[0][k], owner[1][k]


@compiled
def follow(z, r, c, ur, uc, own, owner, cols, sizes, fan, wanted, max_steps):
    """Step along the deepest of a fan of directions until the running mean depth falls short or a line is met.

    Parameters
    ----------
    z : float32 (rows, cols)
        Smoothed ground [m].
    r, c : float
        End of the line [cells].
    ur, uc : float
        Unit vector outwards.
    own : int
        Number of the line.
    owner : (int64 (2**k,), int64 (2**k,))
        As in `claim`: which line lies on a cell.
    cols : int
        Columns of the DEM.
    sizes : (step, near, far, half) floats
        Step, bank offsets and half strip length [cells].
    fan : float64 (k,)
        Turns tried at each step [radians].
    wanted : float
        Depth [m] the mean of the last six steps must keep.
    max_steps : int

    Returns
    -------
    float64 (m, 2)
        New points (row, col), trailing shallow ones cut off.
    met : int
        Number of the line met, -1 for none.
    """
    step, near, far, half = sizes
    out = np.empty((max_steps, 2))
    depth = np.empty(max_steps)
    n = 0
    met = np.int64(-1)
    rows = z.shape[0]
    while n < max_steps:
        best = -1.0
        br = 0.0
        bc = 0.0
        bur = 0.0
        buc = 0.0
        for k in range(fan.size):
            cs = np.cos(fan[k])
            sn = np.sin(fan[k])
            vr = ur * cs - uc * sn
            vc = ur * sn + uc * cs
            y = r + step * vr
            x = c + step * vc
            d = strip_depth(z, y, x, vr, vc, near, far, half, np.int64(7))
            if np.isnan(d):
                continue
            d -= 0.02 * abs(fan[k])
            if d > best:
                best = d
                br = y
                bc = x
                bur = vr
                buc = vc
        if best < 0.0:
            break
        depth[n] = best
        low = max(0, n - 5)
        total = 0.0
        for i in range(low, n + 1):
            total += depth[i]
        if total / (n + 1 - low) < wanted:
            break
        # a way that comes back to itself goes round in a hollow
        back = False
        for i in range(n - 3):
            if (out[i, 0] - br) ** 2 + (out[i, 1] - bc) ** 2 < (1.5 * step) ** 2:
                back = True
        if back:
            break
        out[n, 0] = br
        out[n, 1] = bc
        n += 1
        # half way and at the new point: is another line there?
        for part in (0.5, 1.0):
            y = int(np.floor(r + part * (br - r) + 0.5))
            x = int(np.floor(c + part * (bc - c) + 0.5))
            if 0 <= y < rows and 0 <= x < cols:
                cell = np.int64(y) * cols + x
                at = _slot(owner[0], cell)
                if owner[0][at] == cell and owner[1][at] != own:
                    met = owner[1][at]
        if met >= 0:
            return out[:n], met
        # the heading follows slowly, so that one noisy step does not turn the line
        ur = 0.5 * ur + 0.5 * bur
        uc = 0.5 * uc + 0.5 * buc
        size = np.sqrt(ur * ur + uc * uc)
        ur /= size
        uc /= size
        r = br
        c = bc
    while n > 0 and depth[n - 1] < 0.6 * wanted:
        n -= 1
    return out[:n], met


@compiled
def claim(owner, points, number, cols):
    """Enter the cells of a line and their straight neighbours; cells already taken stay.

    Parameters
    ----------
    owner : (int64 (2**k,), int64 (2**k,))
        Numbers of cells, -1 at free places, and of their lines; changed in place. More than five places a point must
        be free.
    points : float64 (n, 2)
        Less than a cell apart [cells].
    number : int
        Of the line.
    cols : int
        Columns of the DEM.

    Returns
    -------
    int
        How many cells are new.
    """
    new = 0
    for i in range(points.shape[0]):
        r = int(np.floor(points[i, 0] + 0.5))
        c = int(np.floor(points[i, 1] + 0.5))
        for k in range(5):
            y = r + (1 if k == 1 else (-1 if k == 2 else 0))
            x = c + (1 if k == 3 else (-1 if k == 4 else 0))
            if x < 0 or x >= cols or y < 0:
                continue
            cell = np.int64(y) * cols + x
            at = _slot(owner[0], cell)
            if owner[0][at] < 0:
                owner[0][at], owner[1][at] = cell, number
                new += 1
    return new
