"""Compiled loops over cells: arrays in, arrays out.

The cache folder of compiled code is fixed here, before numba is imported anywhere: user cache folder / wetscout /
kernels / hash of the kernel sources and of where they are installed, so an upgrade never runs stale machine code, and
an empty folder tells a first run. A folder given in the environment variable NUMBA_CACHE_DIR wins.
"""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path


def _cache_folder() -> Path:
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home()))
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache"))
    # numba keeps machine code by the place of its source as well: what another installation compiled is of no use here
    digest = hashlib.sha256(str(Path(__file__).parent).encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return base / "wetscout" / "kernels" / digest.hexdigest()[:16]


os.environ.setdefault("NUMBA_CACHE_DIR", str(_cache_folder()))
