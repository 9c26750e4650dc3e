"""Compile the kernels of a first run ahead of their use, last needed first: while a screen goes on, from the other end.

The list beside this module names every kernel that a screen calls, with the types of its arguments, in the order of
need. A second process that ran the same stages would keep step with the first and compile most kernels twice (measured
on the sample: 312 s of processor beside 301 s); from the end of the list the two meet in the middle.
"""

from __future__ import annotations

import gc
import importlib
from pathlib import Path
from typing import Any

LIST = Path(__file__).with_name("first_run.txt")


def listed() -> list[tuple[str, str, str]]:
    """Return module, name and signature of every kernel of a first run, in the order of need."""
    lines = LIST.read_text(encoding="utf-8").splitlines()
    return [tuple(line.split(" ", 2)) for line in lines if line and line[0] != "#"]  # type: ignore[misc]


def kernel(module: str, name: str) -> Any:
    """Return the kernel called `name` of ``wetscout.kernels.<module>``."""
    return getattr(importlib.import_module(f"wetscout.kernels.{module}"), name)


def compile_ahead(part: int = 0, parts: int = 1) -> None:
    """Compile every `parts`-th kernel of the list from number `part` of the last, into the cache.

    Parameters
    ----------
    part, parts : int
        Which share of the list: processes with parts 0 to `parts` - 1 do the whole of it.
    """
    from numba.core.sigutils import normalize_signature  # noqa: PLC0415

    # the compiler makes and keeps millions of objects: looking through all of them again and again takes 7 %
    gc.disable()
    for k, (module, name, signature) in enumerate(listed()[::-1][part::parts]):
        kinds, _ = normalize_signature(signature)
        kernel(module, name).compile(tuple(kinds))  # types, as in a call: text would stand under another key
        if k % 8 == 0:
            gc.collect()
            gc.freeze()
    gc.unfreeze()
    gc.enable()
