"""The bed of a road against a basin: shares by hand from straight lines and level water."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_surfaces import straight_ditch

from wetscout.prove.false_finds import make_specimens
from wetscout.prove.found import overlap
from wetscout.records import CUT, Candidate, Patch
from wetscout.settings.sites import SiteSettings
from wetscout.sites.network import Network
from wetscout.sites.roadway import road_share

S = SiteSettings()
ALONG = np.arange(20.0, 220.0)


def line(number, row, first=0, last=200, **values):
    """A listed ditch along a row, or along rows that are given for each station."""
    rows = np.broadcast_to(np.asarray(row, float), ALONG.shape)[first:last]
    return replace(straight_ditch(rows, ALONG[first:last], **values), ditch_id=number)


class Land:
    """Natural ground, and what was dug: two ditches of 3 m along rows 60 and 72."""

    def __init__(self, depth):
        self.natural = (100.0 - depth).astype(np.float32)
        self.corridor = np.zeros(depth.shape, np.uint8)
        self.corridor[59:62] = self.corridor[71:74] = CUT


def share(depth, *lines, cell_m=1.0):
    """Of a pool 60 m long; `depth` of the water (rows, cols) [m], 0 outside."""
    land = Land(depth)
    patch = Patch(0, 0, depth > 0)
    c = Candidate(
        0, patch, patch, 100.0, 99.0, 99.0, (66, 100), (0, 0), (), False, 0.0, (), True, None, {"pool_m2": 1.0}
    )
    return road_share(c, land, Network(lines, cell_m, 6.0), cell_m, S)


def water(inner=0.3, outer=0.0, reach=0):
    """Rows 62-70 deep by `inner`, and `reach` rows on both sides of both ditches by `outer`."""
    depth = np.zeros((140, 240))
    if reach:
        depth[59 - reach : 74 + reach, 90:150] = outer
    depth[59:74, 90:150] = inner
    return depth


def test_water_between_two_ditches_is_the_road():
    assert share(water(), line(1, 60.0), line(2, 72.0)) == pytest.approx(1.0)


@pytest.mark.parametrize("reach", [10, 20])
def test_the_share_is_of_water_and_not_of_ground(reach):
    """Nine rows of 0.3 m between the ditches against twice `reach` rows of 0.05 m, of which one is taken for road."""
    told = share(water(outer=0.05, reach=reach), line(1, 60.0), line(2, 72.0))
    inside = 9 * 0.3
    assert told == pytest.approx(inside / (inside + 2 * reach * 0.05), abs=0.04)


@pytest.mark.parametrize(
    "lines",
    [
        (line(1, 60.0),),
        (line(1, 60.0), line(2, 72.0, sure=False)),
        (line(1, 60.0), line(2, 72.0, 60, 120)),
        (line(1, 60.0), line(2, 64.0)),
        (line(1, 50.0), line(2, 78.0)),
        (line(1, 60.0), line(2, 66.0 + 0.06 * (ALONG - 20.0))),
    ],
    ids=["one ditch", "a faint one", "60 m long", "two traces of one", "28 m apart", "parting"],
)
def test_what_is_no_pair_of_a_road(lines):
    assert share(water(), *lines) == 0.0


def test_a_basin_that_a_road_crosses_is_no_road():
    wide = water(inner=0.3, outer=0.3, reach=25)
    assert share(wide, line(1, 60.0), line(2, 72.0)) < 0.3


@pytest.mark.parametrize("cell_m", [2.0, 3.0])
def test_in_wide_cells_the_distance_is_in_metres(cell_m):
    """Twelve cells are 24 and 36 m: the second is wider than a road."""
    told = share(water(), line(1, 60.0), line(2, 72.0), cell_m=cell_m)
    assert told == pytest.approx(1.0 if cell_m == 2.0 else 0.0)


@pytest.mark.parametrize("seed", [130142, 140558])
def test_cuttings_are_not_offered(seed):
    """Both were; the pool of the second spreads over the fields beside by a sheet."""
    from wetscout.cli.prove import found_by_screen

    land = make_specimens("road cuts", seed)
    found = found_by_screen(land.z.copy(), 1.0, land.maps)
    assert not any(overlap(f.pool, s) for f in found for s in land.specimens)
