"""Arrays in mapped files: the same values as in memory, gone when nobody holds them; pieces of a mask in strips.

Pieces are held against scipy.ndimage.label on the whole.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from scipy import ndimage

from wetscout import large
from wetscout.errors import OutputError
from wetscout.pieces import pieces_of

linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="pages are told by Linux only")


def own_bytes() -> int:
    """Resident pages of this process that stand for files."""
    return int(Path("/proc/self/statm").read_text().split()[2]) * os.sysconf("SC_PAGE_SIZE")


def test_small_arrays_and_arrays_outside_stay_in_memory(tmp_path):
    assert large.empty((10, 10), np.float32).base is None
    with large.on_disk(tmp_path, small_bytes=1000):
        assert large.empty((10, 10), np.float32).base is None
        assert large.empty((10, 100), np.float32).base is not None
    assert large.empty((10, 100), np.float32).base is None


def test_values_are_kept_and_nothing_is_left_behind(tmp_path):
    rng = np.random.default_rng(0)
    with large.on_disk(tmp_path, small_bytes=0):
        made = [large.full((7, 9), np.nan, np.float32), large.zeros((7, 9), np.int64), large.empty(5, np.bool_)]
        assert np.isnan(made[0]).all() and not made[1].any()
        assert all(a.flags.c_contiguous and a.flags.writeable for a in made)
        z = rng.normal(size=(40, 50))
        twin = large.copy(z[::2, ::-1])
        np.testing.assert_array_equal(twin, z[::2, ::-1])
        assert list(tmp_path.iterdir()) == []
    np.testing.assert_array_equal(twin, z[::2, ::-1])


@linux
def test_pages_are_given_back_and_come_back_with_what_they_held(tmp_path):
    begin = own_bytes()
    with large.on_disk(tmp_path, small_bytes=0, kept_bytes=8 << 20):
        array = large.empty((64, 1 << 20), np.uint8)
        for k in range(64):
            array[k] = k
            time.sleep(0.005)
        time.sleep(0.2)
        assert own_bytes() - begin < 24 << 20
        assert [int(row[12345]) for row in array] == list(range(64))


@linux
def test_a_disk_without_room_is_told_before_the_work(tmp_path):
    with large.on_disk(tmp_path), pytest.raises(OutputError, match="no room"):
        large.empty(1 << 50, np.uint8)
    with large.on_disk(tmp_path / "none", small_bytes=0), pytest.raises(OutputError, match="no room"):
        large.empty(10, np.uint8)


def test_the_file_of_an_array_that_is_gone_serves_the_next_as_large(tmp_path, monkeypatch):
    monkeypatch.setattr(large, "_AGAIN_BYTES", 0)
    handles = Path("/proc/self/fd")
    before = len(list(handles.iterdir())) if handles.exists() else 0
    with large.on_disk(tmp_path, small_bytes=0):
        disk = large._disks[-1]
        disk.spare_bytes = 10_000
        first = large.full((10, 25), 3, np.float32)
        del first
        assert [size for size, _ in disk.gone] == [1000]
        # another size finds nothing to use; zeros are zeros
        other, nought = large.full(300, 1, np.float32), large.zeros(250, np.float32)
        assert not nought.any() and len(disk.gone) == 1
        again, more = large.empty(250, np.float32), large.full(250, 5, np.float32)
        assert (again == 3).all() and not disk.gone
        again[:] = 4
        assert (more == 5).all() and (again == 4).all() and (other == 1).all()
        # no more waits than there is room for, and nothing so large that it takes all of it
        many, huge = [large.empty(1000, np.float32) for _ in range(4)], large.empty(5000, np.float32)
        del many, huge
        assert [size for size, _ in disk.gone] == [4000] * 4
        large.empty(1, np.float32)
        assert [size for size, _ in disk.gone][:2] == [4000] * 2
        assert len(disk.gone) <= 3
    assert not disk.gone
    assert (again == 4).all()
    del again, more, other, nought
    if before:
        assert len(list(handles.iterdir())) <= before


@pytest.mark.parametrize("halo", [0, 3])
def test_strips_cover_the_rows_once(halo, monkeypatch):
    monkeypatch.setattr(large, "_STRIP_CELLS", 70)
    rows = np.arange(23)
    seen = []
    for own, read, inner in large.strips((23, 10), halo):
        assert (rows[read][inner] == rows[own]).all()
        assert rows[read][0] == max(0, own.start - halo) and rows[read][-1] == min(22, own.stop - 1 + halo)
        seen.append(rows[own])
    assert (np.concatenate(seen) == rows).all() and len(seen) == 4


@pytest.mark.parametrize("corners", [True, False])
@pytest.mark.parametrize("share", [0.0, 0.3, 0.45, 0.6, 1.0])
def test_pieces_in_strips_equal_those_of_the_whole(corners, share, monkeypatch):
    rng = np.random.default_rng(int(100 * share))
    mask = rng.random((61, 37)) < share
    structure = np.ones((3, 3)) if corners else None
    want, count = ndimage.label(mask, structure=structure)
    for rows in (1, 2, 7, 100):
        monkeypatch.setattr(large, "_STRIP_CELLS", 37 * rows)
        got = pieces_of(mask, corners)
        if got is None:
            assert count == 0
            continue
        np.testing.assert_array_equal(got.labels, want)
        np.testing.assert_array_equal(got.sizes[1:], np.bincount(want.ravel())[1:])
        wanted = np.arange(1, count + 1)[::2]
        boxes = [ndimage.find_objects(want)[k - 1] for k in wanted]
        windows = [(r.start, c.start, r.stop, c.stop) for r, c in boxes]
        np.testing.assert_array_equal(got.windows(wanted), np.array(windows).reshape(-1, 4))
        extra = rng.random(mask.shape) < 0.5
        np.testing.assert_array_equal(got.count(extra), np.bincount(want[extra], minlength=count + 1))
