"""How kernels are compiled: the decorators of this package.

A first run waits for the compiler, so nothing is made that nobody uses: no kernel is handed to C code as a function to
call back, and the wrapper for that would be a twentieth of the time.
"""

from __future__ import annotations

from typing import Any

from numba import njit

_OPTIONS: Any = {"nogil": True, "cache": True, "no_cfunc_wrapper": True}
# numba counts the references to every array that a function is handed up and down at each call, a third of the time of
# the dearest kernels; the option that leaves it out has no public name
_LEAF: Any = {**_OPTIONS, "_nrt": False}


def compiled(function):
    """Compile a kernel; as a decorator.

    Parameters
    ----------
    function : callable
        Of arrays and numbers.

    Returns
    -------
    callable
    """
    return njit(**_OPTIONS)(function)


def leaf(function):
    """Compile a kernel that loops call for each of their cells and that makes no array; as a decorator.

    Parameters
    ----------
    function : callable
        Of arrays and numbers, to numbers: no array is made or returned.

    Returns
    -------
    callable
    """
    return njit(**_LEAF)(function)


def inlined(function):
    """Write a kernel into each kernel that calls it, as if it stood there; as a decorator.

    Parameters
    ----------
    function : callable
        Of arrays and numbers.

    Returns
    -------
    callable
    """
    return njit(**_OPTIONS, inline="always")(function)
