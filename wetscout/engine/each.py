"""Work on many things at once, answers in their order."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from itertools import islice
from typing import TypeVar

__all__ = ["each"]

# so many wait at a time: a county has a million hollows, and each that waits takes a kilobyte
BATCH = 4096
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
    rest = iter(things)
    answers: list[U] = []
    with ThreadPoolExecutor(workers) as pool:
        while batch := list(islice(rest, BATCH)):
            answers += pool.map(work, batch)
    return answers
