"""Which pit each cell drains to, strip of rows by strip of rows.

Every cell points to the lowest cell of its 3 x 3 window, the first in row, column order among equals; (height, flat
index) falls along every pointer, so there are no loops and a flat ends in one or more pits of no depth. Border cells
and cells of -inf are outlets: label 0. Pits are numbered from 1 in row, column order.

A pointer that leaves the strip gets the place of the row it enters as a temporary label, -2 - k: k < cols is the row
above the strip, k >= cols the row below; `seams` looks those up once all strips are labelled.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf

PIT = 4
OUTLET = 9
_UNSET = -1


@leaf
def _lowest_of_three(row, low, place):
    """Lowest of a cell and its two neighbours in a row, and which of the three (0, 1, 2) it is."""
    for j in range(row.size - 2):
        a = row[j]
        b = row[j + 1]
        c = row[j + 2]
        k = np.uint8(1) if b < a else np.uint8(0)
        m = b if b < a else a
        place[j] = np.uint8(2) if c < m else k
        low[j] = c if c < m else m


@compiled
def clean(z, r0, r1):
    """Turn NaN into -inf in rows r0 to r1 of z, in place.

    Returns how many there were, how many cells are +inf, how many -inf, and the highest absolute value of the others.
    """
    nans, infs, outlets = 0, 0, 0
    highest = 0.0
    line = z[r0:r1].reshape(-1)
    for i in range(line.size):
        v = line[i]
        nans += 1 if v != v else 0
        infs += 1 if v == np.inf else 0
        outlets += 1 if v == -np.inf else 0
        highest = abs(v) if highest < abs(v) < np.inf else highest
    if nans > 0:
        for i in range(line.size):
            line[i] = -np.inf if line[i] != line[i] else line[i]
    return nans, infs, outlets, highest


@compiled
def receivers(z, r0, r1, code):
    """Receiver codes 0-8 (row, column order of the 3 x 3) of rows r0 to r1 into code (r1 - r0, cols) uint8."""
    rows, cols = z.shape
    n = cols - 2
    low = np.empty((3, max(n, 0)), z.dtype)
    place = np.empty((3, max(n, 0)), np.uint8)
    first = max(r0, 1)
    last = min(r1, rows - 1)
    code[:, 0] = OUTLET
    code[:, cols - 1] = OUTLET
    if r0 == 0:
        code[0] = OUTLET
    if r1 == rows:
        code[rows - 1 - r0] = OUTLET
    if n < 1 or first >= last:
        return
    _lowest_of_three(z[first - 1], low[(first - 1) % 3], place[(first - 1) % 3])
    _lowest_of_three(z[first], low[first % 3], place[first % 3])
    for i in range(first, last):
        _lowest_of_three(z[i + 1], low[(i + 1) % 3], place[(i + 1) % 3])
        up, mid, down = low[(i - 1) % 3], low[i % 3], low[(i + 1) % 3]
        up_at, mid_at, down_at = place[(i - 1) % 3], place[i % 3], place[(i + 1) % 3]
        out = code[i - r0]
        for j in range(n):
            m = mid[j] if mid[j] < up[j] else up[j]
            k = mid_at[j] + np.uint8(3) if mid[j] < up[j] else up_at[j]
            out[j + 1] = down_at[j] + np.uint8(6) if down[j] < m else k


@compiled
def number_pits(z, r0, code, lab):
    """Give the pits of a strip labels 1, 2, ... in row, column order, outlets 0, all others -1.

    Returns the flat indices of the pits. z is the whole raster, code and lab (flat, int32) the strip.
    """
    cols = code.shape[1]
    flat = code.reshape(-1)
    count = 0
    for i in range(flat.size):
        count += 1 if flat[i] == PIT else 0
    pits = np.empty(count, np.int64)
    n = 0
    for i in range(flat.size):
        c = flat[i]
        lab[i] = 0 if c == OUTLET else _UNSET
        if c == PIT:
            if z[r0 + i // cols, i % cols] == -np.inf:
                lab[i] = 0
            else:
                pits[n] = r0 * cols + i
                n += 1
                lab[i] = n
    return pits[:n].copy()


@compiled
def follow(code, lab):
    """Carry the labels of pits, outlets and exits of a strip to every cell that leads there."""
    cols = code.shape[1]
    flat = code.reshape(-1)
    size = flat.size
    step = np.empty(9, np.int64)
    for k in range(9):
        step[k] = (k // 3 - 1) * cols + k % 3 - 1
    for i in range(size):
        if lab[i] != _UNSET:
            continue
        j = i
        label = _UNSET
        while label == _UNSET:
            t = j + step[flat[j]]
            if t < 0:
                label = -2 - (t + cols)
            elif t >= size:
                label = -2 - (t - size + cols)
            else:
                j = t
                label = lab[j]
        j = i
        while 0 <= j < size and lab[j] == _UNSET:
            lab[j] = label
            j += step[flat[j]]


@compiled
def seams(lab, cols, starts, offsets):
    """Final labels of the rows beside each strip.

    lab is the whole raster, flat; starts (strips + 1) the first row of each strip and the number of rows; offsets the
    number of pits before each strip. Returns int32 (strips, 2 * cols): the row above and the row below each strip.
    """
    strips = starts.size - 1
    table = np.full((strips, 2 * cols), _UNSET, np.int32)
    for s in range(strips):
        for k in range(2 * cols):
            if (k < cols and s == 0) or (k >= cols and s == strips - 1):
                table[s, k] = 0
                continue
            # walk from seam to seam until a label is final, then walk again and write it everywhere
            u, m = s, k
            final = table[u, m]
            while final == _UNSET:
                if m < cols:
                    v = lab[(starts[u] - 1) * cols + m]
                    u -= 1
                else:
                    v = lab[starts[u + 1] * cols + m - cols]
                    u += 1
                if v > 0:
                    final = v + offsets[u]
                elif v == 0:
                    final = 0
                else:
                    m = -2 - v
                    final = table[u, m]
            u, m = s, k
            while table[u, m] == _UNSET:
                table[u, m] = final
                if m < cols:
                    v = lab[(starts[u] - 1) * cols + m]
                    u -= 1
                else:
                    v = lab[starts[u + 1] * cols + m - cols]
                    u += 1
                if v < 0:
                    m = -2 - v
                else:
                    break
    return table


@compiled
def settle(lab, offset, beside):
    """Turn the strip's own and temporary labels into final ones, in place."""
    for i in range(lab.size):
        v = lab[i]
        if v > 0:
            lab[i] = v + offset
        elif v < 0:
            lab[i] = beside[-2 - v]
