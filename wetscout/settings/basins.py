"""Tunable numbers of the room `basins`."""

from __future__ import annotations

from dataclasses import dataclass

from wetscout.settings._value import number


@dataclass(frozen=True)
class BasinSettings:
    """See the metadata of each field for unit, range and source."""

    strip_cells: int = number(
        1 << 19,
        "-",
        (1 << 10, 1 << 28),
        "cells in one strip of rows; strips are labelled alone and merged, the answer does not depend on it",
        "measured: labels, passes and pits of half a million cells stay in a 2-4 MB cache",
    )
    workers: int = number(
        0,
        "-",
        (0, 256),
        "threads that work on strips; 0 takes one per processor",
        "measured: two threads on two processors",
    )
