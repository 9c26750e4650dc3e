"""Outlines, lines, fields, and the opened result."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import naive_outline
import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from outputs_screens import UTM, basin, disc, ditch, grid, screen, site
from scipy import ndimage

from wetscout.basins import basin_tree
from wetscout.errors import InputError
from wetscout.grid import Grid
from wetscout.kernels.outline import joined, label_runs, number, runs
from wetscout.outputs import fields, shapes
from wetscout.outputs.layers import frame, plane_crs, run_rows, to_layers
from wetscout.outputs.result import open_screen
from wetscout.outputs.write import write_layers
from wetscout.records import Patch
from wetscout.units import ACRE_M2

MASKS = arrays(bool, st.tuples(st.integers(1, 9), st.integers(1, 9)))


def slow_outline(patch: Patch, place: Grid) -> shapely.Geometry:
    """The obvious twin: the union of the cells' squares."""
    squares = []
    for row, col in np.argwhere(patch.mask):
        x = place.x0 + (patch.col0 + col) * place.dx
        y = place.y0 - (patch.row0 + row) * place.dy
        squares.append(shapely.box(x, y - place.dy, x + place.dx, y))
    return shapely.union_all(squares)


@given(MASKS)
@settings(max_examples=200, deadline=None)
def test_outline_is_the_union_of_the_cells(mask: np.ndarray) -> None:
    """Area and shape against shapely's union of squares; validity by OGC 06-103r4 as GEOS checks it."""
    place, patch = grid(30, 30), Patch(3, 5, mask)
    got = shapes.outline(patch, place)
    assert got.is_valid
    assert got.area == mask.sum()
    assert got.equals(slow_outline(patch, place)) or not mask.any()


@given(arrays(bool, st.tuples(st.integers(1, 14), st.integers(1, 14))))
@settings(max_examples=300, deadline=None)
def test_rings_are_those_of_gdal(mask: np.ndarray) -> None:
    """Corner by corner as GDAL polygonises each piece, rings that touch themselves split as it splits them."""
    labels, pieces = ndimage.label(mask)
    for got, wanted in zip(shapes.rings_of(mask.view(np.uint8)), naive_outline.rings(labels, pieces), strict=True):
        np.testing.assert_array_equal(got, wanted)


@given(arrays(bool, st.tuples(st.integers(1, 14), st.integers(1, 14))))
@settings(max_examples=300, deadline=None)
def test_pieces_of_runs_are_those_of_scipy(mask: np.ndarray) -> None:
    begins, left, right = naive_outline.runs(mask, True, True)
    piece, pieces = number(begins, left, right)
    labels, wanted = ndimage.label(mask)
    assert pieces == wanted
    of_row = np.repeat(np.arange(len(mask)), np.diff(begins))
    np.testing.assert_array_equal(piece, labels[of_row, left])


@pytest.mark.parametrize("width", [1, 31, 32, 33, 64, 95, 200])
def test_runs_of_labels_are_those_of_each_row(width: int) -> None:
    """Labels in stretches of any length, so that whole blocks are alike and runs end at their borders."""
    rng = np.random.default_rng(width)
    lengths = rng.integers(1, 70, 600)
    labels = np.repeat(rng.integers(-1, 9, 600), lengths)[: 40 * width].reshape(40, width).astype(np.int32)
    for first, last in ((3, 6), (0, 8), (-1, 8), (4, 4), (9, 9)):
        for got, wanted in zip(runs(labels, first, last), naive_outline.runs(labels, first, last), strict=True):
            np.testing.assert_array_equal(got, wanted)


@pytest.mark.parametrize("seed", range(6))
def test_label_runs_and_their_union_are_those_of_python(seed: int) -> None:
    rng = np.random.default_rng(seed)
    labels = rng.integers(-1, 6, rng.integers(1, 30, 2)).astype(np.int32)
    label, packed = label_runs(labels, (1, 4), (3, 5))
    for got, wanted in zip((label, packed), naive_outline.label_runs(labels, (1, 4), (3, 5)), strict=True):
        np.testing.assert_array_equal(got, wanted)
    box = 3, labels.shape[0], 5
    some = np.sort(rng.permutation(packed)[: packed.size // 2])
    for every in (packed.copy(), some):
        wanted = naive_outline.joined(every, box)
        union = joined(every, box)
        for got, want in zip(union, wanted, strict=True):
            np.testing.assert_array_equal(got, want)
        # the union stands in the place of what was joined, row by row
        row = 3 + np.repeat(np.arange(labels.shape[0]), np.diff(union[0]))
        np.testing.assert_array_equal(every[: row.size], (row << 40) + (union[1] + 5 << 20) + union[2] + 5)


@pytest.mark.parametrize("seed", range(4))
def test_outlines_of_nested_pools_are_those_of_each(seed: int) -> None:
    rng = np.random.default_rng(seed)
    tree = basin_tree(ndimage.gaussian_filter(rng.normal(size=(90, 110)), 2.5).astype(np.float32))
    patches = [tree.pool_later(int(k)) for k in rng.permutation(len(tree))[: 3 * len(tree) // 4]]
    patches += [Patch(3, 4, rng.random((6, 7)) < 0.5) for _ in range(3)]
    assert any(tree.first[k] < k for k in range(len(tree)))
    got = shapes.outlines(patches, grid())
    assert shapely.to_wkb(got).tolist() == [shapely.to_wkb(shapes.outline(patch, grid())) for patch in patches]


@given(MASKS, st.integers(0, 4), st.integers(0, 4), st.integers(0, 3))
@settings(max_examples=100, deadline=None)
def test_outline_does_not_depend_on_the_window(mask: np.ndarray, up: int, left: int, more: int) -> None:
    wide = np.pad(mask, ((up, more), (left, more)))
    one = shapes.outline(Patch(10, 12, mask), grid())
    two = shapes.outline(Patch(10 - up, 12 - left, wide), grid())
    assert shapely.to_wkb(one) == shapely.to_wkb(two)


@given(MASKS)
@settings(max_examples=100, deadline=None)
def test_rings_start_at_their_lowest_cell_and_turn_the_right_way(mask: np.ndarray) -> None:
    place = grid(cell=3.0)
    got = shapes.outline(Patch(2, 2, mask), place)
    starts = []
    for polygon in got.geoms:
        assert polygon.exterior.is_ccw
        for ring in (polygon.exterior, *polygon.interiors):
            x, y = np.array(ring.coords).T
            row, col = (place.y0 - y) / 3.0, (x - place.x0) / 3.0
            assert (row[0], col[0]) == min(zip(row, col, strict=True))
            np.testing.assert_array_equal(row, np.rint(row))
            np.testing.assert_array_equal(col, np.rint(col))
        assert not any(ring.is_ccw for ring in polygon.interiors)
        starts.append((place.y0 - polygon.exterior.coords[0][1], polygon.exterior.coords[0][0]))
    assert starts == sorted(starts)


def test_outline_of_nested_and_touching_cells() -> None:
    mask = np.array([[1, 1, 1, 1, 0], [1, 0, 1, 1, 0], [1, 1, 0, 1, 0], [1, 1, 1, 1, 0], [0, 0, 0, 0, 1]], dtype=bool)
    got = shapes.outline(Patch(0, 0, mask), grid())
    assert [len(polygon.interiors) for polygon in got.geoms] == [2, 0]
    assert got.is_valid
    assert shapes.outline(Patch(0, 0, np.zeros((2, 2), bool)), grid()).is_empty


def test_corners_use_one_formula_of_the_whole_grid() -> None:
    """On a grid in feet the corner of a far cell is x0 + col * dx, not a sum of steps."""
    step = 5.0 * 1200.0 / 3937.0
    place = Grid(4000, 4000, 123456.7, 765432.1, step, step, step, UTM)
    got = shapes.outline(Patch(3001, 2003, np.ones((1, 1), bool)), place)
    x, y = got.geoms[0].exterior.coords[0]
    centre_x, centre_y = place.xy(np.array([3000.5]), np.array([2002.5]))
    assert (x, y) == (centre_x[0], centre_y[0])


@given(st.lists(st.floats(-3.0, 3.0), min_size=2, max_size=40))
@settings(max_examples=100, deadline=None)
def test_line_stays_within_half_a_cell(steps: list[float]) -> None:
    place = grid(400, 400, cell=2.0)
    row = 100.0 + np.cumsum(steps)
    col = 50.0 + np.arange(len(steps), dtype=np.float64)
    line = shapes.line(row, col, place)
    assert line is not None
    x, y = place.xy(row, col)
    assert shapely.distance(shapely.points(x, y), line).max() <= 0.5 * 2.0 + 1e-9
    assert (line.coords[0], line.coords[-1]) == ((x[0], y[0]), (x[-1], y[-1]))


def test_line_of_one_place_is_none() -> None:
    assert shapes.line(np.array([4.0]), np.array([4.0]), grid()) is None
    assert shapes.line(np.array([4.0, 4.0]), np.array([4.0, 4.0]), grid()) is None


def test_ditch_row() -> None:
    rows = to_layers(screen())["ditches"]
    assert list(rows["ditch_id"]) == [1]
    row = rows.iloc[0]
    station = ditch(1, 20.0, 28.0)
    length = np.hypot(np.diff(station.row), 1.0).sum()
    assert row.length_m == pytest.approx(length)
    assert row.fall_pct == pytest.approx(100.0 * 0.01 * 19 / length)
    # a quarter of 20 stations is 5: the third from either end is their median on an even fall
    assert (row.bed_up_m, row.bed_down_m) == (station.bed_m[2], station.bed_m[-3])
    assert row.drains == "a"
    start, end = row.geometry.coords[0], row.geometry.coords[-1]
    assert start[0] < end[0]


def test_a_line_that_is_not_sure_is_listed_only_where_a_plug_names_it() -> None:
    made = screen(sites=(site("a", 20, 20, ditch_id=2),))
    assert list(to_layers(made)["ditches"]["ditch_id"]) == [1, 2]


def test_lengths_are_metres_on_any_cell() -> None:
    one, two = (to_layers(screen(grid(cell=cell)))["ditches"]["length_m"][0] for cell in (1.0, 2.0))
    assert two == pytest.approx(2.0 * one)


def test_derived_fields() -> None:
    """pyproj (PROJ) gives longitude and latitude; acres by NIST SP 811 (2008)."""
    row = to_layers(screen())["sites"].iloc[0]
    assert row.pool_ac == pytest.approx(row.pool_m2 / ACRE_M2)
    assert row.origin == "found"
    lon, lat = pyproj.Transformer.from_crs(26915, 4326, always_xy=True).transform(500020.5, 4599979.5)
    assert (row.lon, row.lat) == pytest.approx((lon, lat), abs=1e-9)
    bare = site("c", 20, 20)
    bare = replace(bare, values={key: value for key, value in bare.values.items() if not key.startswith("_floor")})
    inside = to_layers(screen(sites=(bare,)))["sites"].iloc[0]
    assert math.dist((inside.lon, inside.lat), (lon, lat)) < 1e-4


def test_rows_are_sorted_and_inner_values_stay_inside() -> None:
    layers = to_layers(screen())
    assert list(layers["sites"]["site_id"]) == ["a", "b"]
    assert list(layers["plugs"]["plug_id"]) == ["a-1", "b-1"]
    assert list(layers["spill_points"]["kind"]) == ["natural", "today"] * 2
    assert list(layers["levels"]["level_m"]) == [99.4, 100.25] * 2
    for table in layers.values():
        assert not [name for name in table.columns if name.startswith("_")]


def test_a_field_nobody_described_is_kept_after_the_others() -> None:
    made = screen(sites=(site("a", 20, 20, zebra=3, aardvark="yes"),))
    table = to_layers(made)["sites"]
    assert list(table.columns)[-3:] == ["aardvark", "zebra", "geometry"]
    assert table["zebra"].dtype == "Int64"


def test_words_and_numbers_of_every_kind() -> None:
    spec = fields.by_name("levels")
    table = frame(spec, [{"site_id": np.str_("a"), "level_m": np.float32(1.5), "pool_m2": math.inf, "volume_m3": None}])
    assert table["site_id"][0] == "a"
    assert table["level_m"][0] == 1.5
    assert table["pool_m2"].isna()[0]
    many = frame(fields.by_name("sites"), [{"site_id": "a", "reasons": ("one", "two"), "edge": np.bool_(True)}])
    assert many["reasons"][0] == "one; two"
    assert many["edge"][0] == 1


def test_run_is_json_with_the_schema_version() -> None:
    rows = {
        row["key"]: row["value"] for row in run_rows({"b": {"x": np.int64(2), "y": math.nan}, "a": [np.float32(0.5)]})
    }
    assert rows["b"] == '{"x": 2, "y": null}'
    assert rows["a"] == "[0.5]"
    assert rows["schema_version"] == f'"{fields.SCHEMA_VERSION}"'
    assert list(rows) == sorted(rows)


def test_compound_crs_is_cut_to_its_plane_part() -> None:
    both = pyproj.CRS("EPSG:26915+5703").to_wkt()
    plane = plane_crs(replace(grid(), crs_wkt=both))
    assert plane is not None
    assert plane.to_epsg() == 26915


def test_registry_is_complete_and_consistent() -> None:
    units = {"_m": "m", "_m2": "m2", "_m3": "m3", "_ac": "ac", "_pct": "%"}
    for spec in fields.LAYERS:
        names = [item.name for item in spec.fields]
        assert len(names) == len(set(names))
        for item in spec.fields:
            assert item.name == item.name.lower()
            assert item.kind in ("text", "integer", "real")
            assert item.title
            assert item.meaning.endswith(".")
            for ending, unit in units.items():
                if item.name.endswith(ending) and item.name != "pool_m2_per_fill_m3":
                    assert item.unit == unit


def test_open_screen(tmp_path: Path) -> None:
    path = tmp_path / "county.gpkg"
    write_layers(path, to_layers(screen()))
    result = open_screen(path)
    assert isinstance(result.sites, gpd.GeoDataFrame)
    assert result.sites is result.sites
    assert list(result.plugs["plug_id"]) == ["a-1", "b-1"]
    assert result.run["inputs"] == ["plain.tif"]
    assert "sites" in dir(result)
    assert "county.gpkg" in repr(result)
    assert len(result.digest()) == 64
    with pytest.raises(AttributeError, match="has no layer parcels"):
        _ = result.parcels
    # nothing holds the file: it can be replaced while the result is open
    write_layers(path, to_layers(screen(sites=())), overwrite=True)
    assert len(open_screen(path).sites) == 0


def test_open_screen_refuses_other_files(tmp_path: Path) -> None:
    other = tmp_path / "other.gpkg"
    gpd.GeoDataFrame({"a": [1]}, geometry=[shapely.Point(0, 0)], crs=26915).to_file(other, layer="trees")
    with pytest.raises(InputError, match="lacks sites, run and has trees"):
        open_screen(other)
    newer = tmp_path / "newer.gpkg"
    write_layers(newer, to_layers(replace(screen(), run={"schema_version": "9.0"})))
    with pytest.raises(InputError, match=r"schema version 9\.0"):
        open_screen(newer)


def test_basins_and_turned_down() -> None:
    layers = to_layers(screen())
    assert list(layers["basins"]["basin_id"]) == ["n1", "n2"]
    assert layers["basins"].geometry[0].equals(shapes.outline(disc(20, 20, 4), grid()))
    assert list(layers["not_offered"]["reason"]) == ["dug pond"]
    assert basin("x", 5, 5).reason is None
