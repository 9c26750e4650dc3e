"""Compile the kernels of a first run before their use, on all processors: each takes the next module that none has.

The list beside this module names every kernel that a screen calls, with the types of its arguments. A screen that
compiled the first half itself while a process beside it came from the end of the list compiled 20 s of 190 twice,
where the two met and where the kernels of one module were shared out.
"""

from __future__ import annotations

import gc
import importlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

LIST = Path(__file__).with_name("first_run.txt")
# modules at the end of the list that a screen comes to last: the others compile them while it has begun (of four, 11 s,
# it waited 3 s for the last)
LEFT = 2


def listed() -> list[tuple[str, str, str]]:
    """Return module, name and signature of every kernel of a first run, in the order in which they are compiled."""
    lines = LIST.read_text(encoding="utf-8").splitlines()
    return [tuple(line.split(" ", 2)) for line in lines if line and line[0] != "#"]  # type: ignore[misc]


def kernel(module: str, name: str) -> Any:
    """Return the kernel called `name` of ``wetscout.kernels.<module>``."""
    return getattr(importlib.import_module(f"wetscout.kernels.{module}"), name)


def compile_ahead(claims: Path, tell: Callable[[float], None] | None = None, leave: int = 0) -> None:
    """Compile the kernels of the list that no other process has taken, into the cache.

    Parameters
    ----------
    claims : Path
        A folder that all processes see, empty at first: a file there for each module that is taken.
    tell : callable, optional
        Called with the share of the list that is taken, 0-1, whenever a module is done.
    leave : int
        Modules at the end of the list that are left to the others.
    """
    from numba.core.sigutils import normalize_signature  # noqa: PLC0415

    rows = listed()
    # the compiler makes and keeps millions of objects: looking through all of them again and again takes 7 %
    gc.disable()
    last = 0
    modules = list(dict.fromkeys(row[0] for row in rows))
    for n, module in enumerate(modules[: len(modules) - leave]):
        own = [k for k, row in enumerate(rows) if row[0] == module]
        try:
            (claims / module).touch(exist_ok=False)
        except FileExistsError:
            continue
        for k in own:
            kinds, _ = normalize_signature(rows[k][2])
            kernel(*rows[k][:2]).compile(tuple(kinds))  # types, as in a call: text would stand under another key
        last = max(last, own[-1] + 1)
        if tell is not None:
            tell(last / len(rows))
        if n % 4 == 0:
            gc.collect()
            gc.freeze()
    gc.unfreeze()
    gc.enable()
