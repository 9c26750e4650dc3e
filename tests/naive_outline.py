"""Twin of `wetscout.kernels.outline`: each piece polygonised by GDAL (`GDALPolygonize`, as rasterio calls it)."""

from __future__ import annotations

import itertools

import numpy as np
import rasterio.features


def rings(labels, pieces):
    """As the kernel: corners, where each ring begins, and the piece of each."""
    found = []
    for piece in range(1, pieces + 1):
        for shape, _ in rasterio.features.shapes((labels == piece).astype(np.uint8), labels == piece, connectivity=4):
            found += [(turned(ring, k == 0), piece) for k, ring in enumerate(shape["coordinates"])]
    found.sort(key=lambda ring: ring[0][0].tolist())
    corners = np.concatenate([ring for ring, _ in found]) if found else np.zeros((0, 2), dtype=np.int64)
    begins = np.cumsum([0, *(len(ring) for ring, _ in found)])
    return corners, begins, np.array([piece for _, piece in found], dtype=int)


def runs(labels, first, last):
    """As the kernel, row by row."""
    wet = (labels >= first) & (labels <= last)
    ends = [np.flatnonzero(np.diff(np.pad(row, 1).astype(np.int8))) for row in wet]
    begins = np.cumsum([0, *(row.size // 2 for row in ends)])
    return begins, *(np.concatenate([row[k::2] for row in ends]) for k in (0, 1))


def label_runs(labels, nodes, corner):
    """As the kernel, by Python's own grouping of equal neighbours."""
    label, packed = [], []
    for r, row in enumerate(labels.tolist()):
        begin = 0
        for k, some in itertools.groupby(row):
            end = begin + len(list(some))
            if nodes[0] <= k <= nodes[1]:
                label.append(k)
                packed.append((corner[0] + r) * 2**40 + (corner[1] + begin) * 2**20 + corner[1] + end)
            begin = end
    return np.array(label, dtype=np.int32), np.array(packed, dtype=np.int64)


def joined(packed, box):
    """As the kernel: the cells of all runs painted, and `runs` of them."""
    row0, h, col0 = box
    some = [divmod(key, 2**40) for key in packed.tolist()]
    wide = max((rest % 2**20 for _, rest in some), default=col0)
    mask = np.zeros((h, wide - col0), dtype=bool)
    for row, rest in some:
        mask[row - row0, rest // 2**20 - col0 : rest % 2**20 - col0] = True
    return runs(mask, True, True)


def turned(ring, outer):
    """Corners (row, col) from the lowest one, outer rings counter-clockwise on the map (shoelace formula)."""
    points = np.rint(np.asarray(ring)).astype(np.int64)[:-1, ::-1]
    points = np.roll(points, -int(np.lexsort((points[:, 1], points[:, 0]))[0]), axis=0)
    points = np.vstack([points, points[:1]])
    row, col = points.T
    left = (col[:-1] * -row[1:] + col[1:] * row[:-1]).sum() > 0
    return points if left == outer else points[::-1]
