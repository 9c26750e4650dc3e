"""Objects that refer to each other in a ring are looked for more seldom while a screen runs, and as before after it."""

from __future__ import annotations

import gc

import pytest

from wetscout.pipeline import COLLECT, seldom_collected


def test_as_before_also_after_an_error() -> None:
    before = gc.get_threshold()
    with pytest.raises(ValueError, match="half way"), seldom_collected():
        assert gc.get_threshold() == tuple(max(pair) for pair in zip(before, COLLECT, strict=True))
        raise ValueError("half way")
    assert gc.get_threshold() == before


def test_who_switched_it_off_keeps_it_off() -> None:
    before = gc.get_threshold()
    gc.set_threshold(0)
    try:
        with seldom_collected():
            assert gc.get_threshold()[0] == 0
    finally:
        gc.set_threshold(*before)
