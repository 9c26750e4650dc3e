"""Follow a cut on from the end of a line while the ground still shows one."""

from __future__ import annotations

import numpy as np
from numba import njit

from wetscout.kernels.lines import strip_depth


@njit(nogil=True, cache=True)
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
    owner : numba typed dict int64 -> int64
        Cell number -> number of the line that lies on it.
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
    out = np.empty((max_steps, 2), dtype=np.float64)
    depth = np.empty(max_steps, dtype=np.float64)
    n = 0
    met = -1
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
                key = np.int64(y) * cols + x
                if key in owner and owner[key] != own:
                    met = owner[key]
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


@njit(nogil=True, cache=True)
def claim(owner, points, number, cols):
    """Enter the cells of a line and their straight neighbours; cells already taken stay.

    Parameters
    ----------
    owner : numba typed dict int64 -> int64
        Cell number -> line number, changed in place.
    points : float64 (n, 2)
        Less than a cell apart [cells].
    number : int
        Of the line.
    cols : int
        Columns of the DEM.
    """
    for i in range(points.shape[0]):
        r = int(np.floor(points[i, 0] + 0.5))
        c = int(np.floor(points[i, 1] + 0.5))
        for k in range(5):
            y = r + (1 if k == 1 else (-1 if k == 2 else 0))
            x = c + (1 if k == 3 else (-1 if k == 4 else 0))
            if x < 0 or x >= cols or y < 0:
                continue
            key = np.int64(y) * cols + x
            if key not in owner:
                owner[key] = np.int64(number)
