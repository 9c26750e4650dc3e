"""Work on many things at once, answers in their order."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

__all__ = ["each"]

T = TypeVar("T")
U = TypeVar("U")


def each(work: Callable[[T], U], things: Iterable[T], workers: int = 1) -> list[U]:
    """Call a function on each of many things, in threads.

    Parameters
    ----------
    work : callable
        Must not touch what another call of it writes.
    things : iterable
    workers : int
        Threads; 1 works in the calling thread.

    Returns
    -------
    list
        Answers in the order of the things, whatever the number of threads.
    """
    if workers < 2:
        return [work(thing) for thing in things]
    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(work, things))
