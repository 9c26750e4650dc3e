"""Write wetscout/kernels/first_run.txt: ``python tests/list_kernels.py`` after a kernel was added or its types changed.

The demo runs in an empty cache; every kernel it calls from Python is noted with the types of its arguments. Modules
that take longest come first, so that several processes end together; those the demo comes to last stand last.
"""

from __future__ import annotations

import contextlib
import math
import os
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

HEAD = (
    "# Kernels a screen calls, modules that take longest first and those called last at the end: module, name, types\n"
    "# of the arguments. Written by a script among the tests, list_kernels.py; kernels called by others come with\n"
    "# these.\n"
)


def text(kind: Any) -> str:
    """Return a numba type as text that `Dispatcher.compile` reads."""
    from numba import types

    if isinstance(kind, types.Array):
        dims = [":"] * kind.ndim
        if kind.layout == "C":
            dims[-1] = "::1"
        elif kind.layout == "F":
            dims[0] = "::1"
        return f"{text(kind.dtype)}[{','.join(dims)}]"
    if isinstance(kind, types.UniTuple):
        return f"UniTuple({text(kind.dtype)},{kind.count})"
    if isinstance(kind, types.DictType):
        return f"DictType({text(kind.key_type)},{text(kind.value_type)})"
    if isinstance(kind, types.BaseTuple):
        return f"Tuple(({','.join(text(t) for t in kind.types)},))"
    return "boolean" if isinstance(kind, types.Boolean) else str(kind)


def called(folder: Path) -> list[str]:
    """Run the demo into `folder` and return the lines of the list."""
    from numba.core import event

    from wetscout.kernels.ahead import LEFT

    found: list[tuple[str, str]] = []
    depth = [0]
    begun = [0.0]
    spent: Counter[str] = Counter()

    class Note(event.Listener):
        def on_start(self, event: Any) -> None:
            if depth[0] == 0:
                begun[0] = time.process_time()
            depth[0] += 1

        def on_end(self, event: Any) -> None:
            depth[0] -= 1
            of = event.data["dispatcher"].py_func
            if depth[0] == 0 and of.__module__.startswith("wetscout.kernels."):
                kinds = ",".join(text(t) for t in event.data["args"])
                module = of.__module__.removeprefix("wetscout.kernels.")
                found.append((module, f"{module} {of.__name__} ({kinds},)"))
                spent[module] += time.process_time() - begun[0]

    event.register("numba:compile", Note())
    import wetscout.cli.kernels as first
    from wetscout.cli import main

    first._compile = lambda _: None
    sys.argv = ["wetscout", "demo", str(folder / "demo"), "-q"]
    with contextlib.suppress(SystemExit):
        main()
    # dearest first by powers of two, so that one run gives the list of the next; of equals the one needed first
    first_at = {module: k for k, (module, _) in reversed(list(enumerate(found)))}
    order = sorted(first_at, key=lambda module: (-round(math.log2(spent[module])), first_at[module]))
    last = sorted(first_at, key=first_at.__getitem__)[-LEFT:]
    order.sort(key=lambda module: module in last)
    return [row for module in order for of, row in found if of == module]


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as room:
        os.environ["NUMBA_CACHE_DIR"] = str(Path(room) / "cache")
        sys.path.insert(0, str(Path(__file__).parents[1]))
        lines = called(Path(room))
        (Path(__file__).parents[1] / "wetscout/kernels/first_run.txt").write_text(HEAD + "\n".join(lines) + "\n")
