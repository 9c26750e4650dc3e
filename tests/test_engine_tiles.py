"""The engine: every cell owned once, tiled equals whole to the bit, errors name their tile."""

from __future__ import annotations

import threading

import numpy as np
import pytest
from scipy import ndimage

from wetscout.engine import StageClock, Tiling, each_tile, map_tiles, tiles_of

SHAPES = [(1, 1), (7, 5), (64, 64), (65, 63), (3, 200)]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize(("tile", "halo"), [(1, 0), (16, 3), (64, 100), (1000, 2)])
def test_every_cell_is_owned_once_and_windows_are_clipped(shape, tile, halo):
    counts = np.zeros(shape, dtype=int)
    for part in tiles_of(shape, tile, halo):
        counts[part.owned] += 1
        assert 0 <= part.top <= part.row0 < part.row1 <= part.bottom <= shape[0]
        assert part.row0 - part.top == min(part.row0, halo)
        assert part.bottom - part.row1 == min(shape[0] - part.row1, halo)
        window = np.zeros(shape, dtype=int)[part.window]
        assert window[part.inner].shape == part.shape
    assert (counts == 1).all()


@pytest.mark.parametrize("tile", [17, 50, 64, 1000])
@pytest.mark.parametrize("workers", [1, 2, 5])
def test_tiled_median_and_maximum_equal_the_whole_to_the_bit(tile, workers):
    """Peer: scipy.ndimage on the whole array. Away from the array's edge clipping cannot show."""
    z = np.random.default_rng(3).normal(size=(130, 111)).astype(np.float32)
    out = {"median": np.empty_like(z), "top": np.empty_like(z)}

    def work(windows, part):
        return {
            "median": ndimage.median_filter(windows["z"], size=9, mode="nearest")[part.inner],
            "top": ndimage.maximum_filter(windows["z"], size=9, mode="nearest")[part.inner],
        }

    map_tiles(work, {"z": z}, out, Tiling(tile, 4, workers))
    np.testing.assert_array_equal(out["median"], ndimage.median_filter(z, size=9, mode="nearest"))
    np.testing.assert_array_equal(out["top"], ndimage.maximum_filter(z, size=9, mode="nearest"))


def test_a_halo_that_is_too_small_shows():
    """The check above can fail: with a halo of 3 for a window of 4 the seams differ."""
    z = np.random.default_rng(3).normal(size=(130, 111)).astype(np.float32)
    out = {"top": np.empty_like(z)}
    map_tiles(
        lambda w, part: {"top": ndimage.maximum_filter(w["z"], size=9, mode="nearest")[part.inner]},
        {"z": z},
        out,
        Tiling(17, 3, 1),
    )
    assert (out["top"] != ndimage.maximum_filter(z, size=9, mode="nearest")).any()


def test_windows_are_writable_c_order_copies():
    z = np.asfortranarray(np.arange(48.0).reshape(6, 8))
    before = z.copy()

    def work(windows, part):
        window = windows["z"]
        assert window.flags.c_contiguous and window.flags.writeable
        window += 1.0
        return {"out": window[part.inner]}

    out = np.empty_like(z)
    map_tiles(work, {"z": z}, {"out": out}, Tiling(4, 1, 2))
    np.testing.assert_array_equal(z, before)
    np.testing.assert_array_equal(out, before + 1.0)


@pytest.mark.parametrize("workers", [1, 3])
def test_answers_come_in_tile_order_and_histograms_add_up(workers):
    z = np.random.default_rng(0).integers(0, 50, size=(90, 70))
    wait = threading.Event()

    def count(windows, part):
        if part.row0 == 0 and part.col0 == 0:
            wait.wait(0.05)  # the first tile is the last to finish
        return np.bincount(windows["z"][part.inner].ravel(), minlength=50)

    answers = list(each_tile(count, {"z": z}, Tiling(32, 5, workers)))
    places = [(tile.row0, tile.col0) for tile, _answer in answers]
    assert places == sorted(places)
    np.testing.assert_array_equal(sum(answer for _tile, answer in answers), np.bincount(z.ravel(), minlength=50))


@pytest.mark.parametrize("workers", [1, 2])
def test_an_error_names_its_tile_and_stops_the_rest(workers):
    z = np.zeros((100, 10))
    seen = []

    def work(windows, part):
        seen.append(part.row0)
        if part.row0 == 20:
            raise RuntimeError("no")
        return {"out": windows["z"][part.inner]}

    with pytest.raises(RuntimeError, match="no") as caught:
        map_tiles(work, {"z": z}, {"out": np.empty_like(z)}, Tiling(10, 0, workers))
    assert caught.value.__notes__ == ["in rows 20-30, columns 0-10"]
    assert len(seen) < 10


def test_wrong_shapes_types_and_shared_memory_are_refused():
    z = np.zeros((4, 4))
    same = {"out": np.empty((4, 4))}
    with pytest.raises(ValueError, match="one shape"):
        map_tiles(lambda w, t: {}, {"z": z}, {"out": np.empty((4, 5))}, Tiling())
    with pytest.raises(ValueError, match="share memory"):
        map_tiles(lambda w, t: {"out": w["z"]}, {"z": z}, {"out": z[::1]}, Tiling())
    with pytest.raises(ValueError, match="float32"):
        map_tiles(lambda w, t: {"out": w["z"].astype(np.float32)}, {"z": z}, same, Tiling())
    with pytest.raises(ValueError, match="wanted"):
        map_tiles(lambda w, t: {"other": w["z"]}, {"z": z}, same, Tiling())
    with pytest.raises(ValueError, match="tile of 0"):
        Tiling(0)


def test_the_clock_tells_share_and_time_left():
    now = [0.0]
    told = []
    clock = StageClock({"read": 1.0, "work": 3.0}, told.append, clock=lambda: now[0])
    clock.stage("read")
    assert told[-1].left_s is None
    now[0] = 5.0
    clock.update(0.5)
    assert told[-1].fraction == pytest.approx(1 / 8)
    assert told[-1].left_s == pytest.approx(35.0)
    now[0] = 5.1
    clock.update(0.6)  # too soon after the last one
    assert told[-1].stage_fraction == 0.5
    now[0] = 10.0
    clock.stage("work")
    assert (told[-1].fraction, told[-1].left_s) == (pytest.approx(0.25), pytest.approx(30.0))
    now[0] = 40.0
    clock.update(1.7)
    assert (told[-1].fraction, told[-1].left_s) == (1.0, 0.0)
    assert clock.finish() == {"read": 10.0, "work": 30.0}
