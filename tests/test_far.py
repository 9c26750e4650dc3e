"""Filling and the tree from field to field: the same to the bit as in memory, for any strips, in memory and on disk.

The reference is the way in memory, which tests/test_basin_tree_twin.py and tests/test_fill.py hold against slow twins
and general libraries.
"""

from __future__ import annotations

import threading

import numpy as np
import pytest
from test_basin_tree_twin import rasters

from wetscout.basins import fill, tree_of
from wetscout.basins.far import FarPlan, fill_far, tree_far
from wetscout.errors import InputError, OutputError
from wetscout.io import store
from wetscout.io.store import Store, StoredField
from wetscout.records_field import ArrayField


def whole(field):
    """All cells of a field."""
    return field.read(0, field.shape[0], 0, field.shape[1])


def assert_same_tree(far, near):
    for name in vars(near):
        got, want = getattr(far, name), getattr(near, name)
        got = whole(got) if name.endswith("labels") else got
        np.testing.assert_array_equal(got, want, err_msg=name)
    np.testing.assert_array_equal(far.bbox, near.bbox)


@pytest.mark.parametrize("kind", ["distinct", "equal", "rounded"])
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_tree_from_field_to_field_equals_the_one_in_memory(kind, dtype):
    for seed in range(12):
        z, hole = rasters(seed, kind, dtype)
        z = np.tile(z, (3, 2))
        hole = None if hole is None else np.tile(hole, (3, 2))
        depth = 0.3 * (seed % 3)
        near = tree_of(z, hole, cell_m=2.0, min_depth_m=depth)
        holes = None if hole is None else ArrayField(hole)
        for strip_cells in (1, 2 * z.shape[1], 5 * z.shape[1], 10**6):
            label, pool = (ArrayField(np.empty(z.shape, np.int32)) for _ in range(2))
            plan = FarPlan(2.0, depth, strip_cells, 1 + strip_cells % 2)
            assert_same_tree(tree_far(ArrayField(z.copy()), holes, label, pool, plan), near)


def test_a_rough_plain_on_disk(tmp_path):
    rng = np.random.default_rng(4)
    y, x = np.mgrid[:300, :211]
    z = (np.sin(x / 17.0) + np.cos(y / 23.0) + rng.normal(0, 0.04, x.shape)).astype(np.float32)
    z[40:60, 100:120] = np.nan
    near = tree_of(z, min_depth_m=0.05)
    with Store(tmp_path) as room:
        ground = room.field("z", z.shape, np.float32)
        ground.write(0, 0, z)
        label, pool, filled = (room.field(n, z.shape, k) for n, k in (("a", "i4"), ("b", "i4"), ("c", "f4")))
        assert_same_tree(tree_far(ground, None, label, pool, FarPlan(1.0, 0.05, 4000, 2)), near)
        fill_far(ground, filled, label, 4000, 2)
        np.testing.assert_array_equal(whole(filled), fill(z))
        np.testing.assert_array_equal(whole(ground), z)
    assert list(tmp_path.iterdir()) == []


def test_heights_that_are_none_are_refused():
    z = np.zeros((5, 5), np.float32)
    z[2, 3] = np.inf
    label, pool = (ArrayField(np.empty(z.shape, np.int32)) for _ in range(2))
    with pytest.raises(InputError, match=r"\+inf"):
        tree_far(ArrayField(z), None, label, pool, FarPlan())
    with pytest.raises(TypeError, match="int32"):
        fill_far(label, label, pool)


@pytest.mark.parametrize("placed", [True, False])
def test_windows_of_a_stored_field_equal_those_of_an_array(tmp_path, placed, monkeypatch):
    monkeypatch.setattr(store, "_PLACED", placed)
    rng = np.random.default_rng(0)
    array = rng.normal(size=(37, 53))
    field = StoredField(tmp_path / "f.raw", array.shape, np.float64)
    assert not whole(field).any()
    parts = [(r, c) for r in range(0, 37, 10) for c in range(0, 53, 9)]
    jobs = []
    for r, c in rng.permutation(parts):
        jobs.append(threading.Thread(target=field.write, args=(r, c, array[r : r + 10, c : c + 9])))
    for job in jobs:
        job.start()
    for job in jobs:
        job.join()
    for r0, r1, c0, c1 in [(0, 37, 0, 53), (3, 20, 0, 53), (5, 6, 7, 8), (0, 37, 10, 30), (4, 4, 0, 9)]:
        got = field.read(r0, r1, c0, c1)
        np.testing.assert_array_equal(got, array[r0:r1, c0:c1])
        assert got.flags.c_contiguous and got.flags.writeable
    with pytest.raises(ValueError, match="a part"):
        field.write(30, 0, array[:10])
    with pytest.raises(ValueError, match="float32"):
        field.write(0, 0, array[:10].astype(np.float32))
    with pytest.raises(OutputError, match="cannot be kept"):
        field.read(36, 38, 0, 53)
    field.close()
    with pytest.raises(OutputError, match="cannot be kept"):
        StoredField(tmp_path / "none" / "f.raw", (2, 2), np.float32)
