"""Earth in a ditch at the rim: a plug, a road, a pipe that is known, and a crossing farther down. Plain arithmetic."""

import numpy as np
import pytest

from wetscout.records import Crossing, Cut, Embankment, Linework
from wetscout.settings.sites import SiteSettings
from wetscout.sites.plugged import Fills

WAY = np.arange(10, 90, dtype=np.int64)
CUT = Cut(50, 40, 0.0, 1.0, 99.0, 100.0, 98.8, 1, False, np.full(80, 50, dtype=np.int64), WAY)


def _fills(fill_from, banks=(), crossings=(), top=100.2):
    today = np.full((100, 100), 100.1, dtype=np.float32)
    today[50] = 98.9
    ground = today.copy()
    ground[50, fill_from : fill_from + 12] = top
    return Fills(ground, today, Linework((), tuple(banks), tuple(crossings)), 1.0, SiteSettings())


def _bank(col, kind):
    return Embankment(1, np.arange(100.0), np.full(100, float(col)), np.full(100, 0.5), 8.0, kind)


def _pipe(given):
    return Crossing(np.array([50.0, 50.0]), np.array([34.0, 48.0]), np.array([98.9, 98.9]), given)


def test_a_plug_at_the_rim_is_seen():
    assert _fills(35).share((CUT,), 100.0) == 1.0


@pytest.mark.parametrize(
    "fills",
    [
        _fills(75),  # 35 m down the ditch: a crossing for carts
        _fills(35, top=99.7),  # does not reach the spill
        _fills(35, banks=[_bank(41, "road")]),  # a road goes on past both banks
        _fills(35, crossings=[_pipe(True)]),  # the user says that a pipe lies there
        Fills(np.full((100, 100), 98.9), np.full((100, 100), 98.9), Linework(), 1.0, SiteSettings()),  # open
    ],
)
def test_what_is_no_plug(fills):
    assert fills.share((CUT,), 100.0) == 0.0
    assert fills.share((), 100.0) == 0.0


@pytest.mark.parametrize(("banks", "crossings"), [([_bank(41, "dike")], []), ([_bank(90, "road")], [_pipe(False)])])
def test_other_banks_and_guessed_pipes_leave_a_plug_a_plug(banks, crossings):
    assert _fills(35, banks, crossings).share((CUT, CUT), 100.0) == 1.0


@pytest.mark.parametrize(("half_m", "turn", "filled"), [(90, 0, 0.0), (90, 25, 0.0), (25, 0, 1.0), (0, 0, 1.0)])
def test_a_strip_past_both_banks_is_a_road_though_none_is_listed(half_m, turn, filled):
    """Fill of 0.9 m on 7 m over the ditch; it goes on to both sides, or ends as a berm of a plug does."""
    row, col = np.mgrid[0:200, 0:200].astype(float)
    today = (100.1 - 0.01 * np.abs(col - 100) + 0.003 * np.abs(row - 100)).astype(np.float32)
    today[99:102] = 98.9
    t = np.radians(turn)
    off, far = (col - 100) * np.cos(t) - (row - 100) * np.sin(t), (col - 100) * np.sin(t) + (row - 100) * np.cos(t)
    top = 1.0 - np.clip(np.abs(off) - 3.5, 0, None) / 2 - np.clip(np.abs(far) - max(half_m, 4), 0, None)
    ground = np.maximum(today, np.where(top > -3, 100.1 + top, -99)).astype(np.float32)
    way = np.arange(60, 160, dtype=np.int64)
    here = Cut(100, 95, 0.0, 1.0, 99.0, 100.0, 98.8, 1, False, np.full(100, 100, dtype=np.int64), way)
    assert Fills(ground, today, Linework(), 1.0, SiteSettings()).share((here,), 100.0) == filled
