"""load: units, grids, no-data, mosaics, and the plain words on what cannot be used."""

from __future__ import annotations

import math
import shlex
import warnings

import numpy as np
import pyproj
import pytest
import rasterio
import rasterio.warp
from ingest_ground import X0, Y0, filled, rolling, save
from shapely.geometry import box

from wetscout.errors import InputError, UnitError
from wetscout.ingest import from_array, load
from wetscout.ingest.load import _sample
from wetscout.settings.ingest import IngestSettings

SETTINGS = IngestSettings()
FOOT, US_FOOT = 0.3048, 1200.0 / 3937.0  # NIST SP 811 (2008), app. B.8


def _refused(path, *words, kind=InputError, **options):
    with pytest.raises(kind) as caught:
        load(path if isinstance(path, list) else [path], SETTINGS, **options)
    for word in words:
        assert word in str(caught.value), str(caught.value)
    return str(caught.value)


# --- the plain case ------------------------------------------------------------------------------------------------


def test_a_plain_dem_keeps_every_bit(tmp_path):
    z = rolling()
    terrain = load([save(tmp_path / "dem.tif", z, unit="metre")], SETTINGS)
    np.testing.assert_array_equal(terrain.z, z)
    assert (terrain.grid.x0, terrain.grid.y0, terrain.grid.cell_m) == (X0, Y0, 1.0)
    assert terrain.notes == ()
    assert terrain.noise_m == from_array(z, 1.0).noise_m


def test_spaces_and_accents_in_the_path_and_a_single_path(tmp_path):
    folder = tmp_path / "Höhen modell é ß"
    folder.mkdir()
    z = rolling()
    np.testing.assert_array_equal(load(save(folder / "dém 1.tif", z, unit="m"), SETTINGS).z, z)


def test_south_up_is_flipped_to_the_same_ground(tmp_path):
    z = rolling()
    path = save(tmp_path / "up.tif", z[::-1], unit="m", transform=rasterio.Affine(1, 0, X0, 0, 1, Y0 - z.shape[0]))
    terrain = load([path], SETTINGS)
    np.testing.assert_array_equal(terrain.z, z)
    assert terrain.grid.y0 == Y0
    assert "south to north" in terrain.notes[0]


# --- units ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("crs", "unit", "z_unit", "map_m", "height_m"),
    [
        ("EPSG:6350+5703", None, None, 1.0, 1.0),  # metres, NAVD88 height
        ("EPSG:2965+6360", None, None, US_FOOT, US_FOOT),  # Indiana East ftUS, NAVD88 height (ftUS)
        ("EPSG:2965+5703", None, None, US_FOOT, 1.0),  # horizontal feet, vertical metres
        ("EPSG:26915+8228", None, None, 1.0, FOOT),  # metres, NAVD88 height (ft)
        ("EPSG:2965", "US survey foot", None, US_FOOT, US_FOOT),
        ("EPSG:2965", "ft", None, US_FOOT, FOOT),
        ("EPSG:2965", None, "us-ft", US_FOOT, US_FOOT),
        ("EPSG:2965", None, "m", US_FOOT, 1.0),
        ("EPSG:2222", "foot", None, FOOT, FOOT),  # Arizona East, international feet
        ("EPSG:26915", None, None, 1.0, 1.0),  # metres assumed
        ("EPSG:26915", "metre", "ft", 1.0, FOOT),  # the user wins
    ],
)
def test_units_of_map_and_heights(tmp_path, crs, unit, z_unit, map_m, height_m):
    """Units of the codes as in the EPSG registry; lengths of the feet as in NIST SP 811."""
    ground = rolling().astype(np.float64)
    scale = pyproj.CRS(crs).sub_crs_list[0] if "+" in crs else pyproj.CRS(crs)
    place = pyproj.Transformer.from_crs(4326, scale, always_xy=True)
    lon = {"EPSG:2965": -85.7, "EPSG:2222": -110.2}.get(crs[:9], -93.0)
    x, y = place.transform(lon, 41.0 if lon != -110.2 else 34.0)
    transform = rasterio.Affine(5.0, 0.0, round(x), 0.0, -5.0, round(y))
    z = (ground / height_m).astype(np.float32)
    terrain = load([save(tmp_path / "d.tif", z, crs=crs, unit=unit, transform=transform)], SETTINGS, z_unit)
    assert terrain.grid.cell_m == pytest.approx(5.0 * map_m, rel=1e-9)
    np.testing.assert_allclose(terrain.z, ground, atol=1e-4)
    text = " ".join(terrain.notes)
    if crs == "EPSG:26915" and unit is None:
        assert "metres assumed" in text
    if z_unit == "ft":
        assert "as you said" in text and "band unit says m" in text


def test_a_crs_in_feet_without_a_code(tmp_path):
    wkt = pyproj.CRS("EPSG:2965").to_wkt("WKT1_GDAL")
    bare = wkt[: wkt.rindex(",AUTHORITY")] + "]"
    bare = bare.replace('PROJCS["NAD83 / Indiana East (ftUS)"', 'PROJCS["County grid"')
    transform = rasterio.Affine(5.0, 0.0, 181285.0, 0.0, -5.0, 2088955.0)
    path = save(tmp_path / "d.tif", rolling(base_m=800.0), crs=rasterio.crs.CRS.from_wkt(bare), transform=transform)
    assert load([path], SETTINGS, "us-ft").grid.cell_m == pytest.approx(5.0 * US_FOOT, rel=1e-9)


def test_feet_maps_without_a_height_unit_are_asked_about(tmp_path):
    transform = rasterio.Affine(5.0, 0.0, 181285.0, 0.0, -5.0, 2088955.0)
    path = save(tmp_path / "d.tif", rolling(), crs="EPSG:2965", transform=transform)
    _refused(path, "--z-unit us-ft or --z-unit m", "map is in feet", kind=UnitError)


def test_contradicting_and_unknown_height_units(tmp_path):
    path = save(tmp_path / "a.tif", rolling(), crs="EPSG:26915+8228", unit="metre")
    _refused(path, "its CRS gives heights in ft", "band unit says m", "--z-unit", kind=UnitError)
    path = save(tmp_path / "b.tif", rolling(), unit="parsec")
    _refused(path, "'parsec'", kind=UnitError)
    _refused(path, "not known", kind=UnitError, z_unit="yard")


def test_scaled_whole_numbers(tmp_path):
    z = rolling()
    stored = np.round(z * 100).astype(np.int32)
    terrain = load([save(tmp_path / "cm.tif", stored, unit="m", scale=0.01, nodata=-9999)], SETTINGS)
    np.testing.assert_allclose(terrain.z, np.round(z, 2), atol=5e-5)
    unit = load([save(tmp_path / "cmu.tif", stored, unit="cm", nodata=-9999)], SETTINGS)
    np.testing.assert_allclose(unit.z, np.round(z, 2), atol=5e-5)


def test_centimetres_without_a_word_are_refused(tmp_path):
    stored = np.round(rolling() * 100).astype(np.int32)
    _refused(save(tmp_path / "cm.tif", stored, unit="m"), "centimetres", "gdal_translate")


# --- place ---------------------------------------------------------------------------------------------------------


def test_degrees_get_the_command_with_a_zone_and_the_command_works(tmp_path):
    z = rolling()
    step = 1.0 / 3600.0 / 9.0
    path = save(
        tmp_path / "deg rees.tif",
        z,
        unit="m",
        crs="EPSG:4269",
        transform=rasterio.Affine(step, 0, -93.45, 0, -step, 43.14),
    )
    text = _refused(path, "degrees", "gdalwarp -t_srs EPSG:26915 -tr 3.4 3.4", "NAD83")
    words = shlex.split(text[text.index("gdalwarp") :])
    target, size = words[words.index("-t_srs") + 1], float(words[words.index("-tr") + 1])
    assert words[-2] == str(path)
    with rasterio.open(path) as source:
        transform, cols, rows = rasterio.warp.calculate_default_transform(
            source.crs, target, source.width, source.height, *source.bounds, resolution=size
        )
        out = np.full((rows, cols), -9999.0, dtype=np.float32)
        rasterio.warp.reproject(
            rasterio.band(source, 1), out, dst_transform=transform, dst_crs=target, dst_nodata=-9999.0
        )
    save(tmp_path / "utm.tif", out, crs=target, transform=transform, nodata=-9999.0, unit="m")
    assert load([tmp_path / "utm.tif"], SETTINGS).grid.cell_m == pytest.approx(3.4)


def test_a_rotated_grid_gets_the_command(tmp_path):
    turn = rasterio.Affine.translation(X0, Y0) * rasterio.Affine.rotation(10) * rasterio.Affine.scale(2, -2)
    path = save(tmp_path / "turned.tif", rolling(), transform=turn)
    _refused(path, "rotated", "gdalwarp -r bilinear -tr 2 2", "turned_northup.tif")


def test_no_crs_local_crs_and_no_place(tmp_path):
    _refused(save(tmp_path / "a.tif", rolling(), crs=None), "no coordinate reference system", "-a_srs EPSG:CODE")
    local = 'LOCAL_CS["site grid",UNIT["metre",1],AXIS["x",EAST],AXIS["y",NORTH]]'
    _refused(save(tmp_path / "b.tif", rolling(), crs=rasterio.crs.CRS.from_wkt(local)), "local system", "site grid")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        path = save(tmp_path / "c.tif", rolling(), transform=rasterio.Affine.identity())
    _refused(path, "no place on the map")


def test_web_mercator_is_measured_in_ground_metres(tmp_path):
    """Scale of the spherical Mercator: 1 / cos(lat) (EPSG guidance note 7-2, 2019); within 0.4 % on the ellipsoid."""
    x, y = pyproj.Transformer.from_crs(4326, 3857, always_xy=True).transform(-93.45, 43.14)
    path = save(
        tmp_path / "web.tif", rolling(), crs="EPSG:3857", unit="m", transform=rasterio.Affine(2, 0, x, 0, -2, y)
    )
    terrain = load([path], SETTINGS)
    assert terrain.grid.cell_m == pytest.approx(2.0 * math.cos(math.radians(43.14)), rel=4e-3)
    assert "ground metres" in terrain.notes[0]


def test_cells_that_are_not_square(tmp_path):
    path = save(tmp_path / "a.tif", rolling(), transform=rasterio.Affine(1, 0, X0, 0, -1.02, Y0))
    _refused(path, "not square", "-tr 1.00995 1.00995")
    near = save(tmp_path / "b.tif", rolling(), unit="m", transform=rasterio.Affine(1, 0, X0, 0, -1.004, Y0))
    assert load([near], SETTINGS).grid.cell_m == pytest.approx(math.sqrt(1.004))
    x, y = pyproj.Transformer.from_crs(4326, 4087, always_xy=True).transform(-93.45, 43.14)
    path = save(tmp_path / "c.tif", rolling(), crs="EPSG:4087", transform=rasterio.Affine(1, 0, x, 0, -1, y))
    _refused(path, "not square on the ground", "-t_srs EPSG:32615")


# --- no-data -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stored", "declared"),
    [
        (-9999.0, -9999.0),
        (-9999.0, None),
        (-32767.0, None),
        (-3.4028234663852886e38, -3.4028234663852886e38),
        (-3.4028234663852886e38, -3.402823e38),  # rounded in the header, never equal to the cell
        (3.4028234663852886e38, None),
        (math.nan, None),
        (math.inf, None),
        (1e20, 1e20),
        (-9999.0, math.nan),
    ],
)
def test_no_data_of_every_kind(tmp_path, stored, declared):
    z = rolling()
    gone = np.zeros(z.shape, dtype=bool)
    gone[:10] = gone[50:53, 60:64] = True
    raw = z.copy()
    raw[gone] = stored
    terrain = load([save(tmp_path / "n.tif", raw, nodata=declared, unit="m")], SETTINGS)
    np.testing.assert_array_equal(np.isnan(terrain.z), gone)
    np.testing.assert_array_equal(terrain.z[~gone], z[~gone])
    assert terrain.hole.sum() == 12
    told = "not declared" in " ".join(terrain.notes)
    undeclared = declared is None or math.isnan(declared)
    assert told == (undeclared and math.isfinite(stored))


def test_a_mask_band_counts(tmp_path):
    z = rolling()
    path = save(tmp_path / "m.tif", z, unit="m")
    mask = np.full(z.shape, 255, dtype=np.uint8)
    mask[:, :20] = 0
    with rasterio.open(path, "r+") as dataset:
        dataset.write_mask(mask)
    np.testing.assert_array_equal(np.isnan(load([path], SETTINGS).z), mask == 0)


def test_zero_borders_are_no_data_and_a_sea_is_not(tmp_path):
    z = rolling()
    z[:, :15] = 0.0
    z[:20, 60:] = 0.0
    z[70:72, 80:90] = 0.0  # a line of zeros at a join
    terrain = load([save(tmp_path / "zero.tif", z, unit="m")], SETTINGS)
    np.testing.assert_array_equal(np.isnan(terrain.z), z == 0.0)
    assert "exactly 0" in " ".join(terrain.notes)
    shore = np.maximum(rolling(base_m=-0.5), 0.0)
    shore[:, :30] = 0.0
    terrain = load([save(tmp_path / "sea.tif", shore, unit="m")], SETTINGS)
    assert not np.isnan(terrain.z).any()


def test_nothing_but_no_data(tmp_path):
    path = save(tmp_path / "n.tif", np.full((50, 50), -9999.0, dtype=np.float32), nodata=-9999.0, unit="m")
    _refused(path, "no height at all")


# --- mosaics -------------------------------------------------------------------------------------------------------


def _tile(tmp_path, name, z, row, col, **given):
    transform = rasterio.Affine(1, 0, X0 + col, 0, -1, Y0 - row)
    return save(tmp_path / name, z, **{"unit": "m", "transform": transform, **given})


def test_tiles_and_a_vrt_give_the_whole(tmp_path):
    z = rolling(200, 210)
    parts = [_tile(tmp_path, f"{r}_{c}.tif", z[r : r + 100, c : c + 110], r, c) for r in (0, 100) for c in (0, 110)]
    whole = load([_tile(tmp_path, "w.tif", z, 0, 0)], SETTINGS)
    mosaic = load(parts[::-1], SETTINGS)  # in any order
    np.testing.assert_array_equal(mosaic.z, whole.z)
    assert mosaic.grid == whole.grid and mosaic.noise_m == whole.noise_m
    sources = "".join(
        f"<SimpleSource><SourceFilename relativeToVRT='1'>{part.name}</SourceFilename><SourceBand>1</SourceBand>"
        f"<SrcRect xOff='0' yOff='0' xSize='{min(110, 210 - c)}' ySize='100'/>"
        f"<DstRect xOff='{c}' yOff='{r}' xSize='{min(110, 210 - c)}' ySize='100'/></SimpleSource>"
        for part, (r, c) in zip(parts, [(0, 0), (0, 110), (100, 0), (100, 110)], strict=True)
    )
    (tmp_path / "all.vrt").write_text(
        f"<VRTDataset rasterXSize='210' rasterYSize='200'><SRS>EPSG:26915</SRS>"
        f"<GeoTransform>{X0}, 1, 0, {Y0}, 0, -1</GeoTransform><VRTRasterBand dataType='Float32' band='1'>"
        f"<UnitType>m</UnitType>{sources}</VRTRasterBand></VRTDataset>"
    )
    np.testing.assert_array_equal(load([tmp_path / "all.vrt"], SETTINGS).z, whole.z)


def test_gaps_are_no_data_and_inner_ones_holes(tmp_path):
    z = rolling(100, 100)
    ring = [(0, 40, 0, 100), (60, 100, 0, 100), (40, 60, 0, 40), (40, 60, 60, 100)]
    parts = [_tile(tmp_path, f"{i}.tif", z[a:b, c:d], a, c) for i, (a, b, c, d) in enumerate(ring)]
    terrain = load(parts, SETTINGS)
    assert terrain.hole.sum() == 400 and terrain.hole[50, 50]
    corner = load([parts[0], _tile(tmp_path, "far.tif", z[40:, :50], 40, 0)], SETTINGS)
    assert np.isnan(corner.z[41:, 51:]).all() and not corner.hole.any()


def test_overlaps_first_wins_and_a_step_is_a_warning(tmp_path):
    z = rolling(100, 150)
    a = _tile(tmp_path, "a.tif", z[:, :90], 0, 0)
    b = _tile(tmp_path, "b.tif", z[:, 60:], 0, 60)
    terrain = load([a, b, a], SETTINGS)
    np.testing.assert_array_equal(terrain.z, z)
    assert "3000 cells lie on rasters named before" in " ".join(terrain.notes)
    assert "named twice" in " ".join(terrain.notes)
    high = _tile(tmp_path, "high.tif", z[:, 60:] + np.float32(0.4), 0, 60)
    first, second = load([a, high], SETTINGS), load([high, a], SETTINGS)
    np.testing.assert_array_equal(first.z[:, :90], z[:, :90])
    np.testing.assert_array_equal(second.z[:, 60:90], z[:, 60:90] + np.float32(0.4))
    assert any(note.startswith("Warning: ") and "0.40 m higher" in note for note in first.notes)
    assert any("0.40 m lower" in note for note in second.notes)


def test_holes_of_the_first_are_filled_from_the_second(tmp_path):
    z = rolling(100, 100)
    raw = z.copy()
    raw[40:50, 40:50] = -9999.0
    terrain = load([_tile(tmp_path, "a.tif", raw, 0, 0, nodata=-9999.0), _tile(tmp_path, "b.tif", z, 0, 0)], SETTINGS)
    np.testing.assert_array_equal(terrain.z, z)


def test_what_does_not_fit_together(tmp_path):
    z = rolling()
    a = _tile(tmp_path, "a.tif", z, 0, 0)
    coarse = save(tmp_path / "c.tif", z, unit="m", transform=rasterio.Affine(2, 0, X0 + 150, 0, -2, Y0))
    _refused([a, coarse], "cells of 1", "gdalwarp -t_srs EPSG:26915 -tr 1 1 -tap", "c_same.tif")
    shifted = save(tmp_path / "s.tif", z, unit="m", transform=rasterio.Affine(1, 0, X0 + 150.5, 0, -1, Y0))
    _refused([a, shifted], "off by 0.50 of a cell", "-tap")
    other = save(tmp_path / "o.tif", z, unit="m", crs="EPSG:26916")
    _refused([a, other], "zone 15N", "zone 16N")


def test_only_the_area_and_its_ring_are_read(tmp_path):
    z = rolling(900, 1000)
    path = _tile(tmp_path, "a.tif", z, 0, 0)
    settings = IngestSettings(area_ring_m=100.0)
    area = box(X0 + 500.2, Y0 - 400.7, X0 + 560.0, Y0 - 350.0)
    terrain = load([path], settings, area=area)
    rows, cols = slice(250, 501), slice(400, 661)
    np.testing.assert_array_equal(terrain.z, z[rows, cols])
    assert (terrain.grid.x0, terrain.grid.y0) == (X0 + 400, Y0 - 250)
    text = _refused(path, "outside the DEM", area=box(0, 0, 10, 10))
    assert "463000.0" in text and "x and y swapped" in text


# --- no ground -----------------------------------------------------------------------------------------------------


def test_files_that_are_none(tmp_path):
    _refused(tmp_path / "none.tif", "there is no file")
    (tmp_path / "zero.tif").touch()
    _refused(tmp_path / "zero.tif", "0 bytes")
    (tmp_path / "text.tif").write_text("not a raster")
    _refused(tmp_path / "text.tif", "cannot be read as a raster")
    whole = save(tmp_path / "whole.tif", rolling(400, 400), unit="m")
    (tmp_path / "cut.tif").write_bytes(whole.read_bytes()[: 400 * 300])
    _refused(tmp_path / "cut.tif", "cut.tif", "cut short")
    with pytest.raises(InputError, match="no DEM"):
        load([], SETTINGS)


def test_pictures_hillshades_and_several_bands(tmp_path):
    rng = np.random.default_rng(0)
    shade = rng.integers(0, 255, (3, 120, 150)).astype(np.uint8)
    _refused(save(tmp_path / "rgb.tif", shade, photometric="RGB"), "picture")
    _refused(save(tmp_path / "grey.tif", shade[0]), "hillshade")
    _refused(save(tmp_path / "float.tif", shade[0].astype(np.float32), unit="m"), "hillshade")
    two = np.stack([rolling(), rolling(seed=1)])
    _refused(save(tmp_path / "two.tif", two), "2 bands", "gdal_translate -b 1")


def test_constant_coarse_rounded_and_steep(tmp_path):
    _refused(save(tmp_path / "c.tif", np.full((50, 50), 7.0, dtype=np.float32), unit="m"), "every cell is 7 m")
    _refused(save(tmp_path / "zero.tif", np.zeros((50, 50), dtype=np.float32), unit="m"), "all cells")
    _refused(save(tmp_path / "coarse.tif", rolling(), unit="m", step=30.0), "30 m", "lidar")
    hills = np.round(20.0 * (rolling() - 380.0) + 380.0).astype(np.int16)
    _refused(save(tmp_path / "int.tif", hills, unit="m"), "rounded to 1 m", "decimals")
    _refused(save(tmp_path / "steep.tif", 40.0 * (rolling() - 380.0), unit="m"), "half of its cells slope")


def test_limits_are_told_as_warnings(tmp_path):
    def warned(name, z, **given):
        notes = load([save(tmp_path / name, z, unit="m", **given)], SETTINGS).notes
        return " | ".join(note for note in notes if note.startswith("Warning: "))

    assert warned("ok.tif", rolling()) == ""
    assert "small ditches do not show" in warned("five.tif", rolling(), step=5.0)
    assert "rounded to 0.1 m" in warned("dm.tif", np.round(rolling(), 1).astype(np.float32))
    assert "no closed hollow" in warned("filled.tif", filled(rolling()))
    spiky = rolling()
    spiky[30, 40] += 50.0
    spiky[60, 70] -= 50.0
    assert "1 single cells stand more than 10 m above and 1 below" in warned("spike.tif", spiky)
    rough = rolling(noise_m=0.4)
    assert "crowns and roofs" in warned("rough.tif", rough, step=3.0)
    holed = rolling()
    holed[20:60, 20:60] = -9999.0
    assert "holes" in warned("holes.tif", holed, nodata=-9999.0)


def test_samples_of_heights_do_not_keep_their_strips() -> None:
    """As views they held 1 GB at 256 million cells."""
    heights = np.arange(100_000, dtype=np.float32)
    sample = _sample(heights, heights >= 0)
    assert 1000 < sample.size < 10_000
    assert sample.base is None
