"""Tell the user once why the first run takes longer, and shorten it: a third of the kernels are compiled beside."""

from __future__ import annotations

import atexit
import os
import subprocess
import sys
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
    _compile_beside()
    return True


def compile_basins() -> None:
    """Compile the kernels of filling and of the basin tree into the cache, on a wavy bowl of 64 x 64 cells."""
    import numpy as np  # noqa: PLC0415

    from wetscout.basins import basin_tree  # noqa: PLC0415
    from wetscout.basins.filling import filled  # noqa: PLC0415

    row, col = np.mgrid[0:64, 0:64].astype(np.float32)
    ground = ((row - 32) ** 2 + (col - 32) ** 2) / 1000 + np.sin(row) * np.sin(col)
    basin_tree(ground)
    filled(ground, strips=2)


def _compile_beside() -> None:
    """Start a second process for `compile_basins`: compiling holds one thread, the screen needs these kernels late.

    Nothing depends on it: what it has not put into the cache when it is needed, the screen compiles itself.
    """
    order = "from wetscout.cli.kernels import compile_basins; compile_basins()"
    quiet = subprocess.DEVNULL
    beside = subprocess.Popen([sys.executable, "-c", order], stdin=quiet, stdout=quiet, stderr=quiet)
    atexit.register(beside.kill)
