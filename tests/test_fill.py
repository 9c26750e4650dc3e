"""`fill` against independent libraries, a slow twin, and the properties any filling must have."""

from __future__ import annotations

import os

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from naive_terrain import naive_fill

from wetscout.basins import fill
from wetscout.basins.filling import filled

FLOATS = [np.float32, np.float64]


def serpentine(rows, cols, heights):
    """One valley that winds through the raster between walls of height 1e6; returns the DEM and the valley's cells.

    heights(n) gives the ground along its n cells; the first lies on the border, the only way out.
    """
    path = []
    for k, i in enumerate(range(1, rows - 1, 2)):
        run = [(i, j) for j in range(1, cols - 1)]
        path += run if k % 2 == 0 else run[::-1]
        if i + 2 < rows - 1:
            path.append((i + 1, path[-1][1]))
    path = np.array([(1, 0), *path])
    z = np.full((rows, cols), 1e6)
    z[path[:, 0], path[:, 1]] = heights(len(path))
    return z, path


def terrains():
    """Terrain of the kinds that break filling."""
    rng = np.random.default_rng(20)
    y, x = np.mgrid[:70, :90]
    smooth = np.sin(x / 9) * np.cos(y / 7) * 3 + x * 0.01
    noisy = x * 0.01 + y * 0.004 + rng.normal(0, 0.04, x.shape)
    nested = np.maximum(np.abs(np.hypot(x - 45, y - 35) % 16 - 8), 30 - np.hypot(x - 45, y - 35))
    holed = np.where(rng.random(x.shape) < 0.03, np.nan, noisy)
    holed[20:40, 30:50] = np.nan
    return {
        "random": rng.normal(size=x.shape),
        "flat": np.zeros(x.shape),
        "terraces": np.floor(smooth),
        "nested": nested,
        "holed": holed,
        "negative": smooth - 500,
        "noisy": noisy,
        "centimetres": np.round(noisy, 2),
        "serpentine": serpentine(70, 90, lambda n: rng.normal(0, 1, n))[0],
    }


TERRAINS = terrains()


def by_scikit_image(z):
    """scikit-image `morphology.reconstruction` by erosion (Robinson & Whelan 2004): outlets as seed, ground as mask."""
    from skimage.morphology import reconstruction

    # NaN is an outlet below all ground; reconstruction needs a number for it
    ground = np.where(np.isnan(z), z.dtype.type(-1e30), z)
    seed = np.full_like(ground, ground.max())
    seed[0], seed[-1], seed[:, 0], seed[:, -1] = ground[0], ground[-1], ground[:, 0], ground[:, -1]
    seed[np.isnan(z)] = ground[np.isnan(z)]
    out = reconstruction(seed, ground, method="erosion", footprint=np.ones((3, 3)))
    return np.where(np.isnan(z), np.nan, out).astype(z.dtype)


def by_topotoolbox(z):
    """topotoolbox `fillsinks` (Schwanghart & Scherler 2014), float32."""
    import topotoolbox

    grid = topotoolbox.GridObject()
    grid.z, grid.cellsize = z.copy(order="F"), 1.0
    return grid.fillsinks().z


def by_pyflwdir(z):
    """pyflwdir `dem.fill_depressions` (Wang & Liu 2006); adds depth to ground: exact on binary fractions."""
    import pyflwdir

    out, _ = pyflwdir.dem.fill_depressions(np.where(np.isnan(z), -9999, z).astype(z.dtype), nodata=-9999.0)
    return np.where(out == -9999, np.nan, out).astype(z.dtype)


def by_richdem(z):
    """richdem `FillDepressions` (Barnes, Lehman & Mulla 2014); no release installs beside numpy 2."""
    richdem = pytest.importorskip(
        "richdem", reason="richdem is not importable here; DEVELOPERS.md tells how to build it"
    )
    ground = richdem.rdarray(np.where(np.isnan(z), -9999, z).astype(z.dtype), no_data=-9999)
    out = np.asarray(richdem.FillDepressions(ground, epsilon=False, in_place=False))
    return np.where(out == -9999, np.nan, out)


@pytest.mark.parametrize("dtype", FLOATS)
@pytest.mark.parametrize("name", TERRAINS)
def test_equals_scikit_image_bit_for_bit(name, dtype):
    z = TERRAINS[name].astype(dtype)
    np.testing.assert_array_equal(fill(z), by_scikit_image(z), strict=True)


@pytest.mark.parametrize("name", TERRAINS)
def test_equals_topotoolbox_bit_for_bit(name):
    z = TERRAINS[name].astype(np.float32)
    np.testing.assert_array_equal(fill(z), by_topotoolbox(z), strict=True)


@pytest.mark.parametrize("name", TERRAINS)
def test_equals_pyflwdir_bit_for_bit_on_binary_fractions(name):
    z = (np.round(TERRAINS[name] * 64) / 64).astype(np.float32)
    np.testing.assert_array_equal(fill(z), by_pyflwdir(z), strict=True)


@pytest.mark.parametrize("name", TERRAINS)
def test_equals_richdem(name):
    z = TERRAINS[name].astype(np.float32)
    np.testing.assert_array_equal(fill(z), by_richdem(z))


@pytest.mark.parametrize("dtype", FLOATS)
@pytest.mark.parametrize("name", TERRAINS)
def test_equals_the_twin_for_any_number_of_strips(name, dtype):
    z = TERRAINS[name].astype(dtype)
    want = naive_fill(z)
    for strips in (1, 2, 3, 7, 70):
        got = filled(z, strips=strips, workers=1 + strips % 2)
        assert got.tobytes() == want.tobytes()


@pytest.mark.parametrize("shape", [(0, 0), (0, 5), (1, 1), (1, 7), (2, 2), (2, 9), (9, 2), (3, 3), (3, 8), (8, 3)])
def test_small_shapes(shape):
    z = np.random.default_rng(1).normal(size=shape)
    for strips in (1, 2, 3):
        np.testing.assert_array_equal(filled(z, strips=strips), naive_fill(z))


@pytest.mark.parametrize("inlet", ["open", "closed", "stairs"])
def test_serpentine_valley_of_two_million_cells(inlet):
    """One path of a million cells: neither pointers, nor joins, nor nested basins may need a stack of fixed size.

    Closed form: along a single path the level is the highest ground between the cell and the way out.
    """
    rng = np.random.default_rng(4)
    z, path = serpentine(
        1401,
        1429,
        {
            "open": lambda n: np.arange(n, dtype=float),
            "closed": lambda n: np.arange(n, 0, -1, dtype=float),
            "stairs": lambda n: np.arange(n, 0, -1.0) + np.where(np.arange(n) % 2, 0, 7) + rng.random(n),
        }[inlet],
    )
    assert z.size > 2_000_000
    along = z[path[:, 0], path[:, 1]]
    want = z.copy()
    want[path[:, 0], path[:, 1]] = np.maximum.accumulate(along)
    np.testing.assert_array_equal(fill(z.astype(np.float32)), want.astype(np.float32))


@pytest.mark.slow
def test_more_than_two_to_the_31_cells():
    """Flat indices are 64 bit: pits beyond cell 2**31 are found and raised. Needs 18 GB of memory."""
    available = os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") if hasattr(os, "sysconf") else 0
    if available < 20e9:
        pytest.skip(f"wants 20 GB of free memory, {available / 1e9:.0f} GB are free")
    rows, cols = 524_400, 4_100
    assert rows * cols > 2**31
    # cell (i, j) is line[i + 2 j]: low cells lie a knight's move apart, each a pit of its own, and no memory is needed
    line = np.full(rows + 2 * cols, 7, np.float32)
    step = 40_343
    line[::step] = np.arange(line[::step].size) % 5
    z = np.lib.stride_tricks.as_strided(line, (rows, cols), (4, 8), writeable=False)
    got = fill(z)
    # cell 100 of these rows is low; the last of them lies beyond cell 2**31
    low = range(step - 200, rows, step)
    assert low[-1] * cols > 2**31
    for i in (0, 1, *low, rows - 2, rows - 1):
        assert z[i, 100] < 7 or i not in low
        inner = np.full(cols, 0 < i < rows - 1)
        inner[[0, -1]] = False
        np.testing.assert_array_equal(got[i], np.where(inner, 7, z[i]))


@pytest.mark.parametrize("dtype", [np.int8, np.uint8, np.int16, np.uint16, np.int32, np.uint32, np.int64, np.uint64])
def test_integers_keep_their_dtype_and_every_bit(dtype):
    info = np.iinfo(dtype)
    rng = np.random.default_rng(2)
    for low, high in ((0, 9), (info.min, info.max)):
        z = rng.integers(low, high, (23, 31), dtype=dtype, endpoint=True)
        np.testing.assert_array_equal(fill(z), naive_fill(z), strict=True)


def test_integers_beyond_float_precision():
    z = np.full((5, 5), 2**60 + 3, np.int64)
    z[2, 2] = 2**60 + 1
    z[0, 2] = z[1, 2] = 2**60 + 2
    got = fill(z)
    assert got[2, 2] == 2**60 + 2
    assert got.dtype == np.int64


@pytest.mark.parametrize("dtype", [np.float16, ">f4", ">f8", ">i2"])
def test_other_byte_orders_and_half_precision(dtype):
    z = (TERRAINS["noisy"] * 100).astype(dtype)
    got = fill(z)
    assert got.dtype == np.dtype(dtype)
    np.testing.assert_array_equal(got.astype(float), naive_fill(z.astype(float)))


def test_any_strides_and_read_only():
    z = TERRAINS["noisy"]
    want = fill(z)
    np.testing.assert_array_equal(fill(np.asfortranarray(z)), want)
    np.testing.assert_array_equal(fill(z[::-1, ::-1]), want[::-1, ::-1])
    wide = np.repeat(np.repeat(z, 2, axis=0), 3, axis=1)
    np.testing.assert_array_equal(fill(wide[::2, ::3]), want)
    locked = z.copy()
    locked.flags.writeable = False
    np.testing.assert_array_equal(fill(locked), want)
    np.testing.assert_array_equal(fill(z.tolist()), want)


def test_input_is_untouched_and_bits_are_kept():
    z = TERRAINS["holed"].copy()
    z[10, 10] = np.uint64(0x7FF8000000000123).view(np.float64)  # NaN with a payload
    z[12, 12] = -0.0
    z[50:53, 60:63] = -0.0
    before = z.tobytes()
    got = fill(z)
    assert z.tobytes() == before
    assert got is not z
    kept = ~(got > z)
    assert got[kept].tobytes() == z[kept].tobytes()


def test_outlets():
    z = np.full((7, 7), 5.0)
    z[2:5, 2:5] = 1.0
    assert (fill(z)[2:5, 2:5] == 5.0).all()
    for low in (np.nan, -np.inf):
        z[3, 3] = low
        np.testing.assert_array_equal(fill(z), z)


@pytest.mark.parametrize(
    ("dem", "error", "words"),
    [
        (np.zeros((3, 3), bool), TypeError, "bool"),
        (np.zeros((3, 3), complex), TypeError, "complex"),
        (np.ma.masked_less(np.zeros((3, 3)), 1), TypeError, "masked"),
        (np.array([["a"]]), TypeError, "heights"),
        (np.array([[None]]), TypeError, "object"),
        (np.zeros((3, 3), "M8[s]"), TypeError, "datetime64"),
        (np.zeros(4), ValueError, "2-D"),
        (np.zeros((2, 3, 3)), ValueError, "2-D"),
        (np.float32(3), ValueError, "2-D"),
        (np.array([[0, 1, 2], [0, np.inf, 2], [0, 1, 2]]), ValueError, "row 1, column 1"),
    ],
)
def test_refusals_say_why(dem, error, words):
    with pytest.raises(error, match=words):
        fill(dem)


SMALL = hnp.arrays(np.int32, st.tuples(st.integers(1, 12), st.integers(1, 12)), elements=st.integers(-8, 8))


@given(SMALL, st.integers(-1000, 1000))
@settings(max_examples=150, deadline=None)
def test_properties(z, shift):
    got = fill(z)
    assert (got >= z).all()
    np.testing.assert_array_equal(fill(got), got)
    np.testing.assert_array_equal(fill(z + shift), got + shift)
    np.testing.assert_array_equal(fill(z[::-1]), got[::-1])
    np.testing.assert_array_equal(fill(np.rot90(z)), np.rot90(got))
    np.testing.assert_array_equal(fill(z.astype(np.float32)), got.astype(np.float32))
    np.testing.assert_array_equal(got, naive_fill(z))
