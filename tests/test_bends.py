"""Ditches drawn on along the road they pass beneath, and pipes that end at the edge of the raster: closed forms."""

import numpy as np
import pytest

from wetscout.linework.bends import bend_ends, into_trenches, off_the_edge
from wetscout.linework.crossings import crossings
from wetscout.linework.under_roads import OpenEnd, Roads
from wetscout.records import FILL, ROADSIDE, Crossing, Ditch, Embankment
from wetscout.settings import Settings
from wetscout.surfaces.corridors import paint_corridors

S = Settings().linework


def _line(row, col):
    one = np.ones(len(row))
    at = (np.asarray(row, dtype=float), np.asarray(col, dtype=float))
    return Ditch(1, *at, one * 19, one * 20, one * 20, one * 4, "ditch", 0.8, 0.4, 0.9, "none")


def _road(row=50.0):
    return Embankment(1, np.full(100, row), np.arange(100.0), np.ones(100), 10.0, "road")


def _bent(turn=41):
    """South along column 40 to a row, then east along it."""
    down = np.arange(5, turn)
    east = np.arange(40, 90)
    return _line([*down, *np.full(50, turn)], [*np.full(down.size, 40), *east])


def test_a_ditch_that_turns_along_a_road_points_across_it():
    ditch = _bent()
    (end,) = bend_ends(3, ditch, np.full(ditch.row.size, 18.5), Roads([_road()], 1.0))
    assert (end.line, end.bed) == (3, 18.5)
    assert 29 <= end.at[0] <= 36 and end.at[1] == 40.0
    assert end.out == pytest.approx([1.0, 0.0], abs=0.2)


def test_drawn_the_other_way_it_is_the_same_end():
    ditch = _bent()
    back = _line(ditch.row[::-1], ditch.col[::-1])
    (end,) = bend_ends(0, back, np.full(ditch.row.size, 18.5), Roads([_road()], 1.0))
    assert end.out == pytest.approx([1.0, 0.0], abs=0.2)


@pytest.mark.parametrize(("beside_m", "blind"), [(18.5, False), (18.9, False), (19.1, True)])
def test_an_end_is_blind_where_the_ditch_beside_the_road_lies_higher(beside_m, blind):
    ditch = _bent()
    bed = np.where(ditch.col > 45, beside_m, 18.5)
    assert [e.blind for e in bend_ends(0, ditch, bed, Roads([_road()], 1.0))] == [blind]
    turned = _line(ditch.row[::-1], ditch.col[::-1])
    assert [e.blind for e in bend_ends(0, turned, bed[::-1], Roads([_road()], 1.0))] == [blind]


@pytest.mark.parametrize(("beside_m", "proposed"), [(18.5, False), (19.6, True)])
def test_water_that_cannot_go_on_beside_a_road_passes_beneath_it_to_low_ground(beside_m, proposed):
    # no trench beyond the road, only ground as low as the bed
    z = np.full((100, 100), 20.0, dtype=np.float32)
    z[45:56], z[56:] = 21.0, 18.4
    z[5:43, 38:43] = 18.5
    z[40:43, 43:90] = beside_m
    ditch = _bent()
    found = crossings(z, [ditch], [_road()], 1.0, S)
    assert any(c.row.max() > 55 and c.row.min() < 45 for c in found) == proposed


@pytest.mark.parametrize(
    ("ditch", "banks"),
    [
        (_bent(), []),  # no road
        (_bent(turn=25), [_road()]),  # it turns long before the road
        (_line(np.arange(5.0, 80.0), np.full(75, 40.0)), [_road()]),  # it runs straight on
        (_bent(), [_road(row=30.0)]),  # it has passed the road
    ],
)
def test_what_is_no_end_at_a_road(ditch, banks):
    assert bend_ends(0, ditch, np.full(ditch.row.size, 18.5), Roads(banks, 1.0)) == []


def _ground(trench_m=0.5, along=False):
    z = np.full((100, 100), 20.0, dtype=np.float32)
    z[45:56] = 21.0
    if along:
        z[60:63] = 20.0 - trench_m
    else:
        z[58:75, 39:42] = 20.0 - trench_m
    return z


END = OpenEnd(0, np.array([42.0, 40.0]), np.array([1.0, 0.0]), 19.4, True)


def test_a_short_trench_beyond_a_road_is_met():
    (c,) = into_trenches(_ground(), [END], Roads([_road()], 1.0), S)
    assert c.level_m.tolist() == [19.5, pytest.approx(19.4)]
    assert 58 <= c.row[0] <= 74 and c.row[1] == 42.0


@pytest.mark.parametrize(
    ("z", "banks"),
    [
        (_ground(trench_m=0.1), [_road()]),  # no trench to be told from noise
        (_ground(along=True), [_road()]),  # the ditch beside the road
        (_ground(trench_m=-0.9), [_road()]),  # higher ground
        (_ground(), []),
        (np.full((100, 100), 20.0, dtype=np.float32), [_road()]),  # nothing to pass beneath
    ],
)
def test_what_is_no_trench_beyond_a_road(z, banks):
    assert into_trenches(z, [END], Roads(banks, 1.0), S) == []


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
def test_a_pipe_that_ends_at_the_edge_runs_out(cell_m):
    near = Crossing(np.array([60.0, 95.0]), np.array([50.0, 50.0]), np.array([18.0, 17.5]), False)
    far = Crossing(np.array([20.0, 60.0]), np.array([50.0, 50.0]), np.array([18.0, 17.5]), False)
    (out,) = off_the_edge([near, far], (100, 100), cell_m, S)
    assert out.row.tolist() == [95.0, 99.0] and out.col.tolist() == [50.0, 50.0]
    assert out.level_m.tolist() == [17.5, 17.5]


def test_the_side_of_a_ditch_that_runs_up_road_fill_may_be_cut_down():
    # a road 1 m high and a ditch called plain along its foot: where their strips overlap, neither stands as a wall
    row = np.tile(np.arange(100.0)[:, None], (1, 100))
    z = 20.0 + np.clip((9.0 - abs(row - 50.0)) / 4.0, 0.0, 1.0)
    z -= np.clip(0.8 - abs(row - 62.0) / 3.0, 0.0, 0.8)
    mask = paint_corridors(
        z.astype(np.float32), (_line(np.full(100, 62.0), np.arange(100.0)),), (_road(),), 1.0, Settings().surfaces
    )
    assert ((mask[50, 20:80] & FILL) > 0).all()
    beside = (mask[:, 20:80] & ROADSIDE) > 0
    assert not beside[:50].any() and not beside[64:].any()
