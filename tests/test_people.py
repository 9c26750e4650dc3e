"""Parcels and owners. All names, firms and places are invented."""

from __future__ import annotations

import csv
import logging
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from outputs_screens import disc, grid, screen, site
from shapely.geometry import box

from wetscout.errors import InputError, OutputError
from wetscout.outputs import fields, to_layers, write_layers
from wetscout.outputs.shapes import outline
from wetscout.people import add_to_sites, check_parcels, owners_csv, parcels
from wetscout.people.columns import find_columns
from wetscout.people.parcels import People
from wetscout.settings.people import PeopleSettings
from wetscout.units import ACRE_M2

GUESS = PeopleSettings()
# the pool of site `a` is a disc of radius 6 about this corner of cells
CENTRE = (500020.5, 4599979.5)


def sites() -> gpd.GeoDataFrame:
    return to_layers(screen())["sites"]


def roll(rows: list[dict], crs: int = 26915) -> gpd.GeoDataFrame:
    shapes = [row.pop("shape") for row in rows]
    return gpd.GeoDataFrame(pd.DataFrame(rows), geometry=shapes, crs=crs)


def west_east() -> gpd.GeoDataFrame:
    """Two parcels that meet on the middle column edge of site `a`, and one that nothing touches."""
    x, y = CENTRE
    owner = {"OWNER": ["ALDERMOOR WENDA", "Tarn Farms, L.L.C.", "Nobody Near"]}
    table = pd.DataFrame(
        {"PARCEL_ID": ["01", "02", "03"], **owner, "MAIL_ADDR": ["12 Mill Road", "PO Box 7", "1 Far Ln"]}
    )
    shapes = [box(x - 50, y - 13, x, y + 15), box(x, y - 13, x + 50, y + 15), box(x + 900, y, x + 950, y + 9)]
    return gpd.GeoDataFrame(table, geometry=shapes, crs=26915)


def test_gain_is_shared_by_the_ground() -> None:
    """Closed form: a line through the middle of a disc of cells halves it."""
    found = parcels(west_east(), sites(), GUESS)
    gain = sites().set_index("site_id").gain_m2["a"]
    table = found.parcels.set_index("parcel_id")
    both = table[table.site_ids.str.contains("a")]
    assert set(both.index) == {"01", "02"}
    np.testing.assert_allclose(both.gain_m2.loc[["01", "02"]], gain / 2, rtol=1e-12)
    np.testing.assert_allclose(table.gain_ac * ACRE_M2, table.gain_m2)
    assert found.per_site.parcel_share.tolist() == pytest.approx([1.0, 0.0])
    assert found.per_site.owners_n[0] == 2
    assert found.per_site.owners_n.isna()[1]
    assert list(table.owners_n) == [2, 2]


def test_shares_agree_with_geopandas_overlay() -> None:
    """geopandas.overlay, a general-purpose reference, on a lattice of parcels in another CRS."""
    x, y = 499990.0, 4599930.0
    places = [(i, j, x + 13 * i, y + 11 * j) for i in range(8) for j in range(8)]
    lattice = roll(
        [{"pin": f"{i}-{j}", "owner": f"Heron {i} Moss", "shape": box(a, b, a + 13, b + 11)} for i, j, a, b in places]
    )
    found = parcels(lattice, sites(), PeopleSettings(touch_m2=0.0))
    cut = gpd.overlay(sites()[["site_id", "geometry"]], lattice, how="intersection", keep_geom_type=False)
    want = cut.assign(area=cut.area).query("area > 0").groupby("pin")["area"].sum().sort_index()
    got = found.parcels.set_index("parcel_id").pool_m2.sort_index()
    np.testing.assert_allclose(got, want, rtol=1e-9)
    assert list(got.index) == list(want.index)
    np.testing.assert_allclose(found.per_site.parcel_share, 1.0, rtol=1e-9)
    np.testing.assert_allclose(found.owners.gain_m2.sum(), sites().gain_m2.sum(), rtol=1e-9)


def test_ranks_are_by_gain_then_best_site() -> None:
    found = parcels(west_east(), sites(), GUESS)
    assert list(found.parcels.parcel_rank) == [1, 2]
    assert list(found.owners.owner_rank) == [1, 2]
    assert list(found.parcels.best_site_rank) == [1, 1]
    assert found.parcels.gain_m2.is_monotonic_decreasing


def test_columns_are_the_registrys() -> None:
    found = parcels(west_east(), sites(), GUESS)
    for name, table in (("parcels", found.parcels), ("owners", found.owners)):
        spec = fields.by_name(name)
        assert [column for column in table.columns if column != "geometry"] == [item.name for item in spec.fields]
        kinds = {"text": "object", "integer": "Int64", "real": "float64"}
        assert [str(table[item.name].dtype) for item in spec.fields] == [kinds[item.kind] for item in spec.fields]


def test_parcels_in_another_crs_are_brought_over() -> None:
    other = west_east().to_crs(26916)
    found = parcels(other, sites(), GUESS)
    plain = parcels(west_east(), sites(), GUESS)
    np.testing.assert_allclose(sorted(found.parcels.pool_m2), sorted(plain.parcels.pool_m2), rtol=1e-3)
    assert any("another coordinate system" in note for note in found.notes)


def test_areas_are_square_metres_in_a_feet_crs() -> None:
    """EPSG:3417 (Iowa North, US survey feet); US survey foot 1200/3937 m (NIST SP 811, 2008, app. B.8)."""
    place = grid()
    shape = shapely.transform(outline(disc(20, 20, 6), place), lambda xy: (xy - [499000.0, 4599000.0]) * 5.0)
    feet = gpd.GeoDataFrame({"site_id": ["a"], "rank": [1], "gain_m2": [100.0]}, geometry=[shape], crs=3417)
    low_x, low_y, high_x, high_y = shape.bounds
    one = roll([{"owner": "Rush Bittern", "shape": box(low_x - 9, low_y - 9, high_x + 9, high_y + 9)}], crs=3417)
    found = parcels(one, feet, GUESS)
    assert found.parcels.pool_m2[0] == pytest.approx(shape.area * (1200.0 / 3937.0) ** 2)
    assert found.parcels.gain_m2[0] == pytest.approx(100.0)


def test_sliver_is_not_a_neighbour_but_a_small_pool_counts() -> None:
    x, y = CENTRE
    beside = roll(
        [
            {"owner": "Big Field Co", "shape": box(x - 50, y - 20, x + 6.4, y + 20)},
            {"owner": "Sliver Strip Inc", "shape": box(x + 6.4, y - 20, x + 50, y + 20)},
        ]
    )
    found = parcels(beside, sites().iloc[:1], GUESS)
    assert list(found.owners.owner) == ["Big Field Co"]
    tiny = gpd.GeoDataFrame(
        {"site_id": ["t"], "rank": [1], "gain_m2": [4.0]}, geometry=[box(x, y, x + 2, y + 2)], crs=26915
    )
    assert len(parcels(roll([{"owner": "Big Field Co", "shape": box(x, y, x + 9, y + 9)}]), tiny, GUESS).owners) == 1


def test_stacked_parcels_share_their_ground() -> None:
    """Three flats over one plot, drawn from different starts: the ground counts once, the owners three times."""
    x, y = CENTRE
    plot = box(x - 20, y - 15, x + 20, y + 15)
    turned = shapely.Polygon(np.roll(np.array(plot.exterior.coords)[:-1], 2, axis=0))
    flats = roll([{"pin": str(n), "owner": f"Sedge {word} Pike", "shape": shape}
                  for n, (word, shape) in enumerate([("Ada", plot), ("Bo", turned), ("Cy", plot)])])  # fmt: skip
    found = parcels(flats, sites(), GUESS)
    assert list(found.parcels.stacked_n) == [3, 3, 3]
    area = sites().set_index("site_id").pool_m2["a"]
    assert found.parcels.pool_m2.sum() == pytest.approx(area)
    assert found.per_site.owners_n[0] == 3
    assert found.per_site.parcel_share[0] == pytest.approx(1.0)


def test_exact_repeats_count_once() -> None:
    twice = pd.concat([west_east(), west_east()], ignore_index=True)
    found = parcels(gpd.GeoDataFrame(twice, crs=26915), sites(), GUESS)
    once = parcels(west_east(), sites(), GUESS)
    pd.testing.assert_frame_equal(pd.DataFrame(found.parcels), pd.DataFrame(once.parcels))
    assert any("3 rows repeat" in note for note in found.notes)


def test_bad_outlines_are_repaired_and_counted() -> None:
    x, y = CENTRE
    bowtie = shapely.Polygon([(x - 20, y - 15), (x + 20, y + 15), (x + 20, y - 15), (x - 20, y + 15)])
    spike = shapely.Polygon(
        [(x - 20, y - 20), (x + 20, y - 20), (x + 20, y + 20), (x + 40, y + 20), (x + 20, y + 20), (x - 20, y + 20)]
    )
    rows = roll(
        [
            {"owner": "Bow Tie", "shape": bowtie},
            {"owner": "Spike Reed", "shape": spike},
            {"owner": "No Land", "shape": None},
            {"owner": "Flat Line", "shape": shapely.Polygon([(x, y), (x + 1, y), (x, y)])},
            {"owner": "High Ground", "shape": shapely.force_3d(box(x - 9, y - 9, x + 9, y + 9), 4.0)},
        ]
    )
    found = parcels(rows, sites(), GUESS)
    said = " ".join(found.notes)
    assert "3 outlines had invalid rings" in said
    assert "2 rows have no area" in said
    assert "1 of these changed" in said
    assert found.parcels.geometry.is_valid.all()
    assert not found.parcels.has_z.any()
    assert set(found.parcels.geom_type) == {"MultiPolygon"}


def test_blank_owners_stay_unknown() -> None:
    x, y = CENTRE
    rows = roll(
        [
            {"pin": "1", "owner": "Lark Meadows Trust", "shape": box(x - 50, y - 20, x - 2, y + 20)},
            {"pin": "2", "owner": "  ", "shape": box(x - 2, y - 20, x + 2, y + 20)},
            {"pin": "3", "owner": None, "shape": box(x + 2, y - 20, x + 50, y + 20)},
        ]
    )
    found = parcels(rows, sites(), GUESS)
    table = found.parcels.set_index("parcel_id")
    assert table.owner_id[["2", "3"]].isna().all()
    assert table.owner[["2", "3"]].isna().all()
    assert len(found.owners) == 1
    assert found.owners.multi_owner[0] == 1
    assert found.per_site.owners_n[0] == 2
    assert any("2 of 3 touched parcels name no owner" in note for note in found.notes)


def test_owner_table() -> None:
    x, y = CENTRE
    home = {"city": "Ostly", "st": "ZZ", "zip": 12345.0}
    wide = roll(
        [
            {"pin": "7", "owner": "Quill Sorrel", "mail": "4 Elm St", **home,
             "shape": box(x - 50, y - 15, x + 50, y + 50)},
            {"pin": "8", "owner": "QUILL SORREL & WIFE", "mail": "4 Elm Street", **home,
             "shape": box(x - 50, y - 60, x + 19, y - 15)},
            {"pin": "9", "owner": "Vane Weir Inc", "mail": "Box 3", **home,
             "shape": box(x + 19, y - 60, x + 60, y - 15)},
        ]
    )  # fmt: skip
    found = parcels(wide, sites(), PeopleSettings(state_field="st", touch_m2=0.0))
    first = found.owners.iloc[0]
    assert (first.owner, first.owner_rank, first.parcels_n, first.parcel_ids) == ("QUILL SORREL & WIFE", 1, 2, "7, 8")
    assert (first.mail_address, first.mail_city, first.mail_state, first.mail_zip) == (
        "4 Elm St",
        "Ostly",
        "ZZ",
        "12345",
    )
    assert (first.sites_n, first.site_ids, first.best_site_rank) == (2, "a,b", 1)
    assert (first.sole_sites_n, first.multi_owner) == (1, 1)
    assert first.note == "2 spellings joined"
    second = found.owners.iloc[1]
    assert (second.sole_sites_n, second.multi_owner, second.site_ids) == (0, 1, "b")
    np.testing.assert_allclose(found.owners.wet_ac.sum() * ACRE_M2, sites().pool_m2.sum(), rtol=1e-9)
    mail = found.parcels.set_index("parcel_id")
    assert mail.mail_zip["9"] == "12345"


def test_unknown_gain_is_unknown_for_the_parcel() -> None:
    blind = sites()
    blind["gain_m2"] = np.nan
    found = parcels(west_east(), blind, GUESS)
    assert found.parcels.gain_m2.isna().all()
    assert found.owners.gain_ac.isna().all()
    assert list(found.parcels.parcel_rank) == [1, 2]


def test_numbers_go_into_the_sites() -> None:
    before = sites()
    after = add_to_sites(before, parcels(west_east(), before, GUESS))
    assert after.owners_n[0] == 2
    assert after.owners_n.isna()[1]
    assert str(after.owners_n.dtype) == "Int64"
    assert after.parcel_share.tolist() == pytest.approx([1.0, 0.0])
    assert before.owners_n.isna().all()
    assert list(after.columns) == list(before.columns)


def test_file_without_owners() -> None:
    rows = west_east().drop(columns=["OWNER", "MAIL_ADDR"])
    with pytest.raises(InputError, match=r"the file has PARCEL_ID\. Name it in a settings file"):
        parcels(rows, sites(), GUESS)
    found = parcels(rows, sites(), PeopleSettings(owner_field="none"))
    assert len(found.owners) == 0
    assert found.per_site.owners_n.isna().all()
    assert len(found.parcels) == 2


def test_columns_are_guessed_mapped_and_explained() -> None:
    guessed = find_columns(["OBJECTID", "PIN_NUM", "DEED_HOLDER", "Mail_Add1", "MailCity", "ZIP"], GUESS)
    assert guessed == {
        "parcel": "PIN_NUM", "owner": "DEED_HOLDER", "mail": "Mail_Add1", "city": "MailCity", "state": None,
        "zip": "ZIP",
    }  # fmt: skip
    mapped = find_columns(["who", "PIN"], PeopleSettings(owner_field="WHO"))
    assert mapped["owner"] == "who"
    with pytest.raises(InputError, match=r"no column ownr.*did you mean owner\?"):
        find_columns(["owner", "PIN"], PeopleSettings(owner_field="ownr"))
    rows = west_east().drop(columns="PARCEL_ID")
    found = parcels(rows, sites(), GUESS)
    assert set(found.parcels.parcel_id) == {"row 1", "row 2"}
    assert any("rows are numbered" in note for note in found.notes)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (west_east().iloc[:0], "no rows"),
        (west_east().set_geometry(west_east().centroid), "point, not polygons"),
        (west_east().set_crs(None, allow_override=True), "no coordinate reference system"),
    ],
)
def test_files_that_cannot_be_used(given: gpd.GeoDataFrame, said: str) -> None:
    with pytest.raises(InputError, match=said):
        check_parcels(given, GUESS)


def test_wrong_county_is_said() -> None:
    far = west_east()
    far.geometry = far.translate(xoff=80000.0)
    found = parcels(far, sites(), GUESS)
    assert len(found.parcels) == len(found.owners) == 0
    assert any("is this the right county" in note for note in found.notes)


def test_no_sites() -> None:
    found = parcels(west_east(), to_layers(screen(sites=()))["sites"], GUESS)
    assert len(found.parcels) == len(found.owners) == len(found.per_site) == 0
    assert found.parcels.columns[0] == "parcel_id"


def test_no_name_reaches_a_message(caplog: pytest.LogCaptureFixture) -> None:
    """Names stay in the tables: not in notes, not in logs, not in what is printed of the result."""
    secret = ["ALDERMOOR", "Tarn", "Nobody"]
    with caplog.at_level(logging.DEBUG):
        doubled = gpd.GeoDataFrame(pd.concat([west_east(), west_east()], ignore_index=True), crs=26915)
        doubled.loc[0, "OWNER"] = None
        found = parcels(doubled, sites(), GUESS)
        with pytest.raises(InputError) as caught:
            parcels(doubled.rename(columns={"OWNER": "q"}), sites(), GUESS)
    spoken = " ".join([*found.notes, repr(found), str(caught.value), caplog.text])
    assert found.notes
    assert not [word for word in secret if word.lower() in spoken.lower()]


def write_with_owners(path: Path, given: gpd.GeoDataFrame) -> People:
    layers = to_layers(screen())
    found = parcels(given, layers["sites"], GUESS)
    run = layers.pop("run")
    layers |= {
        "sites": add_to_sites(layers["sites"], found),
        "parcels": found.parcels,
        "owners": found.owners,
        "run": run,
    }
    write_layers(path, layers)
    return found


def test_into_the_geopackage_and_out_as_csv(tmp_path: Path) -> None:
    from gpkg_validator import validate

    given = west_east()
    given.loc[0, "OWNER"] = "Ålund, Bérénice; “Moor”"
    given.loc[1, "OWNER"] = "=Tarn\nFarms, L.L.C."
    path, out = tmp_path / "county.gpkg", tmp_path / "owners list.csv"
    found = write_with_owners(path, given)
    assert validate(path) == []
    assert owners_csv(path, out) == 2
    raw = out.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf")
    assert raw.count(b"\r\n") == 3
    with out.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    names = {row["owner"] for row in rows}
    assert names == {"Ålund, Bérénice; “Moor”", "'=Tarn Farms, L.L.C."}
    assert [int(row["owner_rank"]) for row in rows] == [1, 2]
    assert list(rows[0]) == list(found.owners.columns)
    with pytest.raises(OutputError, match="exists already"):
        owners_csv(path, out)
    assert owners_csv(path, out, overwrite=True) == 2


def test_csv_without_owners_or_place(tmp_path: Path) -> None:
    path = tmp_path / "plain.gpkg"
    write_layers(path, to_layers(screen()))
    with pytest.raises(InputError, match="run `wetscout screen` with --parcels"):
        owners_csv(path, tmp_path / "o.csv")
    write_with_owners(tmp_path / "with.gpkg", west_east())
    with pytest.raises(OutputError, match="could not be written"):
        owners_csv(tmp_path / "with.gpkg", tmp_path / "no" / "o.csv")


def test_overlapping_parcels_are_said() -> None:
    x, y = CENTRE
    over = roll([{"owner": "Reed One Co", "shape": box(x - 20, y - 15, x + 20, y + 15)},
                 {"owner": "Reed Two Co", "shape": box(x - 21, y - 15, x + 20, y + 15)}])  # fmt: skip
    found = parcels(over, sites(), GUESS)
    assert any("lie over each other" in note for note in found.notes)
    assert found.per_site.parcel_share[0] == 1.0


def test_a_site_is_a_site() -> None:
    """The fixture's own promise: the pool is the disc these tests reckon with."""
    assert site("a", 20, 20).pool.mask.sum() == sites().pool_m2[0]
