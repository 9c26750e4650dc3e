"""The written file against the standard, a second reader, and everything that can go wrong while writing."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from gpkg_validator import validate
from outputs_screens import grid, screen

from wetscout.errors import InputError
from wetscout.io.geopackage_read import digest, read_layer
from wetscout.outputs import fields
from wetscout.outputs.layers import to_layers
from wetscout.outputs.write import write_layers

CONTRACT = {
    "sites": "site_id rank score origin drained_by confidence drain_position upstream_ditch_m cuts_n spill_m today_m "
    "lost_m floor_m depth_max_m depth_mean_m pool_m2 pool_ac volume_m3 gain_m2 gain_ac gain_m3 catchment_m2 "
    "catchment_ratio pool_m2_per_fill_m3 water_at_survey_m2 edge parent_id lon lat work reasons cautions",
    "plugs": "plug_id site_id ditch_id order spill_m crest_m overflow_m bed_m height_m across_m along_m fill_m3",
    "spill_points": "site_id kind level_m",
    "ditches": "ditch_id kind length_m depth_m top_width_m bed_up_m bed_down_m fall_pct bank_climb_m "
    "straightness spoil drains",
    "embankments": "embankment_id kind height_m width_m taken_off",
    "basins": "basin_id rim spill_m today_m depth_max_m pool_m2 volume_m3 parent_id edge",
    "not_offered": "basin_id reason",
    "catchments": "site_id catchment_m2",
    "levels": "site_id level_m pool_m2 volume_m3",
    "run": "key value",
}


@pytest.fixture(scope="module")
def layers() -> dict[str, pd.DataFrame]:
    return to_layers(screen())


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory, layers: dict[str, pd.DataFrame]) -> Path:
    path = tmp_path_factory.mktemp("master") / "county.gpkg"
    write_layers(path, layers)
    return path


@pytest.fixture
def written(tmp_path: Path, master: Path) -> Path:
    """A copy of its own for each test."""
    return Path(shutil.copy(master, tmp_path / "county.gpkg"))


def test_file_passes_the_standards_checks(written: Path) -> None:
    """OGC 12-128r19, requirements cited in `gpkg_validator`."""
    assert validate(written) == []


def test_empty_result_passes_too(tmp_path: Path) -> None:
    nothing = replace(screen(sites=()), basins=(), not_offered=())
    path = tmp_path / "none.gpkg"
    write_layers(path, to_layers(nothing))
    assert validate(path) == []
    assert len(read_layer(path, "sites")) == 0
    assert list(read_layer(path, "sites").columns[:3]) == ["site_id", "rank", "score"]


@pytest.mark.parametrize("seed", range(4))
def test_extent_holds_to_the_last_bit(tmp_path: Path, seed: int) -> None:
    """OGC 12-128r19, R148: places with all 17 figures lie inside the extent in the contents."""
    rng = np.random.default_rng(seed)
    made = screen()
    sites = []
    for item in made.sites:
        plug = item.plugs[0]
        moved = replace(plug, row=plug.row + rng.uniform(0, 1, 2), col=plug.col + rng.uniform(0, 1, 2))
        sites.append(replace(item, plugs=(moved,)))
    path = tmp_path / "a.gpkg"
    write_layers(path, to_layers(replace(made, sites=tuple(sites))))
    assert validate(path) == []


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("PRAGMA application_id = 0", "R2"),
        ("UPDATE gpkg_spatial_ref_sys SET definition='x' WHERE srs_id=-1", "R11"),
        ("UPDATE gpkg_contents SET last_change='yesterday' WHERE table_name='run'", "R15"),
        ("UPDATE gpkg_geometry_columns SET z=5 WHERE table_name='sites'", "R27"),
        ("ALTER TABLE levels ADD COLUMN place VARCHAR(9)", "R5"),
        ("UPDATE gpkg_geometry_columns SET geometry_type_name='POINT' WHERE table_name='sites'", "R31"),
        ("INSERT INTO gpkg_contents(table_name, data_type) VALUES ('ghost', 'attributes')", "R14"),
        ("UPDATE gpkg_contents SET max_x = min_x WHERE table_name='sites'", "R148"),
        ("UPDATE gpkg_extensions SET scope='read-only' WHERE table_name='sites'", "R64"),
        ("DELETE FROM gpkg_extensions WHERE extension_name='gpkg_schema'", "F.9"),
        ("UPDATE gpkg_data_columns SET column_name='gone' WHERE column_name='spill_m' AND table_name='plugs'", "R105"),
    ],
)
def test_validator_sees_a_planted_fault(written: Path, fault: str, said: str) -> None:
    db = sqlite3.connect(written)
    db.execute(fault)
    db.commit()
    db.close()
    assert any(said in item for item in validate(written))


def test_layers_and_fields_are_the_contracts(written: Path) -> None:
    for name, columns in CONTRACT.items():
        present = [column for column in read_layer(written, name).columns if column != "geometry"]
        assert present[: len(columns.split())] == columns.split()
    kinds = dict(pyogrio.list_layers(written))
    assert kinds["sites"] == "MultiPolygon"
    assert kinds["plugs"] == kinds["ditches"] == kinds["embankments"] == "LineString"
    assert kinds["spill_points"] == "Point"
    assert kinds["levels"] is None
    assert kinds["run"] is None


def test_every_column_has_title_and_meaning(written: Path) -> None:
    """OGC 12-128r19, annex F.9: titles and descriptions of columns."""
    db = sqlite3.connect(written)
    told = {(row[0], row[1]): row[2:] for row in db.execute(
        "SELECT table_name, column_name, title, description, constraint_name FROM gpkg_data_columns")}  # fmt: skip
    for name in CONTRACT:
        for row in db.execute(f'PRAGMA table_info("{name}")'):
            if row[1] not in ("fid", "geom"):
                title, meaning, constraint = told[name, row[1]]
                assert title
                assert meaning.rstrip().endswith(".")
                assert constraint is None
    assert "[m]" in told["sites", "spill_m"][0]
    assert "Unit: m2." in told["sites", "pool_m2"][1]
    db.close()


def test_gdal_reads_the_meanings(written: Path) -> None:
    """GDAL, an independent reader of the extension, gives the title as the field's other name."""
    if shutil.which("ogrinfo") is None:
        pytest.skip("ogrinfo is not installed on this machine")
    said = subprocess.run(["ogrinfo", "-so", str(written), "plugs"], capture_output=True, text=True, check=True).stdout
    assert "fill_m3" in said
    assert "Earth compacted in place" in said


def test_round_trip_by_two_readers(written: Path, layers: dict[str, pd.DataFrame]) -> None:
    sites = read_layer(written, "sites")
    pd.testing.assert_frame_equal(
        pd.DataFrame(sites.drop(columns="geometry")),
        pd.DataFrame(layers["sites"].drop(columns="geometry")),
    )
    assert sites.geometry.geom_equals_exact(layers["sites"].geometry, 0.0).all()
    assert sites.crs.to_epsg() == 26915
    db = sqlite3.connect(written)
    plain = db.execute("SELECT site_id, spill_m, pool_m2, parent_id, typeof(edge) FROM sites ORDER BY fid").fetchall()
    assert plain == [("a", 100.25, sites.pool_m2[0], None, "integer"), ("b", 100.25, sites.pool_m2[1], None, "integer")]
    key = dict(db.execute("SELECT key, value FROM run"))
    assert json.loads(key["timings"]) == {"fill": 0.5}
    assert json.loads(key["schema_version"]) == fields.SCHEMA_VERSION
    db.close()


def test_unknown_is_null(tmp_path: Path) -> None:
    made = screen()
    first = replace(made.sites[0], values={**made.sites[0].values, "depth_mean_m": np.nan, "water_at_survey_m2": None})
    path = tmp_path / "a.gpkg"
    write_layers(path, to_layers(replace(made, sites=(first,))))
    db = sqlite3.connect(path)
    assert (
        db.execute("SELECT depth_mean_m, water_at_survey_m2, pool_m2_per_fill_m3 FROM sites").fetchone() == (None,) * 3
    )
    assert db.execute("SELECT ditch_id FROM plugs").fetchone() == (None,)
    db.close()


def test_window_query_uses_the_index(written: Path) -> None:
    near = gpd.read_file(written, layer="sites", bbox=(500010.0, 4599970.0, 500030.0, 4599990.0))
    assert list(near["site_id"]) == ["a"]


def test_digest_is_for_content_only(tmp_path: Path, layers: dict[str, pd.DataFrame]) -> None:
    one, two, three = (tmp_path / name for name in ("1.gpkg", "2.gpkg", "3.gpkg"))
    write_layers(one, layers)
    write_layers(two, {**layers, "run": layers["run"].iloc[:1]})
    assert digest(one) == digest(two)
    assert digest(one, skip=()) != digest(two, skip=())
    changed = layers["levels"].copy()
    changed.loc[0, "pool_m2"] = np.nextafter(0.0, 1.0)
    write_layers(three, {**layers, "levels": changed})
    assert digest(three) != digest(one)
    moved = layers["sites"].copy()
    moved.geometry = shapely.transform(moved.geometry.array, lambda xy: xy + 1.0)
    write_layers(three, {**layers, "sites": moved}, overwrite=True)
    assert digest(three) != digest(one)


@pytest.mark.parametrize("name", ["my county.gpkg", "Prärie ähnlich.gpkg", "n'est pas là [1].gpkg", "50% #2.gpkg"])
def test_names_with_spaces_and_accents(tmp_path: Path, layers: dict[str, pd.DataFrame], name: str) -> None:
    folder = tmp_path / "Désktop files"
    folder.mkdir()
    path = folder / name
    write_layers(path, layers)
    write_layers(path, layers, overwrite=True)
    assert validate(path) == []
    assert len(read_layer(path, "plugs")) == 2
    assert [item.name for item in folder.iterdir()] == [name]


def test_users_tables_come_over(written: Path, layers: dict[str, pd.DataFrame]) -> None:
    db = sqlite3.connect(written)
    db.execute("CREATE TABLE visits (id INTEGER PRIMARY KEY AUTOINCREMENT, site_id TEXT, verdict TEXT, x REAL, y REAL)")
    db.execute("CREATE INDEX visits_by_site ON visits (site_id)")
    db.execute("INSERT INTO visits (id, site_id, verdict, x, y) VALUES (7, 'a', 'go: wäter seen', 500020.5, 4599979.5)")
    db.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES ('visits', 'attributes', 'My visits')"
    )
    db.execute(
        "INSERT INTO gpkg_data_columns VALUES ('visits', 'verdict', 'verdict', 'Verdict', 'Go or no.', NULL, NULL)"
    )
    db.execute("CREATE TABLE scratch (a INTEGER PRIMARY KEY)")
    db.commit()
    db.close()
    done = write_layers(written, layers, overwrite=True)
    assert done.carried == ("visits",)
    assert done.dropped == ("scratch",)
    assert validate(written) == []
    db = sqlite3.connect(written)
    assert db.execute("SELECT * FROM visits").fetchall() == [(7, "a", "go: wäter seen", 500020.5, 4599979.5)]
    assert db.execute("SELECT name FROM sqlite_master WHERE name='visits_by_site'").fetchone()
    assert db.execute("SELECT identifier FROM gpkg_contents WHERE table_name='visits'").fetchone() == ("My visits",)
    assert db.execute("SELECT title FROM gpkg_data_columns WHERE table_name='visits'").fetchone() == ("Verdict",)
    db.close()
    assert list(read_layer(written, "visits")["verdict"]) == ["go: wäter seen"]
    write_layers(written, layers, overwrite=True)
    assert list(read_layer(written, "visits")["verdict"]) == ["go: wäter seen"]


def test_file_says_what_it_is(written: Path) -> None:
    """OGC 12-128r19, annex F.8; GDAL shows the words among the metadata of the file."""
    db = sqlite3.connect(written)
    words = db.execute(
        "SELECT metadata FROM gpkg_metadata_reference JOIN gpkg_metadata ON md_file_id = id "
        "WHERE reference_scope = 'geopackage'"
    ).fetchall()
    db.close()
    assert words == [(fields.ABOUT,)]
    assert fields.ABOUT in (pyogrio.read_info(written, layer="sites")["dataset_metadata"] or {}).values()


def test_us_twins(tmp_path: Path) -> None:
    """NIST SP 811 (2008), app. B.8: foot 0.3048 m, acre 4046.87 m2, cubic yard 0.764555 m3, acre-foot 1233.49 m3."""
    path = tmp_path / "us.gpkg"
    write_layers(path, to_layers(screen(), us_units=True))
    sites, plugs = read_layer(path, "sites"), read_layer(path, "plugs")
    np.testing.assert_allclose(sites.spill_ft * 0.3048, sites.spill_m, rtol=1e-12)
    np.testing.assert_allclose(sites.catchment_ac * 4046.87, sites.catchment_m2, rtol=1e-5)
    np.testing.assert_allclose(sites.volume_acft * 1233.49, sites.volume_m3, rtol=1e-5)
    np.testing.assert_allclose(plugs.fill_yd3 * 0.764555, plugs.fill_m3, rtol=1e-5)
    np.testing.assert_allclose(sites.pool_ac * 4046.87, sites.pool_m2, rtol=1e-5)
    assert list(sites.columns).count("pool_ac") == 1
    assert not [name for name in read_layer(path, "ditches").columns if name.endswith("_ft")]
    assert validate(path) == []


def test_no_crs_and_feet_crs(tmp_path: Path, recwarn: pytest.WarningsRecorder) -> None:
    bare = replace(grid(), crs_wkt="")
    path = tmp_path / "bare.gpkg"
    write_layers(path, to_layers(screen(bare)))
    assert read_layer(path, "sites")["lon"].isna().all()
    assert validate(path) == []
    assert len(recwarn) == 0


def test_messages_for_readers(tmp_path: Path, written: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_layer(tmp_path / "none.gpkg", "sites")
    with pytest.raises(InputError, match="it has sites, plugs"):
        read_layer(written, "parcels")
    (tmp_path / "x.gpkg").write_bytes(b"hello" * 100)
    with pytest.raises(InputError, match="is not a GeoPackage"):
        digest(tmp_path / "x.gpkg")
