"""Ground without its banks: what a dam, a dike or a railway alone holds is no hollow."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

import numpy as np

from wetscout import large
from wetscout.kernels.blur import above_opening
from wetscout.pieces import pieces_of
from wetscout.records import BOOL, F32
from wetscout.settings.buried import BuriedSettings


def without_banks(ground: F32, cell_m: float, s: BuriedSettings, each: Callable[..., Any] = map) -> F32:
    """Ground with narrow banks taken off.

    A bank is what a grey opening takes away: ground higher by `bank_m` than any square of `bank_width_m` that fits
    beneath it. A dam of 1.5 m with 4 m of crown and sides of 2.5 : 1 is 11.5 m wide; a natural rim that falls by 5 % to
    both sides loses 0.4 m, which is left to it. Low banks between levelled fields are told by a narrower square: a rim
    that falls by 5 % loses 0.12 m of those. A sharp rim loses more, but in short pieces: 22 m at most on invented
    plains, dams 50 m and more.

    Parameters
    ----------
    ground : float32 (rows, cols)
        [m], NaN where unknown.
    cell_m : float
        Cell size [m].
    s : BuriedSettings
    each : callable, optional
        Calls a function on each of many things; one by one by default.

    Returns
    -------
    float32 (rows, cols)
    """
    out = _lowered(ground, (s.bank_width_m, s.bank_m, s.bank_long_m), cell_m, each)
    # in coarse cells a window as narrow as that would be wider than the banks it is for
    narrow = s.check_width_m, s.check_m, s.bank_long_m
    return _lowered(out, narrow, cell_m, each) if cell_m <= 0.5 * s.check_width_m else out


def banks_of(ground: F32, bare: F32, s: BuriedSettings) -> BOOL:
    """Where banks stand.

    Parameters
    ----------
    ground, bare : float32 (rows, cols)
        With its banks and without them [m].
    s : BuriedSettings
        `check_m`.

    Returns
    -------
    bool (rows, cols)
    """
    out = large.empty(ground.shape, np.bool_)
    for own, _, _ in large.strips((out.shape[0], out.shape[1])):
        np.greater_equal(ground[own] - bare[own], s.check_m, out=out[own])
    return out


def _lowered(ground: F32, bank_m: tuple[float, float, float], cell_m: float, each: Callable[..., Any]) -> F32:
    """Ground without what a grey opening of a width takes away, where that is high and long enough."""
    width_m, least_m, long_m = bank_m
    half = max(1, round(0.5 * width_m / cell_m))
    out = large.copy(np.asarray(ground, dtype=np.float32))
    banks = large.empty(out.shape, np.bool_)

    def lower(strip: tuple[slice, slice, slice]) -> None:
        own, read, inner = strip
        opened, bank = above_opening(np.ascontiguousarray(ground[read], dtype=np.float32), half, np.float32(least_m))
        np.copyto(out[own], opened[inner], where=bank[inner])
        banks[own] = bank[inner]

    deque(each(lower, large.strips((out.shape[0], out.shape[1]), 2 * half)), maxlen=0)
    pieces = pieces_of(banks)
    if pieces is None:
        return out
    windows = pieces.windows(np.arange(1, pieces.sizes.size))
    far = np.hypot(windows[:, 2] - windows[:, 0], windows[:, 3] - windows[:, 1]) * cell_m
    short = np.concatenate([[False], far < long_m])
    for own, _, _ in large.strips((out.shape[0], out.shape[1])):
        np.copyto(out[own], ground[own], where=short[pieces.labels[own]])
    return out
