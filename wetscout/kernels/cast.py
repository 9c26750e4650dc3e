"""Arrays as kernels want them: C order, writable, one of two dtypes.

A read-only array, another memory order or another dtype makes numba compile the kernel again (about 1 s each), so
everything that enters a kernel passes through here.
"""

from __future__ import annotations

import numpy as np

# float32 holds integers up to 2**24 exactly, float64 up to 2**53
_EXACT64 = 1 << 53


def work_copy(dem):
    """Copy a DEM into a float array that orders and compares exactly like it.

    Parameters
    ----------
    dem : ndarray, 2-D, integer or float16, float32, float64
        Any strides, any byte order.

    Returns
    -------
    z : ndarray of float32 or float64, C order, writable
        A fresh copy.
    values : ndarray or None
        For integers beyond 2**53 the sorted distinct values; z then holds positions in it.
    """
    kind, size = dem.dtype.kind, dem.dtype.itemsize
    if kind == "f":
        return np.array(dem, dtype=np.float64 if size == 8 else np.float32, order="C"), None
    if size <= 2:
        return np.array(dem, dtype=np.float32, order="C"), None
    if size == 8 and dem.size and (int(dem.max()) > _EXACT64 or int(dem.min()) < -_EXACT64):
        values, place = np.unique(dem, return_inverse=True)
        return np.array(place.reshape(dem.shape), dtype=np.float64, order="C"), values
    return np.array(dem, dtype=np.float64, order="C"), None
