"""Tiles worked out by a Dask cluster: the same calls as in threads, their windows sent over the network."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Callable, Iterator
from typing import Any

from wetscout.errors import InputError
from wetscout.io.environment import code_files

__all__ = ["Cluster", "cluster_at", "code_of"]

# how long the scheduler may take to answer [s]
_ANSWER_S = 10


class Cluster:
    """Workers somewhere else.

    Parameters
    ----------
    executor : concurrent.futures.Executor
    threads : int
        Work that they do at once.
    """

    def __init__(self, executor: Any, threads: int) -> None:
        self.executor, self.threads = executor, threads

    def call(self, function: Callable[..., Any], *args: Any) -> Any:
        """Have one call done there and wait for the answer.

        Parameters
        ----------
        function : callable
            With everything it needs among its arguments or in plain values around it: they are sent with it.
        *args
            Arguments.

        Returns
        -------
        Any
            What it returns.
        """
        return self.executor.submit(function, *args).result()


def code_of() -> str:
    """A mark of the program's own files.

    Returns
    -------
    str
    """
    return hashlib.sha256(b"".join(file.read_bytes() for file in code_files())).hexdigest()[:16]


@contextlib.contextmanager
def cluster_at(address: str | None) -> Iterator[Cluster | None]:
    """Reach the scheduler of a Dask cluster.

    Parameters
    ----------
    address : str or None
        Such as tcp://10.0.0.5:8786; None is no cluster.

    Yields
    ------
    Cluster or None

    Raises
    ------
    InputError
        Dask is not installed, nobody answers, there are no workers, or theirs is another version of this program.
    """
    if address is None:
        yield None
        return
    try:
        from distributed import Client  # noqa: PLC0415  an extra
    except ImportError as error:
        raise InputError(
            f"--scheduler {address}: Dask is not installed here: pip install 'wetscout[cluster]'"
        ) from error
    try:
        client = Client(address, timeout=_ANSWER_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError(
            f"--scheduler {address}: no Dask scheduler answers there ({error}). Start one with `dask scheduler` and "
            "workers with `dask worker ADDRESS`, and give the address that it prints"
        ) from error
    with client:
        there = client.run(code_of)
        if not there:
            raise InputError(f"--scheduler {address}: the cluster has no workers; start some: dask worker {address}")
        other = sorted(name for name, mark in there.items() if mark != code_of())
        if other:
            raise InputError(
                f"--scheduler {address}: {len(other)} of {len(there)} workers ({other[0]}) have other files of "
                "wetscout than this machine, which could give other answers; install the same version there"
            )
        yield Cluster(client.get_executor(), sum(client.nthreads().values()))
