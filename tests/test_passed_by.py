"""A ditch that runs past behind fill is no drain of the pool beside it."""

from dataclasses import replace

import numpy as np
import pytest
from test_surfaces import straight_ditch

from wetscout.records import Candidate, Cut, Patch
from wetscout.sites.passed_by import passed_by

WAY = np.array([0, 1], dtype=np.int64)
CUT = Cut(50, 100, 1.0, 0.0, 99.5, 100.1, 98.9, 1, True, WAY, WAY)
POOL = Patch(0, 0, np.ones((2, 2), dtype=bool))


def told(main, cut=CUT, inside_m=0.0, shore_m=20.0, named=0.0, cell_m=1.0):
    c = Candidate(
        0, POOL, POOL, 100.0, 99.5, 99.4, (0, 0), (5, 5), (cut,), False, 0.0, (1,), True, None,
        {"sure_in_pool_m": inside_m, "unheld_m": shore_m, "named_at_cut": named},
    )  # fmt: skip
    return passed_by(c, main, cell_m)


def past(first=20.0, last=180.0, **values):
    """A ditch along row 60, 10 m beyond the cut at column 100."""
    return straight_ditch([60.0, 60.0], [first, last], **values)


def test_a_pipe_into_the_side_of_a_ditch_that_runs_past_is_only_supposed():
    assert told(past())


@pytest.mark.parametrize(
    ("main", "other"),
    [
        # the ditch begins behind the road: the pipe's mouth is its head
        (past(first=98.0), {}),
        (past(last=120.0), {}),
        # it runs into the pool, or the way out is open
        (past(), {"inside_m": 14.0}),
        (past(), {"cut": replace(CUT, under_road=False)}),
        # ground holds it all round
        (past(), {"shore_m": 0.0}),
        # the user knows of the pipe
        (past(), {"named": 1.0}),
        # nobody is sure of the ditch, or it belongs to the road, or there is none
        (past(sure=False), {}),
        (past(kind="roadside"), {}),
        (None, {}),
        # in cells of 0.25 m the same line is 20 m away
        (past(), {"cell_m": 0.25}),
    ],
)
def test_other_ways_out_are_believed(main, other):
    assert not told(main, **other)
