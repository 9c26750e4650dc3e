"""Compiled loops over cells: arrays in, arrays out.

The cache folder of compiled code is fixed here, before numba is imported anywhere: user cache folder / wetscout /
kernels / hash of the kernel sources and of where they are installed, so an upgrade never runs stale machine code, and
an empty folder tells a first run. A folder given in the environment variable NUMBA_CACHE_DIR stands for the first part
of it: numba itself asks for the file of a kernel only, not for those of the kernels that it calls, so with one folder
for all versions a kernel that did not change went on with the old code of one that did, or ended in an error.
"""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path


def _user_folder() -> Path:
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home()))
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache"))
    return base / "wetscout" / "kernels"


def _cache_folder(given: str | None) -> Path:
    # numba keeps machine code by the place of its source as well: what another installation compiled is of no use here
    digest = hashlib.sha256(str(Path(__file__).parent).encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    base = Path(given) if given else _user_folder()
    version = digest.hexdigest()[:16]
    return base if base.name == version else base / version  # a process started by this one is given the whole of it


os.environ["NUMBA_CACHE_DIR"] = str(_cache_folder(os.environ.get("NUMBA_CACHE_DIR")))
