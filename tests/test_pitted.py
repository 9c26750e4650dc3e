"""A pit dug into a basin is told from the basin by the ground its walls take."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from wetscout import fill
from wetscout.basins.tree import tree_of
from wetscout.kernels.shore import squared_distance
from wetscout.settings import SiteSettings
from wetscout.settings._pit import PitSides
from wetscout.sites.judge import measure
from wetscout.sites.pitted import deep_ground, pit_levels, slimness

S = SiteSettings()


@pytest.mark.parametrize("power", [0.5, 1.0, 2.0, 6.0])
def test_cones_and_bowls_have_no_pit(power: float) -> None:
    """Height over the floor as a power of distance from the middle: share p of the area lies below p^(power/2)."""
    share = (np.arange(4000) + 0.5) / 4000
    levels = (10.0 + 2.0 * share ** (power / 2.0)).astype(np.float32)
    assert pit_levels(levels, levels.size, (12.0, 10.0), S) == (-np.inf, -np.inf)


@pytest.mark.parametrize(("pit_m", "share"), [(1.5, 0.1), (3.0, 0.25), (1.0, 0.02)])
def test_a_pit_ends_below_the_floor_it_was_dug_into(pit_m: float, share: float) -> None:
    floor = 10.0 + 0.5 * np.linspace(0.0, 1.0, 900)
    wall = np.linspace(10.0 - pit_m, 10.0, 30)
    levels = np.concatenate([np.full(round(1000 * share), 10.0 - pit_m), wall, floor]).astype(np.float32)
    top, middle = pit_levels(np.sort(levels), levels.size, (10.5, 10.0 - pit_m), S)
    assert 10.0 - pit_m < middle < top
    assert 10.0 - 0.5 * pit_m < top < 10.05


def test_half_a_pool_is_no_pit_in_it_and_a_shallow_pool_hides_none() -> None:
    levels = np.repeat(np.array([9.0, 10.0], dtype=np.float32), 500)
    assert pit_levels(levels, levels.size, (10.5, 9.0), S)[0] == -np.inf
    flat = np.concatenate([np.full(50, 9.9), np.full(950, 10.2)]).astype(np.float32)
    assert pit_levels(flat, flat.size, (10.4, 9.9), S)[0] == -np.inf


def test_a_channel_is_slim_and_a_pond_is_not() -> None:
    """Along cell edges: a square has 16, a disc 64 / pi, a strip of 6 by 150 cells 312^2 / 900."""
    row, col = np.mgrid[0:200, 0:300]
    disc = np.flatnonzero(np.hypot(row - 90, col - 90) <= 40.0)
    strip = np.flatnonzero((row >= 20) & (row < 26) & (col >= 10) & (col < 160))
    square = np.flatnonzero((row >= 20) & (row < 40) & (col >= 10) & (col < 30))
    assert slimness(square, 300) == 16.0
    assert slimness(strip, 300) == 312**2 / 900
    assert slimness(disc, 300) == pytest.approx(64 / np.pi, rel=0.05)


@pytest.mark.parametrize("pit_m", [0.0, 1.8])
def test_a_drained_basin_with_a_pond_in_it_is_cut(pit_m: float) -> None:
    """A bowl of 0.5 m, drained to 0.1 m over its floor; the pond keeps its water, the bowl does not."""
    row, col = np.mgrid[0:120, 0:120].astype(np.float64)
    natural = 10.0 + 0.5 * np.clip(np.hypot(row - 60, col - 60) / 40.0, 0.0, 1.0) ** 2
    natural -= 0.002 * np.clip(np.hypot(row - 60, col - 60) - 40.0, 0.0, None)
    natural[40:60, 60:80] -= pit_m
    natural = natural.astype(np.float32)
    today = natural.copy()
    today[59:62, 60:] = np.minimum(today[59:62, 60:], np.float32(9.9))
    none = np.zeros(natural.shape, np.uint8)
    tree = tree_of(natural, min_depth_m=0.05)
    found = measure(
        SimpleNamespace(natural=natural, corridor=none), tree, (fill(today), fill(natural)), (0.02, 0.0), (1.0, S)
    )
    at = int(np.argmax(tree.table["area_m2"].to_numpy()))
    assert found.cut[at] and not found.whole[at]
    assert found.floor[at] == pytest.approx(10.0, abs=0.05)
    assert (found.pit[at] > -np.inf) == (pit_m > 0)
    assert found.left[at] < 0.2


@pytest.mark.parametrize(("bowl_m", "basin"), [(0.04, False), (0.5, True)])
def test_only_the_edge_of_a_pond_on_flat_ground_is_deep(bowl_m: float, basin: bool) -> None:
    """A pond of 20 m and 1.5 m with walls of 2 to 1, in a bowl of 40 m: round it a ring of 1 m lies 0.13 m deep."""
    row, col = np.mgrid[0:100, 0:100].astype(np.float64)
    ground = 10.0 - bowl_m * np.clip(1.0 - (np.hypot(row - 50, col - 50) / 40.0) ** 2, 0.0, None)
    off = np.maximum(np.abs(row - 50), np.abs(col - 50)) - 10.0
    natural = (ground - np.clip(-off / 2.0, 0.0, 1.5)).astype(np.float32)
    pool = natural < 10.0
    levels, floor = np.sort(natural[pool]), float(natural.min())
    pit, _ = pit_levels(levels, levels.size, (10.0, floor), S)
    assert pit > floor
    for top, wide in ((pit, basin), (-np.inf, True)):
        deep = deep_ground(natural, pool, (10.0, floor, top), S.offer_depth_m)
        assert (np.sqrt(squared_distance(np.pad(deep, 1)).max()) >= S.deep_half_m) == wide


def test_several_ponds_are_no_slimmer_than_one() -> None:
    row, col = np.mgrid[0:200, 0:300]
    ponds = sum((row >= 20) & (row < 40) & (col >= at) & (col < at + 20) for at in (10, 60, 200))
    assert slimness(np.flatnonzero(ponds), 300) == 16.0


def test_a_pocket_that_keeps_its_water_is_not_where_the_way_out_begins() -> None:
    """Three quarters of the floor drain by 0.4 m; the lowest cell lies in a corner that today's ground closes."""
    row, col = np.mgrid[0:120, 0:120].astype(np.float64)
    natural = 10.0 + 0.6 * np.clip(np.hypot(row - 60, col - 60) / 40.0, 0.0, 1.0) ** 6
    natural -= 0.002 * np.clip(np.hypot(row - 60, col - 60) - 40.0, 0.0, None)
    natural[70:74, 70:74] -= 0.03
    natural = natural.astype(np.float32)
    today = natural.copy()
    today[59:62, :60] = np.minimum(today[59:62, :60], np.float32(9.9))
    today[68:76, 68:76] = np.maximum(today[68:76, 68:76], np.float32(10.3))
    today[70:74, 70:74] = natural[70:74, 70:74]
    none = np.zeros(natural.shape, np.uint8)
    tree = tree_of(natural, min_depth_m=0.05)
    water = fill(today)
    found = measure(
        SimpleNamespace(natural=natural, corridor=none), tree, (water, fill(natural)), (0.02, 0.0), (1.0, S)
    )
    at = int(np.argmax(tree.table["area_m2"].to_numpy()))
    assert found.cut[at]
    assert natural[tuple(found.floor_at[at])] > natural.min()
    assert water[tuple(found.floor_at[at])] <= 10.05


def test_dug_sides_are_steeper_than_five_to_one():
    """A flat floor in sides of 1:8 is a pothole filled in by silt, one in sides of 1:3 a pond (plain geometry).

    Halfway down both are steep for their depth over their half width; cells of 1 m widen a wall by two of them.
    """
    pits = PitSides()
    depth, half = 0.8, 20.0
    for run, dug in ((3.0, True), (8.0, False)):
        seen = depth / (run * depth + 2.0)
        assert pits.boxed((seen, 0.2, depth), half, 1.0) == dug
