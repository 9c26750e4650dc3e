"""Lists that grow: an array of twice the size with what it held."""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled


@compiled
def longer(values):
    """Twice as many places, the first half as in values (n,); what follows is not set."""
    more = np.empty(2 * values.size, values.dtype)
    for i in range(values.size):
        more[i] = values[i]
    return more
