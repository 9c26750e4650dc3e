"""Layers as users bring them: other CRS, wrong place, wrong geometry, broken rings, missing side files."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
from shapely.geometry import GeometryCollection, LineString, MultiPolygon, Point, Polygon, box

from wetscout.errors import InputError
from wetscout.io.vectors import horizontal, read_layer

CRS = "EPSG:26915"
DEM = (463000.0, 4775000.0, 464000.0, 4776000.0)
SQUARE = box(463100, 4775100, 463300, 4775300)


def _save(path, shapes, crs=CRS, layer=None, **columns):
    rows = gpd.GeoDataFrame({"name": [f"r{i}" for i in range(len(shapes))], **columns}, geometry=shapes, crs=crs)
    rows.to_file(path, layer=layer)
    return path


def test_another_crs_is_brought_over_and_told(tmp_path):
    """Peer: geopandas' own to_crs."""
    plain = gpd.GeoDataFrame({"name": ["a"]}, geometry=[SQUARE], crs=CRS)
    path = tmp_path / "Flurstück parcels.geojson"
    plain.to_crs(4326).to_file(path)
    rows = read_layer(path, "polygon", CRS, DEM, "parcels")
    assert rows.crs == horizontal(CRS)
    np.testing.assert_allclose(rows.geometry[0].bounds, SQUARE.bounds, atol=0.01)
    assert any("WGS 84" in note and "UTM zone 15N" in note for note in rows.attrs["notes"])


def test_a_compound_crs_counts_by_its_map_part(tmp_path):
    path = _save(tmp_path / "a.gpkg", [SQUARE])
    rows = read_layer(path, "polygon", "EPSG:26915+5703", DEM, "parcels")
    assert rows.attrs["notes"] == []
    assert rows.geometry[0].equals(SQUARE)


def test_only_shapes_over_the_dem_are_read(tmp_path):
    path = _save(tmp_path / "a.gpkg", [SQUARE, box(470000, 4775100, 470010, 4775110)])
    assert list(read_layer(path, "polygon", CRS, DEM, "parcels")["name"]) == ["r0"]


def test_no_overlap_prints_both_bounds(tmp_path):
    path = _save(tmp_path / "a.gpkg", [box(500000, 4775000, 500100, 4775100)])
    with pytest.raises(InputError) as caught:
        read_layer(path, "polygon", CRS, DEM, "parcels")
    for words in ("x 500000.0 to 500100.0", "x 463000.0 to 464000.0", "NAD83 / UTM zone 15N", "does not reach"):
        assert words in str(caught.value)


def test_swapped_axes_are_named(tmp_path):
    path = _save(tmp_path / "a.gpkg", [box(4775100, 463100, 4775300, 463300)])
    with pytest.raises(InputError, match="x and y are swapped"):
        read_layer(path, "polygon", CRS, DEM, "parcels")


def test_wrong_and_mixed_geometry(tmp_path):
    lines = _save(tmp_path / "l.gpkg", [LineString([(463100, 4775100), (463200, 4775200)])])
    with pytest.raises(InputError, match=r"LineString; wanted: polygons"):
        read_layer(lines, "polygon", CRS, DEM, "parcels")
    mixed = _save(tmp_path / "m.geojson", [SQUARE, Point(463100, 4775100)])
    # GeoJSON is written in the CRS of the table here
    rows = read_layer(mixed, "polygon", CRS, DEM, "parcels")
    assert list(rows["name"]) == ["r0"]
    assert any("1 Point left out" in note for note in rows.attrs["notes"])
    assert len(read_layer(mixed, ("polygon", "point"), CRS, DEM, "parcels")) == 2


def test_collections_give_their_fitting_parts(tmp_path):
    both = GeometryCollection([SQUARE, Point(463100, 4775100)])
    rows = read_layer(_save(tmp_path / "c.geojson", [both]), "polygon", CRS, DEM, "parcels")
    assert rows.geometry[0].equals(SQUARE)


def test_crossing_rings_are_repaired_and_counted(tmp_path):
    """A bow tie of two triangles: 2 x (100 x 50 / 2) = 5000 m2 (closed form)."""
    tie = Polygon([(463100, 4775100), (463200, 4775200), (463200, 4775100), (463100, 4775200)])
    path = _save(tmp_path / "a.gpkg", [tie, SQUARE])
    rows = read_layer(path, "polygon", CRS, DEM, "parcels")
    assert rows.geometry.is_valid.all()
    assert rows.geometry[0].area == pytest.approx(5000.0)
    assert any("1 polygon(s) with crossing rings repaired" in note for note in rows.attrs["notes"])
    assert not read_layer(path, "polygon", CRS, DEM, "parcels", repair=False).geometry.is_valid.all()


def test_nothing_there_z_and_repeated_rows(tmp_path):
    high = Polygon([(463100, 4775100, 5.0), (463200, 4775100, 5.0), (463200, 4775200, 5.0)])
    rows = gpd.GeoDataFrame({"name": ["a", "b", "c", "c"]}, geometry=[high, None, SQUARE, SQUARE], crs=CRS)
    rows.to_file(tmp_path / "a.gpkg")
    found = read_layer(tmp_path / "a.gpkg", "polygon", CRS, DEM, "parcels")
    assert list(found["name"]) == ["a", "c"]
    assert not found.geometry.has_z.any()
    notes = " ".join(found.attrs["notes"])
    assert "repeat another" in notes and "heights" in notes


def test_stacked_parcels_with_other_values_stay(tmp_path):
    path = _save(tmp_path / "a.gpkg", [SQUARE, SQUARE])
    assert len(read_layer(path, "polygon", CRS, DEM, "parcels")) == 2


def test_empty_missing_and_broken_files(tmp_path):
    with pytest.raises(InputError, match="no parcels file"):
        read_layer(tmp_path / "none.gpkg", "polygon", CRS, DEM, "parcels")
    (tmp_path / "zero.gpkg").touch()
    with pytest.raises(InputError, match="0 bytes"):
        read_layer(tmp_path / "zero.gpkg", "polygon", CRS, DEM, "parcels")
    (tmp_path / "text.gpkg").write_text("no database")
    with pytest.raises(InputError, match="cannot be read"):
        read_layer(tmp_path / "text.gpkg", "polygon", CRS, DEM, "parcels")
    empty = gpd.GeoDataFrame({"name": np.array([], dtype=str)}, geometry=[], crs=CRS)
    pyogrio.write_dataframe(empty, tmp_path / "empty.gpkg", geometry_type="Polygon")
    with pytest.raises(InputError, match="is empty; wanted: polygons"):
        read_layer(tmp_path / "empty.gpkg", "polygon", CRS, DEM, "parcels")


@pytest.mark.parametrize("ending", [".shx", ".prj", ".dbf"])
def test_a_shapefile_without_a_side_file(tmp_path, ending):
    path = _save(tmp_path / "a b.shp", [SQUARE])
    (tmp_path / f"a b{ending}").unlink()
    with pytest.raises(InputError) as caught:
        read_layer(path, "polygon", CRS, DEM, "parcels")
    assert f"a b{ending}" in str(caught.value)


def test_a_layer_without_crs(tmp_path):
    rows = gpd.GeoDataFrame({"name": ["a"]}, geometry=[box(-93.45, 43.1, -93.44, 43.2)])
    with pytest.warns(UserWarning, match="crs"):
        rows.to_file(tmp_path / "a.gpkg")
    with pytest.raises(InputError, match=r"no coordinate reference system .*degrees .*ogr2ogr -a_srs"):
        read_layer(tmp_path / "a.gpkg", "polygon", CRS, DEM, "parcels")


def test_of_several_layers_the_fitting_one_is_taken_or_named(tmp_path):
    path = tmp_path / "many.gpkg"
    _save(path, [Point(463100, 4775100)], layer="points")
    _save(path, [SQUARE], layer="fields")
    assert read_layer(path, "polygon", CRS, DEM, "parcels").geometry[0].equals(MultiPolygon([SQUARE]).geoms[0])
    _save(path, [SQUARE, box(463500, 4775100, 463600, 4775200)], layer="lots")
    with pytest.raises(InputError, match=r"2 layers that could be the parcels: fields, lots.*::fields"):
        read_layer(path, "polygon", CRS, DEM, "parcels")
    assert len(read_layer(f"{path}::lots", "polygon", CRS, DEM, "parcels")) == 2
    with pytest.raises(InputError, match="no layer 'plots'"):
        read_layer(f"{path}::plots", "polygon", CRS, DEM, "parcels")
