"""Ditches that the plugs of a site dam beside its pool: lines and levels made by hand, plain geometry."""

from __future__ import annotations

import numpy as np
import pytest

from wetscout.records import Ditch, Patch, Plug, Site
from wetscout.settings.sites import SiteSettings
from wetscout.sites import note_dammed
from wetscout.sites.network import Network

# a pool of 20 m at row 20, column 100; its drain runs south from it, down column 110, to row 99
POOL = Patch(20, 100, np.ones((20, 20), dtype=bool))
OWN = (30.0, 110.0), (99.0, 110.0)


def line(number: int, start: tuple[float, float], end: tuple[float, float], sure: bool = True) -> Ditch:
    n = round(max(abs(end[0] - start[0]), abs(end[1] - start[1]))) + 1
    row, col = np.linspace(start[0], end[0], n), np.linspace(start[1], end[1], n)
    bed = np.linspace(9.0, 8.9, n)
    return Ditch(number, row, col, bed, bed + 1, bed + 1, bed * 0 + 3, "ditch", 1.0, 0.3, 1.0, "none", sure)


def told(
    plug: tuple[tuple[float, float], tuple[float, float]], *ditches: Ditch, water: np.ndarray | None = None
) -> tuple[str, float]:
    """Position told and ditch from above [m], with water that falls along rows and columns."""
    if water is None:
        row, col = np.mgrid[:120, :240]
        water = (10.0 - 0.002 * row - 0.002 * col).astype(np.float32)
    laid = Plug("p", "s", None, 1, np.array([p[0] for p in plug]), np.array([p[1] for p in plug]), {})
    values = {"drain_position": "starts here", "upstream_ditch_m": 0.0}
    site = Site("s", POOL, POOL, (), (laid,), (), values)
    (out,) = note_dammed([site], Network(ditches, 1.0, 6.0), water, 1.0, SiteSettings())
    return out.values["drain_position"], out.values["upstream_ditch_m"]


RIM, BELOW = ((45.0, 105.0), (45.0, 115.0)), ((70.0, 105.0), (70.0, 115.0))


def test_a_plug_on_the_drain_of_a_pool_dams_nobody() -> None:
    own = line(1, *OWN)
    assert told(RIM, own) == told(RIM) == ("starts here", 0.0)
    # seen from the plug the water of the drain rises on by chance: it is the way out all the same
    row = np.mgrid[:120, :240][0]
    water = (10.0 + 0.001 * row).astype(np.float32)
    assert told(RIM, own, water=water) == ("starts here", 0.0)


def test_a_ditch_that_joins_the_drain_counts_where_the_plug_stands_below() -> None:
    own, side = line(1, *OWN), line(2, (55.0, 40.0), (55.0, 110.0))
    assert told(RIM, own, side) == ("starts here", 0.0)
    assert told(BELOW, own, side) == ("passes through", pytest.approx(70.0))
    # a faint one is not counted, and 30 m are too little: it begins where the basin's own would
    assert told(BELOW, own, line(2, (55.0, 40.0), (55.0, 110.0), sure=False)) == ("starts here", 0.0)
    assert told(BELOW, own, line(2, (55.0, 80.0), (55.0, 110.0))) == ("starts here", 0.0)
    assert told(BELOW, own, line(2, (55.0, 76.0), (55.0, 110.0))) == ("passes through", pytest.approx(34.0))


def test_a_plug_across_a_ditch_that_passes_by() -> None:
    own, passing = line(1, *OWN), line(2, (60.0, 20.0), (60.0, 200.0))
    across = (52.0, 112.0), (68.0, 118.0)
    position, above = told(across, own, passing)
    assert position == "passes through" and above == pytest.approx(95.0, abs=1.0)
    # a plug that ends on its bank does not cross it
    assert told(((52.0, 112.0), (58.0, 118.0)), own, passing) == ("starts here", 0.0)
    # drawn against the water, what lies beyond the plug is counted by the water
    turned = line(2, (60.0, 200.0), (60.0, 20.0))
    assert told(across, own, turned)[1] == pytest.approx(95.0, abs=1.0)


def test_water_that_rises_for_a_few_metres_and_then_falls_away_comes_from_nowhere() -> None:
    """A divide within 40 m of the plug: silt, or chance on a level bed. One farther off parts two ditches."""
    own, passing = line(1, *OWN), line(2, (60.0, 20.0), (60.0, 200.0))
    across = (52.0, 112.0), (68.0, 118.0)
    col = np.arange(240.0)
    for divide, position in ((100.0, "starts here"), (60.0, "passes through")):
        level = 10.0 - 0.004 * np.abs(col - divide)
        water = np.broadcast_to(level, (120, 240)).astype(np.float32)
        assert told(across, own, passing, water=water)[0] == position
