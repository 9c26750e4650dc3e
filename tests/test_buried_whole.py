"""Hollows that a road divides, made whole: bowls of closed form with a road raised across, own arithmetic."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from wetscout.basins import tree_of
from wetscout.buried import apart_from_whole, whole_of
from wetscout.buried.hollows import Hollow
from wetscout.records import FILL, Patch
from wetscout.records_covered import Zone
from wetscout.settings.buried import BuriedSettings

S = BuriedSettings()
N, MIDDLE, RADIUS, DEPTH = 160, 80, 50, 0.8
Y, X = np.mgrid[0:N, 0:N].astype(np.float64)


def bowl(lower: float = 0.0) -> np.ndarray:
    """A paraboloid 0.8 m deep in a plain at 100 m that falls outwards; its rim may stand lower in one place."""
    away = np.hypot(Y - MIDDLE, X - MIDDLE)
    ground = np.where(away < RADIUS, 100.0 - DEPTH * (1.0 - (away / RADIUS) ** 2), 100.0 - 0.002 * (away - RADIUS))
    return ground - np.where((X > MIDDLE) & (np.abs(Y - MIDDLE) < 4.0) & (away > 30.0), lower, 0.0)


def road(first: int, last: int) -> np.ndarray:
    """A road from north to south, as a mask."""
    return (first <= X) & (last >= X)


def part_of(ground: np.ndarray, natural: np.ndarray, fill: np.ndarray):
    """The hollow west of the road in the ground as surveyed, the natural tree, surfaces with the road's corridor."""
    asis = tree_of(ground.astype(np.float32), min_depth_m=0.02)
    at = (MIDDLE, MIDDLE - 12)
    node = int(asis.labels[at])
    while asis.table["parent"].iat[node] >= 0:
        node = int(asis.table["parent"].iat[node])
    r0, c0, r1, c1 = (int(v) for v in asis.bbox[node])
    labels = asis.labels[r0:r1, c0:c1]
    pool = Patch(r0, c0, (labels >= asis.first[node]) & (labels <= node))
    levels = (float(asis.table["spill_m"].iat[node]), float(asis.table["floor_m"].iat[node]))
    hollow = Hollow(node, pool, *levels, at, at, float(pool.mask.sum()), False, Zone())
    corridor = np.where(fill, FILL, 0).astype(np.uint8)
    surfaces = SimpleNamespace(corridor=corridor, smooth=ground.astype(np.float32))
    return hollow, tree_of(natural.astype(np.float32), min_depth_m=0.02), surfaces


def test_a_road_raised_across_a_hollow_is_no_rim():
    natural, fill = bowl(), road(76, 84)
    hollow, tree, surfaces = part_of(np.where(fill, 100.6, natural), natural, fill)
    assert hollow.area_m2 < 0.5 * np.pi * RADIUS**2
    whole = whole_of(hollow, tree, surfaces, S)
    assert whole is not None and whole.node == hollow.node and whole.whole >= 0
    # a paraboloid: the circle at its brim, both halves and the strip under the road
    assert whole.area_m2 == pytest.approx(np.pi * RADIUS**2, rel=0.03) == whole.pool.mask.sum()
    assert whole.spill_m == pytest.approx(100.0, abs=0.02)
    # the lowest open ground lies at the foot of the road
    assert whole.floor_m == pytest.approx(100.0 - DEPTH * (1.0 - (5.0 / RADIUS) ** 2), abs=0.02)
    assert not fill[whole.floor_at]


def test_what_open_ground_joins_or_no_road_parts_is_left_as_it_is():
    natural, fill = bowl(), road(76, 84)
    ridge = np.where(fill, 100.6, natural)
    # a natural ridge: it stands on the natural surface as well
    hollow, tree, surfaces = part_of(ridge, ridge, np.zeros_like(fill))
    assert whole_of(hollow, tree, surfaces, S) is None
    # taken off, but for other reasons than a road
    hollow, tree, surfaces = part_of(ridge, natural, np.zeros_like(fill))
    assert whole_of(hollow, tree, surfaces, S) is None
    # the road lies elsewhere in the basin: what parts both is open ground
    hollow, tree, surfaces = part_of(ridge, natural, road(110, 118))
    assert whole_of(hollow, tree, surfaces, S) is None


def test_water_that_only_a_road_holds_is_no_basin():
    # the rim beyond the road is cut 0.3 m deep: without the fill the basin stands that much lower
    natural, fill = bowl(lower=0.3), road(76, 84)
    hollow, tree, surfaces = part_of(np.where(fill, 100.6, natural), natural, fill)
    assert hollow.spill_m == pytest.approx(100.0, abs=0.02)
    assert whole_of(hollow, tree, surfaces, S) is None
    assert whole_of(hollow, tree, surfaces, replace(S, held_drop_m=0.4)) is not None


def test_parts_of_one_made_whole_are_offered_once():
    natural, fill = bowl(), road(76, 84)
    hollow, tree, surfaces = part_of(np.where(fill, 100.6, natural), natural, fill)
    whole = whole_of(hollow, tree, surfaces, S)
    assert whole is not None
    other = replace(hollow, node=hollow.node + 1, floor_at=(MIDDLE, MIDDLE + 12))
    far = replace(hollow, node=hollow.node + 2, floor_at=(2, 2))
    assert apart_from_whole((whole, other, far)) == (whole, far)
    # two parts that are one basin at levels of their own: the larger
    less = replace(whole, node=hollow.node + 3, area_m2=0.5 * whole.area_m2)
    assert apart_from_whole((less, whole)) == (whole,)
    assert apart_from_whole((hollow, other)) == (hollow, other)
