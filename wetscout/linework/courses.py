"""Streams that were traced in several pieces: what goes on from the end of one, alike in all that shows, is one too."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from wetscout.linework.kinds import Signs
from wetscout.linework.streams import ALIKE
from wetscout.settings.linework import LineworkSettings

# ends this near to each other make one course [m]: tracing leaves gaps of 5-8 m in the tightest bends
END_M = 10.0
# a piece of a stream is told straight by its chords from this length on, else by its ends [m]
CHORD_M = 60.0
STRAIGHT = 0.97


def go_on(
    points: Sequence[NDArray[np.float64]],
    signs: Sequence[Signs],
    kinds: Sequence[str],
    cell_m: float,
    settings: LineworkSettings,
) -> list[str]:
    """Name what goes on from a stream after it.

    A piece is taken that lies in a valley, bends, is no sharper than a stream and as deep and wide as its neighbour.

    Parameters
    ----------
    points : sequence of float64 (n, 2)
        Stations of each line [cells].
    signs : sequence of Signs
    kinds : sequence of str
        As each line is named for itself.
    cell_m : float
        [m].
    settings : LineworkSettings

    Returns
    -------
    list of str
        One kind a line.
    """
    out = list(kinds)
    if "natural stream" not in out:
        return out
    ends = cKDTree(np.concatenate([p[[0, -1]] for p in points]))
    near: dict[int, set[int]] = {}
    for a, b in sorted(ends.query_pairs(END_M / cell_m)):
        near.setdefault(a // 2, set()).add(b // 2)
        near.setdefault(b // 2, set()).add(a // 2)
    asked = [i for i, kind in enumerate(out) if kind == "natural stream" and signs[i].length >= CHORD_M]
    while asked:
        i = asked.pop()
        for k in sorted(near.get(i, set())):
            if out[k] in ("ditch", "unclear") and _may_be(signs[k], settings) and _alike(signs[i], signs[k]):
                out[k] = "natural stream"
                asked.append(k)
    return out


def _may_be(s: Signs, settings: LineworkSettings) -> bool:
    """Whether nothing in a line's own shape speaks against a stream."""
    bends = s.bow >= 0.5 * settings.bend_m if s.length >= CHORD_M else s.straight < STRAIGHT
    return bends and not s.ruled and s.saturation < settings.blunt_saturation and s.rise >= settings.bend_rise_m


def _alike(one: Signs, other: Signs) -> bool:
    """Whether depth and width of two pieces are the same but for a share, as where one line is cut apart."""
    pairs = (one.depth, other.depth), (one.width, other.width)
    return all(abs(a - b) <= ALIKE * max(a, b) for a, b in pairs)
