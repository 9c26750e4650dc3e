"""Many things at once: answers in order, errors passed on, and a screen that does not depend on the threads."""

from __future__ import annotations

import threading
import time

import pytest
from test_sites import drained_bowl

from wetscout.engine.each import BATCH, each
from wetscout.pipeline import screen_array
from wetscout.steps.plan import Plan


@pytest.mark.parametrize("workers", [1, 4])
def test_answers_come_in_the_order_of_the_things(workers):
    def slow(k):
        time.sleep(0.002 * (7 - k))
        return k, threading.get_ident()

    found = each(slow, range(8), workers)
    assert [k for k, _ in found] == list(range(8))
    assert len({thread for _, thread in found}) > 1 or workers == 1


def test_more_things_than_wait_at_a_time():
    assert each(lambda k: -k, range(3 * BATCH + 5), 2) == [-k for k in range(3 * BATCH + 5)]
    assert each(lambda k: k, [], 2) == []


@pytest.mark.parametrize("workers", [1, 2])
def test_an_error_in_one_is_an_error(workers):
    with pytest.raises(ZeroDivisionError):
        each(lambda k: 1 // k, [1, 0], workers)


def test_sites_do_not_depend_on_the_threads():
    one, two = (screen_array(drained_bowl(), 1.0, plan=Plan(workers=k)) for k in (1, 2))
    assert len(one.sites) == len(two.sites) == 1
    for mine, its in zip(one.sites, two.sites, strict=True):
        assert {k: v for k, v in mine.values.items() if not k.startswith("_")} == {
            k: v for k, v in its.values.items() if not k.startswith("_")
        }
