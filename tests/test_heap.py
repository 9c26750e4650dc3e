"""The heap in arrays against Python's `heapq`, and lists that grow."""

from __future__ import annotations

import heapq

import numpy as np
import pytest

from wetscout.kernels.grow import longer
from wetscout.kernels.heap import heap_of, pop, push, wider


@pytest.mark.parametrize("seed", range(5))
def test_the_heap_gives_back_what_that_of_the_library_does(seed: int) -> None:
    rng = np.random.default_rng(seed)
    heap, size = heap_of(2), 0
    wanted: list[tuple[float, int, int]] = []
    for number in range(400):
        # few different keys, so that ties are common
        key, place = float(rng.integers(0, 12)), int(rng.integers(0, 1000))
        if size == heap[0].size:
            heap = wider(heap)
        size = push(heap, size, key, number, place)
        heapq.heappush(wanted, (key, number, place))
        while wanted and rng.random() < 0.45:
            got_key, got_place, size = pop(heap, size)
            want_key, _, want_place = heapq.heappop(wanted)
            assert (got_key, got_place) == (want_key, want_place)
    assert size == len(wanted)
    while wanted:
        got_key, got_place, size = pop(heap, size)
        want_key, _, want_place = heapq.heappop(wanted)
        assert (got_key, got_place, size) == (want_key, want_place, len(wanted))


@pytest.mark.parametrize("kind", [np.int32, np.int64])
def test_a_longer_list_begins_with_the_same(kind: type) -> None:
    values = np.arange(7, dtype=kind)
    more = longer(values)
    assert more.size == 14 and more.dtype == kind and np.array_equal(more[:7], values)
