"""Kernels that loops call for each of their cells, compiled without counting references to arrays."""

from __future__ import annotations

from typing import Any

from numba import njit

# numba counts the references to every array that a function is handed up and down at each call, a third of the time of
# the dearest kernels; the option that leaves it out has no public name
_OPTIONS: Any = {"nogil": True, "cache": True, "_nrt": False}


def leaf(function):
    """Compile a kernel that makes no array and returns none; as a decorator.

    Parameters
    ----------
    function : callable
        Of arrays and numbers, to numbers.

    Returns
    -------
    callable
    """
    return njit(**_OPTIONS)(function)
