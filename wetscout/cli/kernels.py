"""Tell the user once why the first run takes longer."""

from __future__ import annotations

import os
from pathlib import Path

from wetscout.cli.state import State


def announce_compile(state: State) -> bool:
    """Say that kernels have to be compiled, when none of this version are in the cache yet.

    Parameters
    ----------
    state : State
        How to speak.

    Returns
    -------
    bool
        True when it was said.
    """
    import wetscout.kernels  # noqa: F401, PLC0415  sets the cache folder

    folder = Path(os.environ["NUMBA_CACHE_DIR"])
    if folder.is_dir() and next(folder.rglob("*.nbi"), None) is not None:
        return False
    state.note("compiling kernels, once per version (about a minute) ...")
    return True
