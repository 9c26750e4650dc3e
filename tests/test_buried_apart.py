"""Which hollows the sites of open drains explain: squares on a grid, shares counted by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from wetscout.buried.hollows import Hollow
from wetscout.records import Patch
from wetscout.records_covered import Zone
from wetscout.settings import Settings
from wetscout.sites.turned_down import PLUGGED
from wetscout.steps.covered import _apart, _unplugged

FLAT = np.zeros((100, 100), dtype=np.float32)


def square(row: int, col: int, side: int) -> Patch:
    return Patch(row, col, np.ones((side, side), dtype=np.bool_))


def hollow(row: int, col: int, side: int) -> Hollow:
    return Hollow(7, square(row, col, side), 10.0, 9.0, (row, col), (row, col), float(side**2), False, Zone())


def site(pool: Patch):
    plug = SimpleNamespace(values={"_row": 50, "_col": 50})
    return SimpleNamespace(site_id="s1", pool=pool, plugs=(plug,))


def kept(one: Hollow, shown: float, *pools: Patch):
    """What is left of a hollow beside sites whose cut shows so deep: None, or if it lies within, and what it hides."""
    surfaces = SimpleNamespace(corridor=FLAT.astype(np.uint8))
    terrain = SimpleNamespace(grid=SimpleNamespace(cell_m=1.0))
    screen = SimpleNamespace(surfaces=surfaces, terrain=terrain, sites=tuple(site(p) for p in pools))
    hollows, hidden = _apart((one,), screen, FLAT + shown, Settings())
    return (hollows[0].within, hidden.get(7, ())) if hollows else None


@pytest.mark.parametrize(
    ("one", "shown", "pools", "answer"),
    [
        (hollow(10, 10, 20), 1.0, (), (False, ())),
        # the site's own pool: explained while its cut shows, hidden when it does not
        (hollow(10, 10, 20), 1.0, (square(10, 10, 21),), None),
        (hollow(10, 10, 20), 0.0, (square(10, 10, 21),), (False, ("s1",))),
        # a pocket of a quarter of a pool, and one that is most of it
        (hollow(10, 10, 20), 1.0, (square(5, 5, 40),), (True, ())),
        (hollow(10, 10, 20), 0.0, (square(5, 5, 40),), (True, ())),
        (hollow(10, 10, 30), 1.0, (square(8, 8, 40),), None),
        # half of it lies outside
        (hollow(10, 10, 20), 1.0, (square(20, 5, 40),), None),
        # a hollow around a site's pool
        (hollow(10, 10, 40), 1.0, (square(15, 15, 20),), None),
    ],
)
def test_pockets_in_the_pool_of_a_site_are_looked_at(one, shown, pools, answer):
    assert kept(one, shown, *pools) == answer


@pytest.mark.parametrize(
    ("reason", "cell_m", "left"), [(PLUGGED, 3.0, 0), (PLUGGED, 1.0, 1), ("too shallow for this DEM", 3.0, 1)]
)
def test_a_hollow_turned_down_as_plugged_is_no_covered_drain_in_wide_cells(reason, cell_m, left):
    terrain = SimpleNamespace(grid=SimpleNamespace(cell_m=cell_m))
    screen = SimpleNamespace(terrain=terrain, not_offered=(SimpleNamespace(pool=square(10, 10, 21), reason=reason),))
    assert len(_unplugged((hollow(10, 10, 20),), screen)) == left
