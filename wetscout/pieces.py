"""Connected pieces of a mask of any size: strips are labelled alone and joined where they meet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from wetscout import large

__all__ = ["Pieces", "distinct", "pieces_of"]

BOOL = NDArray[np.bool_]
I32 = NDArray[np.int32]
I64 = NDArray[np.int64]


def distinct(cells: I64) -> I64:
    """Sorted numbers of cells, each once: `np.unique` hashes integers, which takes fifty times as long.

    Parameters
    ----------
    cells : int64 (n,)
        Best in a few ascending runs.

    Returns
    -------
    int64 (m,)
    """
    ordered = np.sort(cells, kind="stable")
    return ordered[np.append(True, ordered[1:] != ordered[:-1])] if ordered.size else ordered


@dataclass(frozen=True)
class Pieces:
    """Pieces of a mask, numbered from 1 in the order of their first cells.

    Attributes
    ----------
    labels : int32 (rows, cols)
        Piece of each cell, 0 none.
    sizes : int64 (pieces + 1,)
        Cells of each; the first entry is 0.
    """

    labels: I32
    sizes: I64

    def windows(self, wanted: I64) -> I64:
        """Windows of some pieces.

        Parameters
        ----------
        wanted : int64 (n,)
            Their numbers.

        Returns
        -------
        int64 (n, 4)
            row0, col0, row1, col1, half open.
        """
        place = np.zeros(self.sizes.size, np.int32)
        place[wanted] = np.arange(1, wanted.size + 1)
        out = np.zeros((wanted.size, 4), np.int64)
        out[:, :2] = np.iinfo(np.int64).max
        for own, _, _ in large.strips(_shape(self.labels)):
            found = ndimage.find_objects(place[self.labels[own]], max_label=wanted.size)
            for k, box in enumerate(found):
                if box is not None:
                    rows, cols = box
                    out[k, :2] = np.minimum(out[k, :2], (own.start + rows.start, cols.start))
                    out[k, 2:] = np.maximum(out[k, 2:], (own.start + rows.stop, cols.stop))
        return out

    def count(self, mask: BOOL) -> I64:
        """Cells of each piece that are set in a mask.

        Parameters
        ----------
        mask : bool (rows, cols)

        Returns
        -------
        int64 (pieces + 1,)
            The first entry counts cells of no piece.
        """
        out = np.zeros(self.sizes.size, np.int64)
        for own, _, _ in large.strips(_shape(self.labels)):
            out += np.bincount(self.labels[own][mask[own]], minlength=out.size)
        return out


def _shape(array: NDArray[np.generic]) -> tuple[int, int]:
    rows, cols = array.shape
    return rows, cols


def pieces_of(mask: BOOL, corners: bool = True) -> Pieces | None:
    """Label the connected pieces of a mask.

    Parameters
    ----------
    mask : bool (rows, cols)
    corners : bool
        Whether cells that touch at a corner are joined.

    Returns
    -------
    Pieces or None
        None for a mask without a cell. The same numbers as `scipy.ndimage.label` gives on the whole.
    """
    structure = np.ones((3, 3), bool) if corners else ndimage.generate_binary_structure(2, 1)
    if not any(mask[own].any() for own, _, _ in large.strips(_shape(mask))):
        return None
    labels = large.empty(mask.shape, np.int32)
    counts, meet = [0], []
    for own, _, _ in large.strips(_shape(mask)):
        part, count = ndimage.label(mask[own], structure=structure, output=np.int32)
        base = counts[-1]
        if base + count >= np.iinfo(np.int32).max:
            raise OverflowError("more than 2**31 pieces")
        part[part > 0] += base
        labels[own] = part
        counts.append(base + count)
        if own.start > 0:
            meet.append(_meet(labels[own.start - 1], part[0], corners))
    joined = np.concatenate(meet) if meet else np.zeros((0, 2), np.int64)
    return _settled(labels, counts[-1], joined)


def _meet(above: I32, below: I32, corners: bool) -> I64:
    """Pairs of pieces that touch across the border of two strips."""
    pairs = []
    for shift in (-1, 0, 1) if corners else (0,):
        one = above[max(0, -shift) : above.size - max(0, shift)]
        other = below[max(0, shift) : below.size - max(0, -shift)]
        both = (one > 0) & (other > 0)
        pairs.append(np.column_stack([one[both], other[both]]).astype(np.int64))
    return np.unique(np.concatenate(pairs), axis=0)


def _settled(labels: I32, count: int, joined: I64) -> Pieces:
    """Number joined pieces anew, in place, and count their cells."""
    final = np.arange(count + 1, dtype=np.int32)
    if joined.size:
        graph = coo_matrix((np.ones(len(joined), np.int8), (joined[:, 0], joined[:, 1])), shape=(count + 1, count + 1))
        # parts are numbered in the order of their first members, 0 is a part of its own
        count, final = connected_components(graph, directed=False)
        count -= 1
    sizes = np.zeros(count + 1, np.int64)
    for own, _, _ in large.strips(_shape(labels)):
        if joined.size:
            labels[own] = final[labels[own]]
        sizes += np.bincount(labels[own].ravel(), minlength=sizes.size)
    sizes[0] = 0
    return Pieces(labels, sizes)
