"""The map picture: shading against closed forms, layout rules, colours that keep their order without colour.

Shading: cosine of the angle between surface normal and light (Lambert's law; Horn 1981, Proc. IEEE 69(1):14-47).
Lightness: CIE L* from sRGB (IEC 61966-2-1:1999; CIE 15:2004).
"""

from __future__ import annotations

from pathlib import Path

import matplotlib.image
import numpy as np
import pytest

from wetscout.grid import Grid
from wetscout.outputs import picture, shade
from wetscout.records import Ditch, Linework, Patch, Plug, Screen, Site, Terrain


def plane(east: float, south: float, cell_m: float = 1.0, n: int = 40) -> np.ndarray:
    row, col = np.mgrid[0:n, 0:n] * cell_m
    return (100.0 + east * col + south * row).astype(np.float32)


def make_screen(rows: int = 120, cols: int = 200, cell_m: float = 2.0, sites: int = 3) -> Screen:
    rng = np.random.default_rng(4)
    z = (100 + 0.002 * np.arange(cols)[None, :] + 0.03 * rng.standard_normal((rows, cols))).astype(np.float32)
    z[:5, :5] = np.nan
    grid = Grid(rows, cols, 0.0, rows * cell_m, cell_m, cell_m, cell_m)
    none = np.zeros((rows, cols), dtype=np.bool_)
    line = np.linspace(20.0, 60.0, 41)
    ditch = Ditch(1, line, line, line, line, line, line, "ditch", 1.0, 0.3, 1.0, "none")
    faint = Ditch(2, line, line + 30, line, line, line, line, "unclear", 1.0, 0.3, 1.0, "none", sure=False)
    found = []
    for i in range(sites):
        plug = Plug(f"s{i}-1", f"s{i}", 1, 1, np.array([40.0, 44.0]), np.array([40.0 + 30 * i, 40.0 + 30 * i]))
        pool = Patch(30, 20 + 40 * i, np.ones((25, 30), dtype=np.bool_))
        found.append(Site(f"s{i}", pool, None, (), (plug,), (), {"rank": i + 1, "gain_m2": 3000.0 * (i + 1)}))
    terrain = Terrain(grid, z, none, none, 0.03, 0.05)
    return Screen(terrain, Linework((ditch, faint)), tuple(found), (), ())


def test_shade_of_a_level_plane_is_the_light_s_height():
    """Light 45 degrees up: the cosine is sin 45."""
    assert np.allclose(shade.hillshade(plane(0.0, 0.0), 1.0), np.sin(np.pi / 4), atol=1e-6)


def test_shade_of_a_slope_by_hand():
    """A slope of 0.3 down to the east is left as it is: stretch max(1, 0.22/0.3) = 1; cosine worked out by hand."""
    normal = np.array([0.3, 0.0, 1.0]) / np.sqrt(1.09)
    light = np.array([-0.5, 0.5, np.sqrt(0.5)])
    assert np.allclose(shade.hillshade(plane(-0.3, 0.0), 1.0), normal @ light, atol=1e-5)


@pytest.mark.parametrize(("east", "south"), [(0.01, 0.01), (0.002, 0.0)])
def test_faces_to_the_north_west_are_bright(east: float, south: float):
    """Ground that rises to the south-east faces north-west, towards the light."""
    level = np.sin(np.pi / 4)
    assert shade.hillshade(plane(east, south), 1.0).mean() > level > shade.hillshade(plane(-east, -south), 1.0).mean()


@pytest.mark.parametrize("cell_m", [1.0, 2.0, 3.0, 1.524])
def test_shade_does_not_depend_on_the_cell_size(cell_m: float):
    assert np.allclose(
        shade.hillshade(plane(0.01, 0.02, cell_m), cell_m), shade.hillshade(plane(0.01, 0.02), 1.0), atol=1e-3
    )


def test_thin_out_is_the_block_mean():
    z = np.arange(35, dtype=np.float32).reshape(5, 7)
    z[0, 0] = np.nan
    small = shade.thin_out(z, 2)
    assert small.shape == (3, 4)
    assert small[0, 0] == pytest.approx((1 + 7 + 8) / 3)
    assert small[2, 3] == 34.0
    assert np.isnan(shade.thin_out(np.full((4, 4), np.nan, dtype=np.float32), 2)).all()
    assert shade.thin_out(z, 1) is z


def test_relief_darkens_a_hollow_and_keeps_holes():
    z = plane(0.0, 0.0, n=120)
    z[50:70, 50:70] -= 0.8
    z[0:3, 0:3] = np.nan
    seen = shade.relief(z, 1.0, 60.0)
    assert seen[60, 60] < seen[20, 100] - 0.05
    assert np.isnan(seen[0, 0])
    assert np.isfinite(seen[10:, 10:]).all()


@pytest.mark.parametrize(
    ("width_m", "length_m"), [(1300.0, 200.0), (2500.0, 500.0), (40000.0, 5000.0), (260.0, 50.0), (1000.0, 200.0)]
)
def test_scale_bar_is_a_round_number(width_m: float, length_m: float):
    assert picture.bar_length_m(width_m) == length_m


def test_colours_darken_all_the_way():
    """In grey print and to any eye the order of the gains must stay: L* falls strictly, by 60 or more in all."""
    rgb = picture.GAIN_COLOURS(np.linspace(0, 1, 64))[:, :3]
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    lightness = 116 * np.cbrt(linear @ [0.2126, 0.7152, 0.0722]) - 16
    assert (np.diff(lightness) < 0).all()
    assert lightness[0] - lightness[-1] > 60


def test_draws_a_png(tmp_path: Path):
    picture.draw_map(make_screen(), tmp_path / "map.png")
    image = matplotlib.image.imread(tmp_path / "map.png")
    assert image.shape[0] > 500
    assert image.shape[1] > image.shape[0]
    colours = {tuple(pixel) for pixel in np.round(image[::3, ::3, :3].reshape(-1, 3), 1)}
    assert len(colours) > 30


def test_the_same_picture_twice():
    assert picture.render_map(make_screen()) == picture.render_map(make_screen())


def test_draws_without_sites_lines_or_ranks():
    screen = make_screen(sites=0)
    assert picture.render_map(Screen(screen.terrain, Linework(), (), (), ())).startswith(b"\x89PNG")


def test_big_rasters_are_thinned_and_small_pools_still_marked():
    """3300 x 300 cells shrink by three; the picture stays below 2500 pixels wide."""
    image = picture.render_map(make_screen(rows=300, cols=3300, cell_m=1.0))
    width, height = int.from_bytes(image[16:20]), int.from_bytes(image[20:24])
    assert 800 < width < 2500
    assert 300 < height < 2500
