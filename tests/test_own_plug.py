"""`ScreenResult.plug`: a plug of one's own, against closed forms and the filling of scikit-image."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from rasterio.transform import from_origin
from skimage.morphology import reconstruction

import wetscout

WEST, NORTH, N = 400_000.0, 5_000_000.0, 320


def saucer(noise_m: float = 0.02) -> np.ndarray:
    """A bowl 1 m deep, 60 m from its middle to its rim, on a plain that falls 0.3 % to the south; a ditch leaves it."""
    y, x = np.mgrid[0:N, 0:N] + 0.5
    plain = 50.0 - 0.003 * y
    r = np.hypot(x - 210.0, y - 160.0)
    crown = 50.0 - 0.003 * 160.0
    z = np.where(r < 60.0, crown - 1.0 + (r / 60.0) ** 2, np.maximum(plain, crown - 0.02 * (r - 60.0)))
    bed = crown - 1.5 - 0.002 * (y - 160.0)
    cut = bed + np.clip(np.abs(x - 210.0) - 0.75, 0.0, None) / 1.5
    z = np.where(y > 155.0, np.minimum(z, cut), z)
    return z + np.random.default_rng(4).normal(0.0, noise_m, z.shape)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[wetscout.ScreenResult, Path]:
    folder = tmp_path_factory.mktemp("own")
    (folder / "ground").mkdir()
    z = saucer().astype(np.float32)
    profile = {"driver": "GTiff", "height": N, "width": N, "count": 1, "dtype": "float32", "crs": "EPSG:26915"}
    with rasterio.open(
        folder / "ground" / "bowl.tif", "w", transform=from_origin(WEST, NORTH, 1.0, 1.0), **profile
    ) as dst:
        dst.write(z, 1)
    return wetscout.screen(folder / "ground" / "bowl.tif", folder / "bowl.gpkg"), folder


def across(row: float, half: float = 14.0) -> shapely.LineString:
    x, y = WEST + 210.0, NORTH - row
    return shapely.LineString([(x - half, y), (x + half, y)])


def filled(z: np.ndarray) -> np.ndarray:
    """Depression filling by scikit-image (reconstruction by erosion; Soille 2004, ch. 6)."""
    seed = np.full_like(z, z.max())
    seed[[0, -1], :], seed[:, [0, -1]] = z[[0, -1], :], z[:, [0, -1]]
    return reconstruction(seed, z, method="erosion", footprint=np.ones((3, 3)))


@pytest.mark.parametrize("below_rim", [0.6, 0.4, 0.2])
def test_a_low_plug_holds_the_bowl_up_to_its_crest(made, below_rim: float) -> None:
    result, _ = made
    crest = 50.0 - 0.003 * 160.0 - below_rim
    held = result.plug(across(221.0), crest)
    assert held.level_m == pytest.approx(crest, abs=0.02)
    assert held.overflows == "over the plug" and not held.edge
    assert any("spillway" in words for words in held.cautions)
    # the same by filling the ground without noise with the plug in it
    blocked = saucer(0.0)
    blocked[220, 195:225] = np.fmax(blocked[220, 195:225], crest)
    wet = (filled(blocked) > blocked + 0.005).sum()
    assert held.pool_m2 == pytest.approx(float(wet), rel=0.05)
    # a bowl z = (r / 60)^2 filled to h: pi 60^2 h, and half of that times h (closed form); the ditch comes on top
    h = 1.0 - below_rim
    assert np.pi * 60.0**2 * h * 0.93 < held.pool_m2 < np.pi * 60.0**2 * h * 1.25
    assert np.pi * 60.0**2 * h**2 / 2 < held.volume_m3
    assert held.sites == tuple(result.sites.site_id)
    assert held.pool.area == pytest.approx(held.pool_m2)


def test_earth_is_the_prism_of_the_plug(made) -> None:
    result, _ = made
    crest = 50.0 - 0.003 * 160.0
    held = result.plug(across(221.0), crest)
    s = wetscout.Settings().restore
    # trapezoid ditch, bed b, sides s, depth H: V = H w (b + s H) + 2 z (b H^2 / 2 + s H^3 / 3), plain geometry
    deep = crest - (crest - 1.5 - 0.002 * 61.0)
    volume = deep * s.crest_width_m * (1.5 + 1.5 * deep) + 2 * s.face_slope * (1.5 * deep**2 / 2 + 1.5 * deep**3 / 3)
    assert held.fill_m3 == pytest.approx(volume, rel=0.2)
    assert held.height_m == pytest.approx(deep, abs=0.12)
    assert held.across_m == pytest.approx(28.0, abs=0.5)


def test_what_makes_no_plug_is_refused(made) -> None:
    result, _ = made
    with pytest.raises(wetscout.InputError, match="crest above the bed"):
        result.plug(across(221.0), 40.0)
    with pytest.raises(wetscout.InputError, match="LineString"):
        result.plug(shapely.Point(WEST, NORTH), 50.0)
    with pytest.raises(wetscout.InputError, match="leaves the elevation raster"):
        result.plug(shapely.LineString([(WEST - 50, NORTH - 221.0), (WEST + 230, NORTH - 221.0)]), 50.0)


def test_a_short_plug_beside_the_ditch_holds_nothing(made) -> None:
    result, _ = made
    x, y = WEST + 214.0, NORTH - 221.0
    held = result.plug(shapely.LineString([(x - 2.0, y), (x + 2.0, y)]), 49.6)
    assert held.overflows == "holds no water" and held.pool_m2 == 0.0 and held.pool.is_empty


def test_an_opened_result_says_where_it_looked_for_the_raster(made) -> None:
    result, folder = made
    opened = wetscout.open_screen(result.path)
    with pytest.raises(wetscout.InputError, match=r"bowl\.tif.*folder="):
        opened.plug(across(221.0), 49.0)
    held = opened.plug(across(221.0), 49.0, folder=folder / "ground")
    assert held == result.plug(across(221.0), 49.0)
