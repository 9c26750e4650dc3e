"""What `fill` and `basin_tree` accept, and how they say no."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wetscout import large
from wetscout.errors import InputError
from wetscout.kernels import cast

Raster = NDArray[Any]
HIGHEST_M = 1e6


def raster(dem: ArrayLike, name: str) -> Raster:
    """Take a DEM as it is or say why it cannot be used.

    Parameters
    ----------
    dem : array_like (rows, cols)
        Heights; real numbers.
    name : str
        Function named in messages.

    Returns
    -------
    ndarray
        The same data, not copied if it was an array.

    Raises
    ------
    TypeError
        Masked arrays, bool, complex and all that is not a real number of at most 64 bits.
    InputError
        Not two-dimensional.
    """
    if isinstance(dem, np.ma.MaskedArray):
        raise TypeError(f"{name}: got a masked array; fill the mask first, dem.filled(numpy.nan) for an outlet")
    array = np.asarray(dem)
    if array.dtype.kind not in "iuf" or array.dtype.itemsize > 8:
        raise TypeError(
            f"{name}: got values of type {array.dtype}; want heights as float32, float64 or integers, "
            "for example dem.astype('float32')"
        )
    if array.ndim != 2:
        raise InputError(f"{name}: got an array of shape {array.shape}; want one band with rows and columns (2-D)")
    return array


def work_copy(array: Raster) -> tuple[NDArray[np.floating[Any]], Raster | None]:
    """A copy to work on, as `kernels.cast.work_copy` makes it; that of a large raster of floats may lie on disk.

    Parameters
    ----------
    array : ndarray (rows, cols)
        From `raster`.

    Returns
    -------
    z : float32 or float64 (rows, cols), C order
    values : ndarray or None
        See `kernels.cast.work_copy`.
    """
    if array.dtype in (np.float32, np.float64):
        return large.copy(array), None
    z, values = cast.work_copy(array)
    return z, values


def refuse_infinite(z: Raster, infs: int, name: str) -> None:
    """Refuse +inf, which is neither ground nor an outlet.

    Parameters
    ----------
    z : ndarray
        Heights.
    infs : int
        How many cells are +inf.
    name : str
        Function named in the message.

    Raises
    ------
    InputError
        If there is one, with the place of the first.
    """
    if infs:
        row, col = (int(k) for k in np.argwhere(z == np.inf)[0])
        raise InputError(_endless(name, infs, (row, col)))


def refuse_heights(dem: Raster, hole: NDArray[np.bool_] | None) -> None:
    """Refuse heights of which sums would not be exact.

    Parameters
    ----------
    dem : ndarray (rows, cols)
        Heights [m].
    hole : bool (rows, cols) or None
        Cells that do not count.

    Raises
    ------
    InputError
        A cell is +inf, or finite and beyond 1e6 m: sums in 2**-14 m could pass 2**63.
    """
    infs, first, far = 0, (0, 0), None
    # strip by strip: this is asked whenever there is unknown ground, and whole masks of a county are gigabytes
    for own, _, _ in large.strips((dem.shape[0], dem.shape[1])):
        known = dem[own] if hole is None else np.where(hole[own], dem.dtype.type(0), dem[own])
        # places are asked for where there is one only
        odd = np.abs(known) > HIGHEST_M
        if not odd.any():
            continue
        endless = np.argwhere(odd & (known == np.inf))
        if len(endless) and not infs:
            first = own.start + int(endless[0, 0]), int(endless[0, 1])
        infs += len(endless)
        if far is None:
            beyond = np.argwhere(odd & np.isfinite(known))
            far = (own.start + int(beyond[0, 0]), int(beyond[0, 1])) if len(beyond) else None
    if infs:
        raise InputError(_endless("basin_tree", infs, first))
    if far is not None:
        raise InputError(
            f"basin_tree: height {dem[far]} in row {far[0]}, column {far[1]} is no height in metres; "
            "replace no-data values by numpy.nan"
        )


def _endless(name: str, infs: int, first: tuple[int, int]) -> str:
    return (
        f"{name}: {infs} cells are +inf, the first in row {first[0]}, column {first[1]}; "
        "replace them by numpy.nan if there is no ground"
    )
