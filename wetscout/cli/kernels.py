"""Tell the user once why the first run takes longer, and shorten it: half of the kernels are compiled beside."""

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


def _compile_beside() -> None:
    """Start processes that compile the kernels needed last, as long as the screen compiles those needed first.

    Compiling holds one thread. Nothing depends on them: what they have not put into the cache when it is needed, the
    screen compiles itself. They must read the very same files: a source tree in the working folder would give the
    kernels another place in the cache (133 s instead of 90 for the first demo inside a clone).
    """
    home = str(Path(__file__).parents[2])
    parts = max(1, min(3, (os.cpu_count() or 2) - 1))
    quiet = subprocess.DEVNULL
    for part in range(parts):
        order = f"import sys; sys.path.insert(0, {home!r}); "
        order += f"from wetscout.kernels.ahead import compile_ahead; compile_ahead({part}, {parts})"
        beside = subprocess.Popen([sys.executable, "-P", "-c", order], stdin=quiet, stdout=quiet, stderr=quiet)
        atexit.register(beside.kill)
