"""Tell the user once why the first run takes longer, and compile all kernels on all processors before it."""

from __future__ import annotations

import atexit
import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from wetscout.cli.state import State

# in the cache folder, once the kernels of the list were compiled
DONE = "first_run_done"
# a process takes 0.6 GB
MOST_BESIDE = 3


def announce_compile(state: State) -> bool:
    """Say that kernels have to be compiled, and do so, when not all of this version are in the cache yet.

    Parameters
    ----------
    state : State
        How to speak.

    Returns
    -------
    bool
        True when they were compiled.
    """
    import wetscout.kernels  # noqa: F401, PLC0415  sets the cache folder

    folder = Path(os.environ["NUMBA_CACHE_DIR"])
    if (folder / DONE).exists():
        return False
    state.note("compiling kernels, once per version (a minute or two) ...")
    _compile(state)
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        (folder / DONE).touch()
    return True


def _compile(state: State) -> None:
    """Compile in this process and in others beside it: compiling holds one thread.

    What the others have not put into the cache when it is needed, the screen compiles itself: they go on with what it
    comes to last while it has begun. They must read the very same files: a source tree in the working folder would give
    the kernels another place in the cache (133 s instead of 90 for the first demo inside a clone).
    """
    from wetscout.kernels.ahead import LEFT, compile_ahead  # noqa: PLC0415

    home = str(Path(__file__).parents[2])
    quiet = subprocess.DEVNULL
    told = [0.0]

    def tell(share: float) -> None:
        if share >= told[0] + 0.2:
            told[0] = share
            state.note(f"{100 * share:3.0f} %  of the kernels taken up")

    claims = tempfile.mkdtemp(prefix="wetscout")
    atexit.register(shutil.rmtree, claims, ignore_errors=True)
    order = f"import sys; sys.path.insert(0, {home!r}); from pathlib import Path; "
    order += f"from wetscout.kernels.ahead import compile_ahead; compile_ahead(Path({claims!r}))"
    for _ in range(max(1, min(MOST_BESIDE, (os.cpu_count() or 2) - 1))):
        beside = subprocess.Popen([sys.executable, "-P", "-c", order], stdin=quiet, stdout=quiet, stderr=quiet)
        atexit.register(beside.kill)
    compile_ahead(Path(claims), tell, LEFT)
