"""A heap in arrays: the least key first, of equal ones that with the lowest number (Williams 1964).

Lists of tuples as `heapq` keeps them take three seconds more to compile at a first run and are no faster.
"""

from __future__ import annotations

import numpy as np

from wetscout.kernels.compiled import compiled, leaf
from wetscout.kernels.grow import longer


@compiled
def heap_of(room):
    """An empty heap (keys, numbers, places), each (room,): float64, int64, int64."""
    return np.empty(room), np.empty(room, np.int64), np.empty(room, np.int64)


@compiled
def wider(heap):
    """A heap of twice the room with what a full one holds."""
    return longer(heap[0]), longer(heap[1]), longer(heap[2])


@leaf
def push(heap, size, key, number, place):
    """Put a place with its key and its number, which no other has, into a heap with room that holds `size`.

    Returns its new size.
    """
    keys, numbers, places = heap
    i = size
    while i > 0:
        up = (i - 1) >> 1
        if keys[up] < key or (keys[up] == key and numbers[up] < number):
            break
        keys[i], numbers[i], places[i] = keys[up], numbers[up], places[up]
        i = up
    keys[i], numbers[i], places[i] = key, number, place
    return size + 1


@leaf
def pop(heap, size):
    """Take the first out of a heap that holds `size`: its key, its place and the new size."""
    keys, numbers, places = heap
    first_key, first_place = keys[0], places[0]
    size -= 1
    key, number, place = keys[size], numbers[size], places[size]
    i = 0
    k = 1
    while k < size:
        if k + 1 < size and (keys[k + 1] < keys[k] or (keys[k + 1] == keys[k] and numbers[k + 1] < numbers[k])):
            k += 1
        if not (keys[k] < key or (keys[k] == key and numbers[k] < number)):
            break
        keys[i], numbers[i], places[i] = keys[k], numbers[k], places[k]
        i = k
        k = 2 * i + 1
    keys[i], numbers[i], places[i] = key, number, place
    return first_key, first_place, size
