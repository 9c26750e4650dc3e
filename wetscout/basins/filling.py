"""Depressions raised to their spill level."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wetscout import large
from wetscout.basins import checks, graph
from wetscout.kernels import fill as kernel
from wetscout.settings.basins import BasinSettings

__all__ = ["fill"]


def fill(dem: ArrayLike) -> NDArray[Any]:
    """Raise every depression to its spill level.

    Water leaves a cell to its 8 neighbours. The border, NaN and -inf are outlets and stay as they are. The level of a
    cell is the least over all ways out of the highest ground on the way, computed with comparisons only: exact in the
    precision of the input.

    Parameters
    ----------
    dem : array_like (rows, cols), float16, float32, float64 or integers
        Heights, any unit, any strides. Not changed.

    Returns
    -------
    ndarray (rows, cols), same dtype
        Heights >= dem; a cell that is not raised keeps its bits.

    Raises
    ------
    TypeError
        Masked, bool, complex or other values that are not heights.
    InputError
        Not two-dimensional, or a cell is +inf. (Also a ValueError.)
    """
    return filled(dem)


def filled(dem: ArrayLike, *, strips: int | None = None, workers: int | None = None) -> NDArray[Any]:
    """`fill` with a given number of strips and threads; the answer does not depend on them.

    Parameters
    ----------
    dem : array_like (rows, cols)
        See `fill`.
    strips : int or None
        Strips of rows labelled alone; None takes the setting.
    workers : int or None
        Threads; None takes the setting.

    Returns
    -------
    ndarray (rows, cols), same dtype

    Raises
    ------
    TypeError, InputError
        See `fill`.
    """
    array = checks.raster(dem, "fill")
    if array.size == 0:
        return np.array(array, order="C")
    settings = BasinSettings()
    z, values = checks.work_copy(array)
    with graph.Crew(workers or graph.workers_of(settings)) as crew:
        net = graph.build(z, graph.cut(z.shape, strips, settings), crew)
        checks.refuse_infinite(array, net.infs, "fill")
        level = kernel.levels(net.parent, net.level)
        crew.map(lambda s: kernel.raise_ground(graph.flat(z, s), graph.flat(net.label, s), level), net.strips)
    if values is not None:
        return np.asarray(values[z.astype(np.int64)], dtype=array.dtype)
    if net.nans:
        for own, _, _ in large.strips((z.shape[0], z.shape[1])):
            np.copyto(z[own], array[own], where=np.isnan(array[own]))
    return np.asarray(z, dtype=array.dtype)
