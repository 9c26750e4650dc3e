"""The basin tree on shapes whose pools are known in closed form, and its manners.

Cone and paraboloid: area and volume of small basins, Hayashi & van der Kamp (2000, J. Hydrol. 237:74-85), V = A h / 3
and A h / 2; a hollow of radius R cut at the depth h below its rim has the radius R sqrt(h / H) (paraboloid) or
R h / H (cone).
"""

from __future__ import annotations

import numpy as np
import pytest
from test_fill import serpentine

from wetscout.basins import basin_tree, fill, tree_of

CELL_M = 0.5
ROWS, COLS = 401, 601


def centre_distance(row, col):
    """Distance [m] of every cell centre of a 200 m x 300 m raster from a cell."""
    y, x = np.mgrid[:ROWS, :COLS]
    return np.hypot(y - row, x - col) * CELL_M


def outward_slope(plain):
    """Ground that falls towards the border from the plain, so that nothing else holds water."""
    y, x = np.mgrid[:ROWS, :COLS]
    edge = np.minimum.reduce([y, x, ROWS - 1 - y, COLS - 1 - x])
    return np.where(edge < 20, plain - (20 - edge) * 0.01, plain)


@pytest.mark.parametrize(("power", "share"), [(1, 1 / 3), (2, 1 / 2), (4, 2 / 3)])
def test_hollow_of_revolution(power, share):
    """R = 50 m, h = 1.5 m: A = 7853.98 m2, V = A h p / (p + 2) (Hayashi & van der Kamp 2000, p the profile's power)."""
    radius, depth = 50.0, 1.5
    z = outward_slope(100.0) + np.minimum(depth * (centre_distance(200, 300) / radius) ** power - depth, 0)
    tree = basin_tree(z, cell_m=CELL_M)
    assert len(tree) == 1
    row = tree.table.iloc[0]
    area = np.pi * radius**2
    assert row.spill_m == 100.0
    assert row.floor_m == 98.5
    assert (row.floor_row, row.floor_col) == (200, 300)
    # cells whose centre lies in the circle: within a tenth of the ring of cells on its rim (2 pi R cell = 157 m2)
    assert row.area_m2 == pytest.approx(area, abs=16)
    # midpoint rule on 31 000 cells
    assert row.volume_m3 == pytest.approx(area * depth * share, rel=2e-3)
    assert row.parent == -1
    assert row.edge == 0


def test_two_bowls_in_a_third():
    """Paraboloids of 15 m and 12 m radius in the flat floor, 40 m in radius, of a wide one: volumes are sums."""
    plain = outward_slope(10.0)
    wide = np.minimum(0.4 * (centre_distance(200, 300) / 80.0) ** 2 - 0.4, 0)
    a, b = centre_distance(200, 252), centre_distance(200, 350)
    z = plain + np.maximum(wide, -0.3)
    z += np.minimum(1.2 * (a / 15.0) ** 2 - 1.2, 0) + np.minimum(0.8 * (b / 12.0) ** 2 - 0.8, 0)
    tree = basin_tree(z, cell_m=CELL_M)
    table = tree.table
    assert list(tree.parent) == [2, 2, -1]
    assert tree.children(2) == [0, 1]
    assert tree.ancestors(0) == [2]
    assert list(tree.first) == [0, 1, 0]
    np.testing.assert_allclose(table.spill_m, [9.7, 9.7, 10.0], rtol=0, atol=1e-12)
    np.testing.assert_allclose(table.floor_m, [8.5, 8.9, 8.5], rtol=0, atol=1e-12)
    assert list(tree.spill_to[:2]) == [1, 0]
    small = [np.pi * 15.0**2 * 1.2 / 2, np.pi * 12.0**2 * 0.8 / 2]
    np.testing.assert_allclose(table.volume_m3[:2], small, rtol=5e-3)
    # wide bowl down to 0.3 m: a paraboloid of 0.4 m less its tip of 0.1 m below the flat floor
    tip = 80.0**2 * 0.1 / 0.4
    wide_m3 = np.pi * (80.0**2 * 0.4 - tip * 0.1) / 2
    assert table.volume_m3[2] == pytest.approx(wide_m3 + sum(small), rel=5e-3)
    assert table.area_m2[2] == pytest.approx(np.pi * 80.0**2, rel=2e-3)


def test_staircase_of_basins():
    """Square pans of known size on a flight of steps, each spilling over its lower lip into the next."""
    steps, side = 5, 10
    z = np.full((side + 4, steps * (side + 2) + 2), 50.0)
    for k in range(steps):
        col = 1 + k * (side + 2)
        lip = 20.0 - k
        z[2 : 2 + side, col + 1 : col + 1 + side] = lip - 0.5 - 0.25 * k
        z[2 : 2 + side, col + 1 + side : col + 3 + side] = lip
    z[2 : 2 + side, 1] = 50.0
    tree = basin_tree(z, cell_m=2.0)
    order = np.argsort(-tree.spill_m)
    table = tree.table.iloc[order]
    assert list(table.parent) == [-1] * steps
    np.testing.assert_array_equal(table.spill_m, 20.0 - np.arange(steps))
    np.testing.assert_array_equal(table.area_m2, np.full(steps, side * side * 4.0))
    np.testing.assert_array_equal(table.volume_m3, side * side * 4.0 * (0.5 + 0.25 * np.arange(steps)))
    # each runs over into the next, the last one out
    assert [int(order[k + 1]) for k in range(steps - 1)] == list(tree.spill_to[order][:-1])
    assert tree.spill_to[order[-1]] == -1


def test_many_children_at_one_level():
    z = np.full((5, 21), 3.0)
    z[2, 2:19] = 2.0
    z[2, 2:19:4] = [0.0, 0.5, 1.0, 1.5, 0.25]
    z[2, 18] = 0.25
    tree = basin_tree(z)
    assert len(tree) == 6
    assert list(tree.parent) == [5] * 5 + [-1]
    assert list(tree.floor_m) == [0.0, 0.25, 0.5, 1.0, 1.5, 0.0]


def test_pruned_dimple_does_not_steal_the_catchment():
    """A 2 cm dimple half-way down a valley: its catchment belongs to the basin at the end of the valley."""
    y, x = np.mgrid[:21, :80]
    z = (
        0.05 * np.abs(y - 10)
        + 0.02 * np.maximum(80 - x, 0)
        + np.where(x > 70, (x - 70) * 0.3, 0)
        + np.where(x < 3, 9, 0)
    )
    z[10, 40] -= 0.04
    full, pruned = basin_tree(z), basin_tree(z, min_depth_m=0.05)
    assert len(full) == 2
    assert len(pruned) == 1
    dimple = int(np.argmin(full.spill_m - full.floor_m))
    lake = 1 - dimple
    assert full.spill_to[dimple] == lake
    assert pruned.catchment_cells[0] == full.catchment_cells.sum()
    assert (pruned.catchment_labels[full.catchment_labels >= 0] == 0).all()
    np.testing.assert_array_equal(pruned.labels == 0, full.labels == lake)


def test_min_depth_counts_from_the_deepest_floor():
    """Two hollows each too shallow, deep enough together: one basin, with both floors in it."""
    z = np.full((5, 9), 4.0)
    z[2, 2:7] = [1.0, 1.5, 1.6, 1.5, 1.1]
    tree = basin_tree(z, min_depth_m=2.0)
    assert len(tree) == 1
    assert tree.floor_m[0] == 1.0
    assert tree.area_cells[0] == 5
    assert len(basin_tree(z, min_depth_m=3.0)) == 1
    assert len(basin_tree(z, min_depth_m=3.0001)) == 0


def test_edge_marks_border_and_holes():
    z = np.full((20, 60), 5.0)
    z[8:12, 1:5] = 4.0  # beside the border
    z[8:12, 15:20] = 4.0  # free
    z[8:12, 28:32] = 4.0  # beside a hole
    hole = np.zeros(z.shape, bool)
    hole[8:12, 32:36] = True
    z[8:12, 45:50] = 4.0  # spills beside an outlet
    z[10, 50], z[10, 51] = 4.5, np.nan
    tree = tree_of(z, hole)
    by_col = dict(zip(tree.floor_cell[:, 1].tolist(), tree.edge.tolist(), strict=True))
    assert by_col == {1: 1, 15: 0, 28: 1, 45: 1}


def test_a_hole_is_a_wall_not_an_outlet():
    z = np.full((9, 9), 5.0)
    z[2:7, 2:7] = 1.0
    hole = np.zeros(z.shape, bool)
    hole[4, 4] = True
    ground = np.where(hole, np.nan, z)
    assert len(basin_tree(ground)) == 0
    tree = tree_of(ground, hole)
    assert tree.spill_m.tolist() == [5.0]
    assert tree.area_cells.tolist() == [24]
    assert tree.labels[4, 4] == tree.catchment_labels[4, 4] == -1
    assert tree.edge.tolist() == [1]


def test_ground_enclosed_by_a_hole_keeps_its_inner_basins():
    z = np.full((9, 15), 5.0)
    z[4, 4] = z[4, 10] = 1.0
    z[3:6, 3:12] = np.where(z[3:6, 3:12] == 1.0, 1.0, 3.0)
    hole = np.zeros(z.shape, bool)
    hole[1:8, 1:14] = True
    hole[3:6, 3:12] = False
    tree = tree_of(z, hole)
    assert tree.parent.tolist() == [-1, -1]
    assert tree.spill_m.tolist() == [3.0, 3.0]
    assert tree.spill_to.tolist() == [1, 0]


def test_hundreds_of_thousands_of_basins_one_in_the_other():
    """A winding valley whose sills fall inland: each basin lies in the one nearer the way out."""
    z, path = serpentine(1001, 1001, lambda n: np.arange(n, 0, -1.0) + np.where(np.arange(n) % 2, 0, 4.0))
    tree = basin_tree(z)
    along = z[path[:, 0], path[:, 1]]
    beside = np.concatenate([[np.inf], along, [np.inf]])
    floors = np.count_nonzero((along[1:] < beside[1:-2]) & (along[1:] < beside[3:]))
    assert floors > 200_000
    assert len(tree) == 2 * floors - 1
    assert tree.first[-1] == 0
    assert tree.spill_m[-1] == along[0]
    assert tree.area_cells[-1] == np.count_nonzero(along < along[0])
    assert len(tree.ancestors(0)) == floors - 1


def test_pools_are_what_filling_raises():
    """Every wet cell of `fill` lies in a pool, and its level is the spill level of the outermost basin around it."""
    rng = np.random.default_rng(8)
    z = np.round(rng.normal(0, 0.04, (120, 160)) + np.arange(160) * 0.002, 3).astype(np.float32)
    tree = basin_tree(z)
    raised = fill(z)
    np.testing.assert_array_equal(tree.labels >= 0, raised > z)
    outer = np.arange(len(tree))
    for k in outer[::-1]:
        if tree.parent[k] >= 0:
            outer[k] = outer[tree.parent[k]]
    wet = tree.labels >= 0
    np.testing.assert_array_equal(tree.spill_m[outer[tree.labels[wet]]], raised[wet])


def test_volumes_are_sums_of_whole_quanta():
    """Volume = sum of depths rounded to 2**-14 m: half a quantum a cell at most from the plain sum."""
    rng = np.random.default_rng(9)
    z = rng.normal(0, 1, (60, 60))
    tree = basin_tree(z, cell_m=3.0)
    for k in range(len(tree)):
        pool = tree.pool(k)
        rows, cols = pool.mask.shape
        ground = z[pool.row0 : pool.row0 + rows, pool.col0 : pool.col0 + cols][pool.mask]
        plain = np.sum(tree.spill_m[k] - ground) * 9.0
        assert abs(tree.table.volume_m3[k] - plain) <= ground.size * 9.0 * 2**-14 + 1e-9
        whole = tree.table.volume_m3[k] / 9.0 * 2**14
        assert whole == round(whole)


def test_flat_ground_has_no_basin():
    for z in (np.zeros((20, 30)), np.ones((3, 3), np.int16), np.zeros((1, 5)), np.full((9, 9), np.nan)):
        tree = basin_tree(z)
        assert len(tree) == 0
        assert len(tree.table) == 0
        assert (tree.labels == -1).all() and (tree.catchment_labels == -1).all()
        assert tree.children(-1) == []
        with pytest.raises(IndexError, match="no basin 0"):
            tree.pool(0)


def test_input_is_untouched_and_may_be_integers():
    rng = np.random.default_rng(10)
    z = rng.integers(0, 50, (40, 40)).astype(np.int16)
    before = z.copy()
    table = basin_tree(z[::-1], min_depth_m=3).table
    np.testing.assert_array_equal(z, before)
    np.testing.assert_array_equal(table, basin_tree(z[::-1].astype(float), min_depth_m=3).table)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"cell_m": 0.0}, "cell_m"),
        ({"cell_m": np.nan}, "cell_m"),
        ({"min_depth_m": -1.0}, "min_depth_m"),
        ({"min_depth_m": np.nan}, "min_depth_m"),
        ({"hole": np.zeros((2, 2), bool)}, "shape"),
        ({"dem": np.full((3, 3), np.inf)}, r"\+inf"),
        ({"dem": np.full((4, 4), 3.4e38)}, "no-data"),
        ({"dem": np.zeros((0, 4))}, "cells"),
        ({"dem": np.full((4, 4), 2**60)}, "integers"),
    ],
)
def test_refusals_say_why(arguments, words):
    with pytest.raises(ValueError, match=words):
        tree_of(**{"dem": np.zeros((4, 4)), **arguments})
