"""Ditches led along a road before they pass beneath it: closed forms, invented ground."""

import numpy as np
import pytest
from linework_scenes import frame, noise, terrain_of, trapezoid

from wetscout.linework import find_lines
from wetscout.linework.crossings import OpenEnd, crossings
from wetscout.linework.under_roads import Roads, across_roads
from wetscout.records import Ditch, Embankment
from wetscout.settings import Settings

S = Settings().linework


def _line(points, bed, kind="ditch", depth=0.8):
    row, col = np.array(points, dtype=float).T
    one = np.ones(row.size)
    return Ditch(1, row, col, np.asarray(bed, float), one * 20, one * 20, one * 4, kind, depth, 0.4, 0.9, "none")


def _road(height=1.0):
    col = np.arange(0.0, 100.0)
    return Embankment(1, np.full(100, 50.0), col, np.full(100, height), 10.0, "road")


def _ends(kind="ditch", far_bed=18.9, far_col=60):
    # the near ditch comes from the north, turns along the road's foot and ends there; the far one starts south of it
    near = _line([(42, c) for c in range(20, 56)], np.full(36, 19.0), kind)
    far = _line([(r, far_col) for r in range(58, 95)], np.linspace(far_bed, far_bed - 0.3, 37), kind)
    a = OpenEnd(0, np.array([42.0, 55.0]), np.array([0.0, 1.0]), 19.0, True)
    b = OpenEnd(1, np.array([58.0, float(far_col)]), np.array([-1.0, 0.0]), far_bed, True)
    return [near, far], [a, b]


def _run(lines, ends, banks, fill=1.0):
    return across_roads(ends, lines, Roads(banks, 1.0), [], lambda a, b, level: fill, S)


def test_an_end_led_along_a_road_meets_the_end_beyond_it():
    (c,) = _run(*_ends(), [_road()])
    assert c.row.tolist() == [42.0, 58.0] and c.col.tolist() == [55.0, 60.0]
    assert c.level_m.tolist() == [19.0, 18.9]


@pytest.mark.parametrize(
    ("banks", "fill", "options"),
    [
        ([], 1.0, {}),  # no road
        ([_road()], 0.1, {}),  # nothing to pass beneath
        ([_road()], 1.0, {"far_bed": 19.0 + 2 * S.far_rise_m}),  # uphill
        ([_road()], 1.0, {"far_col": 90}),  # along the road, not across
        ([_road()], 1.0, {"kind": "roadside"}),  # roadside ditches carry nothing across
    ],
)
def test_what_does_not_pass_beneath(banks, fill, options):
    assert _run(*_ends(**options), banks, fill) == []


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
def test_a_dog_leg_beside_a_road_is_opened_on_ground(cell_m):
    y, x = frame(400, cell_m)
    # legs: down x = -60 to the foot, along y = -12 to x = 0, then away from y = 12 at x = 0
    down = np.where(y <= -12, np.abs(x + 60), np.hypot(x + 60, y + 12))
    along = np.where((x >= -60) & (x <= 0), np.abs(y + 12), np.minimum(np.hypot(x + 60, y + 12), np.hypot(x, y + 12)))
    away = np.where(y >= 12, np.abs(x), np.hypot(x, y - 12))
    across = np.minimum(down, np.minimum(along, away))
    z = np.minimum(20.0 + 0.0 * x, trapezoid(across, 18.8, 0.6, 1.5))
    road = np.clip((8.0 - np.abs(y)) / 2.5, 0.0, 1.0) * 1.0 + 20.0
    z = np.where(np.abs(y) < 8.0, np.maximum(z, road), z) + noise(z.shape, 0.02, 3)
    lines = find_lines(terrain_of(z, cell_m), S, lambda work, halo: [work((0, z.shape[0], 0, z.shape[1]))])
    mid = 0.5 * (z.shape[0] - 1)
    under = [c for c in lines.crossings if (c.row.min() - mid) * cell_m < -5 and (c.row.max() - mid) * cell_m > 5]
    assert under and min(abs(float(c.col.mean()) - mid) * cell_m for c in under) < 12


@pytest.mark.parametrize(("gap_m", "road", "found"), [(12, False, True), (34, False, False), (34, True, True)])
def test_a_long_way_beneath_fill_leads_across_a_road(gap_m, road, found):
    """Two ditches in one line; what lies between them is a short bank, a wide natural rise, or a road on a rise."""
    rows, mid = np.arange(200), 100
    bed = np.where(np.abs(rows - mid) <= gap_m / 2, 20.0, 19.0)
    z = np.full((200, 200), 20.0, dtype=np.float32)
    z[:, 99:102] = bed[:, np.newaxis]
    cut = np.flatnonzero(bed < 20.0)
    above, below = cut[cut < mid], cut[cut > mid]
    lines = [_line([(r, 100) for r in part], np.full(part.size, 19.0)) for part in (above, below)]
    crest = Embankment(1, np.full(200, 100.0), np.arange(200.0), np.full(200, 0.5), 10.0, "road")
    passes = [
        c
        for c in crossings(z, lines, [crest] if road else [], 1.0, S)
        if c.row.min() < mid - 5 and c.row.max() > mid + 5
    ]
    assert bool(passes) is found
