"""The basin tree against a slow obvious twin, and against itself cut, mirrored and rotated."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from naive_terrain import naive_basins, naive_catchments

from wetscout.basins import basin_tree, tree_of

MEASURES = ["floor_m", "spill_m", "area_m2", "volume_m3", "catchment_m2", "edge"]


def rasters(seed, kind, dtype=np.float64):
    """A small random raster: `distinct` heights, `equal` ones, or smooth hollows rounded to centimetres."""
    rng = np.random.default_rng(seed)
    rows, cols = rng.integers(3, 15, 2)
    if kind == "distinct":
        z = rng.permutation(rows * cols).reshape(rows, cols) / 16
    elif kind == "equal":
        z = rng.integers(0, 6, (rows, cols)).astype(float)
    else:
        y, x = np.mgrid[:rows, :cols]
        z = np.round(np.sin(x * rng.uniform(0.3, 2)) + np.cos(y * rng.uniform(0.3, 2)) + rng.normal(0, 0.1, x.shape), 2)
    if seed % 3 == 0:
        z = np.where(rng.random(z.shape) < 0.06, np.nan, z)
    hole = rng.random(z.shape) < 0.1 if seed % 4 == 1 else None
    return z.astype(dtype), hole


def as_pools(tree):
    """(floor, spill, cells of the pool, parent's pool) of each basin."""
    out = []
    for k in range(len(tree)):
        pool = tree.pool(k)
        cells = frozenset((int(i) + pool.row0, int(j) + pool.col0) for i, j in np.argwhere(pool.mask))
        out.append((tree.floor_m[k], tree.spill_m[k], cells))
    return [(*out[k], out[p][2] if (p := tree.parent[k]) >= 0 else None) for k in range(len(tree))]


@pytest.mark.parametrize("kind", ["distinct", "equal", "rounded"])
@pytest.mark.parametrize("min_depth", [0.0, 0.5, 2.0])
def test_pools_and_nesting_equal_the_twin(kind, min_depth):
    for seed in range(25):
        z, hole = rasters(seed, kind)
        closed = naive_basins(z, min_depth, hole)
        above = {id(c): p.pool for p in closed for c in p.children}
        want = {(p.floor[0], p.spill, p.pool, above.get(id(p))) for p in closed}
        got = as_pools(tree_of(z, hole, min_depth_m=min_depth))
        assert len(got) == len(closed)
        assert set(got) == want, seed


@pytest.mark.parametrize("kind", ["distinct", "equal", "rounded"])
@pytest.mark.parametrize("min_depth", [0.0, 0.5, 2.0])
def test_catchments_equal_the_twin(kind, min_depth):
    for seed in range(25):
        z, hole = rasters(seed, kind)
        tree = tree_of(z, hole, min_depth_m=min_depth)
        want = naive_catchments(z, min_depth, hole)
        got = (
            np.where(tree.catchment_labels[..., None] >= 0, tree.floor_cell[tree.catchment_labels], -1)
            if len(tree)
            else np.full(want.shape, -1)
        )
        np.testing.assert_array_equal(got, want, err_msg=str(seed))


@given(st.integers(0, 10**6), st.sampled_from(["distinct", "equal", "rounded"]), st.sampled_from([0.0, 0.3, 1.0]))
@settings(max_examples=60, deadline=None)
def test_every_tree_is_sound(seed, kind, min_depth):
    z, hole = rasters(seed, kind, np.float32)
    tree = tree_of(z, hole, min_depth_m=min_depth, cell_m=2.0)
    nodes = np.arange(len(tree))
    assert np.all((tree.parent > nodes) | (tree.parent == -1))
    assert np.all(tree.spill_m - tree.floor_m >= min_depth)
    assert np.all(tree.spill_m > tree.floor_m)
    inner = tree.parent >= 0
    assert np.all(tree.spill_m[tree.parent[inner]] > tree.spill_m[inner])
    for k in nodes:
        below = tree.children(k)
        assert len(below) != 1
        assert tree.first[k] == min([k, *(tree.first[c] for c in below)])
        pool, catchment = tree.pool(k), tree.catchment(k)
        assert pool.mask.sum() * 4.0 == tree.table.area_m2[k]
        assert catchment.mask.sum() * 4.0 == tree.table.catchment_m2[k]
        # the pool lies in the catchment, and its window is tight
        inside = (tree.catchment_labels >= tree.first[k]) & (tree.catchment_labels <= k)
        assert np.all(inside[(tree.labels >= tree.first[k]) & (tree.labels <= k)])
        assert pool.mask.any(axis=0)[[0, -1]].all() and pool.mask.any(axis=1)[[0, -1]].all()
        assert float(z[tuple(tree.spill_cell[k])]) == tree.spill_m[k]
        # water that leaves a basin goes to another one, or out
        assert not tree.first[k] <= tree.spill_to[k] <= k


@pytest.mark.parametrize("kind", ["distinct", "equal", "rounded"])
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_strips_and_threads_do_not_matter(kind, dtype):
    rng = np.random.default_rng(3)
    for seed in range(6):
        z, _ = rasters(seed, kind, dtype)
        z = np.tile(z, (4, 3))
        hole = rng.random(z.shape) < 0.02 if seed % 2 else None
        whole = tree_of(z, hole, min_depth_m=0.2 * (seed % 3), strips=1, workers=1)
        for strips in (2, 3, 7, z.shape[0]):
            part = tree_of(z, hole, min_depth_m=0.2 * (seed % 3), strips=strips, workers=1 + strips % 2)
            for name in vars(whole):
                np.testing.assert_array_equal(getattr(part, name), getattr(whole, name), err_msg=name)


def turns(z):
    """Mirrored and rotated rasters, each with the function that brings an array back."""
    yield z[::-1], lambda a: a[::-1]
    yield z[:, ::-1], lambda a: a[:, ::-1]
    yield np.rot90(z), lambda a: np.rot90(a, -1)
    yield z.T, lambda a: a.T


@pytest.mark.parametrize("min_depth", [0.0, 0.4])
def test_table_is_the_same_for_a_turned_dem(min_depth):
    rng = np.random.default_rng(5)
    for _ in range(20):
        z = rng.permutation(30 * 23).reshape(30, 23) / 256
        whole = basin_tree(z, min_depth_m=min_depth)
        cell = np.arange(z.size).reshape(z.shape)
        for turned, back in turns(z):
            tree = basin_tree(turned, min_depth_m=min_depth)
            same = ["parent", *MEASURES]
            np.testing.assert_array_equal(tree.table[same], whole.table[same])
            np.testing.assert_array_equal(back(tree.labels), whole.labels)
            np.testing.assert_array_equal(back(tree.catchment_labels), whole.catchment_labels)
            np.testing.assert_array_equal(tree.spill_to, whole.spill_to)
            place = next(
                t for t, _ in turns(cell) if t.shape == turned.shape and np.array_equal(z.reshape(-1)[t], turned)
            )
            for name in ("floor_cell", "spill_cell"):
                got, want = getattr(tree, name), getattr(whole, name)
                np.testing.assert_array_equal(place[got[:, 0], got[:, 1]], cell[want[:, 0], want[:, 1]])
