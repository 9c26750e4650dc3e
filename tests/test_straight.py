"""The straightest shore, counted in a kernel, is that of histograms of numpy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from wetscout.kernels.straight import four_sides, outer_shore, straightest


def plainly(rows, cols, turns, cell_m, bin_m):
    """Slow, obvious twin of the kernel: one histogram a direction."""
    most = 0.0
    for cos, sin in zip(*turns, strict=True):
        at = np.rint((rows * cos + cols * sin) * cell_m / bin_m).astype(np.int64)
        counts = np.bincount(at - at.min(), minlength=3)
        three = (counts[:-2] + counts[1:-1] + counts[2:]).max()
        most = max(most, float(three) / max(abs(cos), abs(sin)))
    return most


@pytest.mark.parametrize("cell_m", [1.0, 1.524, 3.0])
@pytest.mark.parametrize("cells", [1, 2, 7, 400])
def test_the_straightest_shore_is_that_of_histograms(cell_m: float, cells: int) -> None:
    rng = np.random.default_rng(cells)
    rows, cols = np.floor(rng.uniform(0, 90, (2, cells)))
    rows[cells // 2 :] = np.floor(0.3 * cols[cells // 2 :]) + 20
    turns = tuple(f(np.radians(np.arange(0.0, 180.0))) for f in (np.cos, np.sin))
    for bin_m in (1.0, 0.5 * cell_m):
        given = rows, cols, turns, cell_m, bin_m
        assert straightest(*given) == plainly(*given)


@pytest.mark.parametrize("seed", range(8))
def test_the_outer_shore_is_that_of_the_library_with_holes_filled(seed: int) -> None:
    rng = np.random.default_rng(seed)
    shape = tuple(rng.integers(3, 40, 2))
    field = ndimage.gaussian_filter(rng.normal(size=shape), rng.uniform(0, 3))
    mask = field > np.quantile(field, rng.uniform(0.05, 0.9))
    whole = ndimage.binary_fill_holes(np.pad(mask, 1))
    wanted = np.argwhere(whole & ~ndimage.binary_erosion(whole))
    rows, cols = outer_shore(mask)
    # in no order, each once
    assert sorted(zip(rows.tolist(), cols.tolist(), strict=True)) == [tuple(map(float, at)) for at in wanted.tolist()]


def two_lines(off_m, bin_m, apart):
    """Slow, obvious twin: a histogram, its running sum of three, and the best of both parts."""
    count = np.bincount(((off_m - off_m.min()) / bin_m).astype(np.int64))
    on = np.convolve(count, np.ones(3, dtype=np.int64))
    first = int(on.argmax())
    most = int(on[first])
    on[max(0, first - apart) : first + apart + 1] = 0
    return most + int(on.max())


@pytest.mark.parametrize("cells", [1, 3, 40, 500])
def test_four_sides_are_those_of_histograms(cells: int) -> None:
    rng = np.random.default_rng(cells)
    rows, cols = np.floor(rng.uniform(0, 90, (2, cells)))
    rows[: cells // 2] = 0.5 * np.floor(cols[: cells // 2])
    cos, sin = (f(np.radians(np.arange(0.0, 90.0))) for f in (np.cos, np.sin))
    for bin_m, apart in ((1.0, 10), (1.5, 7)):
        wanted = max(
            two_lines(cols * c + rows * s, bin_m, apart) + two_lines(rows * c - cols * s, bin_m, apart)
            for c, s in zip(cos, sin, strict=True)
        )
        assert four_sides(rows, cols, (cos, sin), bin_m, apart) == wanted
