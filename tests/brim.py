"""Ground with all its hollows full, by a general library: what a maker's own flooding is held against."""

from __future__ import annotations

import numpy as np
from skimage.morphology import reconstruction


def brim_full(z: np.ndarray) -> np.ndarray:
    """Water level when every hollow is full: scikit-image, morphological reconstruction by erosion from the border.

    Parameters
    ----------
    z : float (rows, cols)
        Ground [m].

    Returns
    -------
    float (rows, cols)
        [m].
    """
    start = np.full(z.shape, z.max())
    for edge in (np.s_[0], np.s_[-1], np.s_[:, 0], np.s_[:, -1]):
        start[edge] = z[edge]
    return np.asarray(reconstruction(start, z, method="erosion", footprint=np.ones((3, 3))))
