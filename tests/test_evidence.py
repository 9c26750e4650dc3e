"""Soils and land cover: what is read, what is refused and in which words, what it says of a pool."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import rasterio
import shapely
from rasterio.transform import from_origin
from rasterio.warp import Resampling, reproject

from wetscout.errors import InputError, SettingsError
from wetscout.evidence import check_soils, cover_classes, cover_codes, soil_on_grid, wet_soil, zone_of
from wetscout.grid import Grid
from wetscout.io.onto_grid import read_nearest
from wetscout.records import Patch
from wetscout.records_covered import COVER, CROP, DRAINAGE, OTHER, UNKNOWN_PERCENT, Evidence
from wetscout.settings.evidence import EvidenceSettings

S = EvidenceSettings()
UTM = pyproj.CRS.from_epsg(26915).to_wkt()
GRID = Grid(40, 60, 500000.0, 4600000.0, 2.0, 2.0, 2.0, UTM)


def soils(hydric=(95, 5), drainage=("Very poorly drained", "Well drained"), **more) -> gpd.GeoDataFrame:
    """Two map units, one half of the grid each."""
    halves = [shapely.box(500000, 4599920, 500060, 4600000), shapely.box(500060, 4599920, 500120, 4600000)]
    columns = {"mukey": ["1", "2"], "hydclprs": list(hydric), "drclassdcd": list(drainage), **more}
    return gpd.GeoDataFrame(columns, geometry=halves, crs=26915)


def test_each_cell_takes_the_polygon_at_its_centre():
    hydric, drainage, notes = soil_on_grid(soils(), GRID, S)
    assert hydric is not None
    assert drainage is not None
    assert (hydric[:, :30] == 95).all()
    assert (hydric[:, 30:] == 5).all()
    assert DRAINAGE[drainage[0, 0]] == "very poorly drained"
    assert notes == ()


def test_soil_on_a_grid_of_tiles_is_the_same_as_on_the_whole():
    slanted = soils().set_geometry(
        [shapely.Point(500037, 4599963).buffer(31.3), shapely.Point(500090, 4599961).buffer(29)]
    )
    whole = soil_on_grid(slanted, GRID, S)[0]
    assert whole is not None
    part = Grid(20, 25, GRID.x0 + 2.0 * 17, GRID.y0 - 2.0 * 11, 2.0, 2.0, 2.0, UTM)
    tile = soil_on_grid(slanted, part, S)[0]
    assert tile is not None
    assert (tile == whole[11:31, 17:42]).all()


def test_columns_that_are_missing_are_told_with_those_there_are():
    bare = soils().drop(columns=["hydclprs", "drclassdcd"])
    with pytest.raises(InputError, match=r"has: mukey.*join the survey's table muaggatt"):
        check_soils(bare, S)
    with pytest.raises(
        InputError, match=r"no column 'wetness' for percent hydric; it has: mukey, hydclprs, drclassdcd"
    ):
        check_soils(soils(), replace(S, hydric_field="wetness"))


def test_columns_may_be_named_and_case_does_not_matter():
    other = soils().rename(columns={"hydclprs": "WET_PCT", "drclassdcd": "DRCLASSDCD"})
    percent, drainage, _ = check_soils(other, replace(S, hydric_field="WET_PCT"))
    assert percent is not None
    assert drainage is not None
    assert percent.tolist() == [95, 5]
    assert drainage.tolist() == [7, 3]


@pytest.mark.parametrize(
    ("hydric", "said"),
    [
        (("95%", "5%"), r"holds text such as '95%'; wanted: numbers from 0 to 100"),
        (("95", "5"), r"holds text such as '95'"),
        ((120.0, 5.0), r"holds 120 in 1 of 2 polygons"),
        ((-1.0, 5.0), r"holds -1 in 1 of 2"),
    ],
)
def test_percent_as_text_or_out_of_range_is_refused(hydric, said):
    with pytest.raises(InputError, match=said):
        check_soils(soils(hydric=hydric), S)


def test_older_exports_in_words_and_gaps_are_read():
    """Older exports of the public US soil survey hold classes in words (reference section 6)."""
    percent, _, _ = check_soils(soils(hydric=("All hydric", "Not hydric")), S)
    assert percent is not None
    assert percent.tolist() == [100, 0]
    # "partially" is anything from 1 to 99 %: the drainage class decides
    partly, drainage, _ = check_soils(soils(hydric=("Partially hydric", "Partially hydric")), S)
    wet = wet_soil(Evidence(np.array([partly]), np.array([drainage])), S)
    assert wet is not None
    assert wet.tolist() == [[True, False]]
    percent, _, _ = check_soils(soils(hydric=(None, 40)), S)
    assert percent is not None
    assert percent.tolist() == [UNKNOWN_PERCENT, 40]


def test_drainage_alone_serves_and_strange_words_are_told_or_refused():
    percent, drainage, notes = check_soils(soils(drainage=("Poorly drained", "boggy")).drop(columns="hydclprs"), S)
    assert percent is None
    assert drainage is not None
    assert drainage.tolist() == [6, 0]
    assert any("boggy" in note for note in notes)
    with pytest.raises(InputError, match="no drainage class of the public US soil survey"):
        check_soils(soils(drainage=("boggy", "dry")), S)


def test_land_cover_codes_come_from_the_settings():
    codes = np.array([[82, 81, 22, 42, 90, 11, 71, 0]])
    cover, notes = cover_classes(codes, codes > 0, S)
    assert [COVER[k] for k in cover[0]] == [
        "crop", "hay", "developed", "forest", "wetland", "water", "other", "unknown",
    ]  # fmt: skip
    assert notes == ()
    # yearly crop codes: corn 1, soybeans 5
    yearly, _ = cover_classes(
        np.array([[1, 5, 82]]), np.ones((1, 3), bool), replace(S, crop_codes="1-6, 24", developed_codes="82")
    )
    assert yearly.tolist() == [[CROP, CROP, 3]]
    strange, notes = cover_classes(np.array([[201]]), np.ones((1, 1), bool), S)
    assert strange.tolist() == [[OTHER]]
    assert "201" in notes[0]


@pytest.mark.parametrize(("codes", "said"), [("82, x", "'x' is no code"), ("9-3", "'9-3'"), ("300", "'300'")])
def test_codes_that_are_none_are_refused(codes, said):
    with pytest.raises(SettingsError, match=said):
        cover_codes(replace(S, crop_codes=codes))
    with pytest.raises(SettingsError, match="code 81 stands under crop_codes and hay_codes"):
        cover_codes(replace(S, crop_codes="80-82"))


def test_shares_of_a_pool_are_counts_of_cells():
    hydric = np.full((10, 10), 80, np.uint8)
    hydric[:, 5:] = 20
    hydric[0] = UNKNOWN_PERCENT
    cover = np.full((10, 10), 1, np.uint8)
    cover[:, 8:] = 5
    zone = zone_of(Evidence(hydric, None, cover), Patch(0, 2, np.ones((10, 8), bool)), S)
    # 9 known rows; 3 columns of 80 and 5 of 20
    assert zone.hydric_pct == pytest.approx((3 * 80 + 5 * 20) / 8)
    assert zone.wet_soil == pytest.approx(3 / 8)
    assert zone.farmed == pytest.approx(6 / 8)
    assert zone.wetland == pytest.approx(2 / 8)
    assert zone_of(Evidence(), Patch(0, 0, np.ones((2, 2), bool)), S).farmed is None
    unknown = Evidence(np.full((10, 10), UNKNOWN_PERCENT, np.uint8), None, np.zeros((10, 10), np.uint8))
    told = zone_of(unknown, Patch(0, 0, np.ones((10, 10), bool)), S)
    assert (told.wet_soil, told.farmed, told.hydric_pct) == (None, None, None)


def test_the_drainage_class_decides_only_where_no_percentage_is_known():
    hydric = np.array([[UNKNOWN_PERCENT, UNKNOWN_PERCENT, 0, 90]], np.uint8)
    drainage = np.array([[6, 3, 7, 1]], np.uint8)
    wet = wet_soil(Evidence(hydric, drainage), S)
    assert wet is not None
    assert wet.tolist() == [[True, False, False, True]]


@pytest.fixture
def cover_file(tmp_path):
    """30 m codes in an equal-area CRS over the grid, with a corner of no-data."""
    crs = pyproj.CRS.from_epsg(5070)
    x, y = pyproj.Transformer.from_crs(UTM, crs, always_xy=True).transform(500060.0, 4599960.0)
    codes = np.random.default_rng(3).choice(np.array([82, 81, 90, 11, 42], np.uint8), (12, 12))
    codes[:4, :4] = 0
    path = tmp_path / "cover.tif"
    transform = from_origin(x - 180.0, y + 180.0, 30.0, 30.0)
    with rasterio.open(path, "w", driver="GTiff", height=12, width=12, count=1, dtype="uint8", crs=crs.to_wkt(),
                       transform=transform, nodata=0) as out:  # fmt: skip
        out.write(codes, 1)
    return path, codes, transform, crs


def test_codes_are_read_like_the_warper_of_gdal_reads_them(cover_file):
    """GDAL's warp, nearest neighbour with an exact transformer, is the reference (gdal.org, gdalwarp -r near -et 0)."""
    path, codes, transform, crs = cover_file
    want = np.zeros(GRID.shape, np.uint8)
    reproject(
        codes, want, src_transform=transform, src_crs=crs.to_wkt(), src_nodata=0, dst_crs=UTM, dst_nodata=0,
        dst_transform=from_origin(GRID.x0, GRID.y0, 2.0, 2.0), resampling=Resampling.nearest, tolerance=0.0,
    )  # fmt: skip
    got, valid = read_nearest(path, GRID, "land cover")
    assert (np.where(valid, got, 0) == want).mean() > 0.999
    assert len(np.unique(got)) >= 3


def test_codes_of_a_tile_are_those_of_the_whole(cover_file):
    whole, _ = read_nearest(cover_file[0], GRID, "land cover")
    # tiles of the engine begin anywhere; nodes do too, and must not matter
    part = Grid(13, 21, GRID.x0 + 2.0 * 9, GRID.y0 - 2.0 * 5, 2.0, 2.0, 2.0, UTM)
    tile, _ = read_nearest(cover_file[0], part, "land cover")
    assert (tile == whole[5:18, 9:30]).all()


def test_rasters_that_hold_no_codes_are_refused(tmp_path, cover_file):
    def write(name, values, **more):
        profile = {"driver": "GTiff", "height": values.shape[-2], "width": values.shape[-1], "crs": UTM,
                   "count": values.shape[0], "dtype": values.dtype,
                   "transform": from_origin(500000, 4600000, 30, 30), **more}  # fmt: skip
        with rasterio.open(tmp_path / name, "w", **profile) as out:
            out.write(values)
        return tmp_path / name

    with pytest.raises(InputError, match="holds float32; wanted: whole numbers"):
        read_nearest(write("f.tif", np.ones((1, 4, 4), np.float32)), GRID, "land cover")
    with pytest.raises(InputError, match="3 bands: a picture"):
        read_nearest(write("rgb.tif", np.ones((3, 4, 4), np.uint8)), GRID, "land cover")
    with pytest.raises(InputError, match="no coordinate reference system"):
        read_nearest(write("bare.tif", np.ones((1, 4, 4), np.uint8), crs=None), GRID, "land cover")
    with pytest.raises(InputError, match="does not reach the DEM"):
        far = from_origin(700000, 4600000, 30, 30)
        read_nearest(write("far.tif", np.ones((1, 4, 4), np.uint8), transform=far), GRID, "land cover")
