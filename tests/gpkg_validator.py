"""A GeoPackage validator of our own, on plain sqlite3: it shares no code with the writer.

Source: OGC 12-128r19, GeoPackage Encoding Standard 1.4 (Open Geospatial Consortium), requirement numbers of its text
("R"). Seven groups: file, reference systems, contents, features, geometry blobs, integrity, extensions.
"""

from __future__ import annotations

import re
import sqlite3
import struct
from collections.abc import Callable
from pathlib import Path

GEOMETRY_TYPES = {
    "GEOMETRY": 0, "POINT": 1, "LINESTRING": 2, "POLYGON": 3,
    "MULTIPOINT": 4, "MULTILINESTRING": 5, "MULTIPOLYGON": 6, "GEOMETRYCOLLECTION": 7,
}  # fmt: skip
COLUMN_TYPE = re.compile(
    r"^(BOOLEAN|TINYINT|SMALLINT|MEDIUMINT|INT|INTEGER|FLOAT|DOUBLE|REAL|TEXT(\(\d+\))?|BLOB(\(\d+\))?|DATE|DATETIME)$"
)
ENVELOPE = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
CONTENTS = [
    ("table_name", "TEXT", 1, None, 1), ("data_type", "TEXT", 1, None, 0), ("identifier", "TEXT", 0, None, 0),
    ("description", "TEXT", 0, "''", 0),
    ("last_change", "DATETIME", 1, "strftime('%Y-%m-%dT%H:%M:%fZ','now')", 0),
    ("min_x", "DOUBLE", 0, None, 0), ("min_y", "DOUBLE", 0, None, 0), ("max_x", "DOUBLE", 0, None, 0),
    ("max_y", "DOUBLE", 0, None, 0), ("srs_id", "INTEGER", 0, None, 0),
]  # fmt: skip
SRS = [
    ("srs_name", "TEXT", 1), ("srs_id", "INTEGER", 1), ("organization", "TEXT", 1),
    ("organization_coordsys_id", "INTEGER", 1), ("definition", "TEXT", 1), ("description", "TEXT", 0),
]  # fmt: skip
KNOWN_EXTENSIONS = {
    "gpkg_rtree_index": "write-only", "gpkg_schema": "read-write", "gpkg_metadata": "read-write",
    "gpkg_crs_wkt": "read-write", "gpkg_crs_wkt_1_1": "read-write",
}  # fmt: skip


def validate(path: str | Path) -> list[str]:
    """Faults of a GeoPackage, each with its requirement; an empty list is a pass."""
    place = Path(path)
    faults = _file(place)
    if faults:
        return faults
    db = sqlite3.connect(f"{place.resolve().as_uri()}?mode=ro", uri=True)
    try:
        checks: tuple[Callable[[sqlite3.Connection], list[str]], ...] = (
            _srs, _contents, _features, _blobs, _rtree, _integrity, _extensions, _schema, _metadata,
        )  # fmt: skip
        for check in checks:
            faults += check(db)
    finally:
        db.close()
    return faults


def _file(place: Path) -> list[str]:
    head = place.read_bytes()[:100]
    faults = []
    if head[:16] != b"SQLite format 3\x00":
        return ["R1: not a SQLite 3 file"]
    if place.suffix != ".gpkg":
        faults.append("R3: name does not end in .gpkg")
    if struct.unpack(">I", head[68:72])[0] != 0x47504B47:
        faults.append("R2: application_id is not GPKG")
    if struct.unpack(">I", head[60:64])[0] < 10200:
        faults.append("R2: user_version below 10200")
    return faults


def _tables(db: sqlite3.Connection) -> set[str]:
    return {row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type IN ('table','view')")}


def _declared(db: sqlite3.Connection) -> list[tuple]:
    if "gpkg_extensions" not in _tables(db):
        return []
    return db.execute(
        "SELECT table_name, column_name, extension_name, definition, scope FROM gpkg_extensions"
    ).fetchall()


def _srs(db: sqlite3.Connection) -> list[str]:
    if "gpkg_spatial_ref_sys" not in _tables(db):
        return ["R10: gpkg_spatial_ref_sys is missing"]
    faults = []
    columns = [(r[1], r[2], r[3]) for r in db.execute("PRAGMA table_info(gpkg_spatial_ref_sys)")]
    extra = {"gpkg_crs_wkt": ["definition_12_063"], "gpkg_crs_wkt_1_1": ["definition_12_063", "epoch"]}
    wanted_more = [name for row in _declared(db) for name in extra.get(row[2], [])]
    # SQLite's INTEGER PRIMARY KEY refuses NULL whether or not NOT NULL is written
    if columns[:6] != SRS or [c[0] for c in columns[6:]] != list(dict.fromkeys(wanted_more)):
        faults.append(f"R10: columns of gpkg_spatial_ref_sys are {columns}")
    rows = {r[0]: r[1:] for r in db.execute("SELECT srs_id, organization, organization_coordsys_id, definition "
                                            "FROM gpkg_spatial_ref_sys")}  # fmt: skip
    for srs_id in (-1, 0):
        row = rows.get(srs_id)
        if row is None or row[0].upper() != "NONE" or row[1] != srs_id or row[2] != "undefined":
            faults.append(f"R11: reference system {srs_id} is {row}")
    row = rows.get(4326)
    if row is None or row[0].upper() != "EPSG" or row[1] != 4326 or not row[2]:
        faults.append("R11: reference system 4326 is missing or wrong")
    used = {r[0] for r in db.execute("SELECT srs_id FROM gpkg_contents WHERE srs_id IS NOT NULL")}
    used |= {r[0] for r in db.execute("SELECT srs_id FROM gpkg_geometry_columns")}
    faults += [f"R12: srs_id {item} is used but not defined" for item in sorted(used - rows.keys())]
    return faults


def _contents(db: sqlite3.Connection) -> list[str]:
    faults = []
    columns = [(r[1], r[2], r[3], r[4], r[5]) for r in db.execute("PRAGMA table_info(gpkg_contents)")]
    if columns != CONTENTS:
        faults.append(f"R13: columns of gpkg_contents are {columns}")
    tables = {name.lower() for name in _tables(db)}
    allowed = {"features", "tiles", "attributes", "2d-gridded-coverage"}
    for name, kind, change in db.execute("SELECT table_name, data_type, last_change FROM gpkg_contents"):
        if name.lower() not in tables:
            faults.append(f"R14: {name} is listed but does not exist")
        if kind not in allowed:
            faults.append(f"clause 1.1.3, R18, R118: data_type {kind} of {name}")
        if not re.match(r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$", change):
            faults.append(f"R15: last_change {change} of {name}")
    return faults


def _features(db: sqlite3.Connection) -> list[str]:
    faults = []
    names = [r[0] for r in db.execute("SELECT table_name FROM gpkg_contents WHERE data_type='features'")]
    for name in names:
        rows = db.execute(
            "SELECT column_name, geometry_type_name, srs_id, z, m FROM gpkg_geometry_columns WHERE table_name=?",
            (name,),
        ).fetchall()
        if len(rows) != 1:
            faults.append(f"R22: {name} has {len(rows)} rows in gpkg_geometry_columns")
            continue
        column, kind, srs_id, z, m = rows[0]
        info = {r[1]: (r[2], r[5]) for r in db.execute(f'PRAGMA table_info("{name}")')}
        if kind not in GEOMETRY_TYPES:
            faults.append(f"R25: geometry type {kind} of {name}")
        if info.get(column, ("", 0))[0] != kind:
            faults.append(f"R31: column {column} of {name} is declared {info.get(column)}, not {kind}")
        if z not in (0, 1, 2) or m not in (0, 1, 2):
            faults.append(f"R27, R28: z {z}, m {m} of {name}")
        contents = db.execute("SELECT srs_id FROM gpkg_contents WHERE table_name=?", (name,)).fetchone()[0]
        if contents != srs_id:
            faults.append(f"R146: srs_id of {name} is {contents} in the contents and {srs_id} in its geometry")
        faults += _columns(name, info, column)
    for (name,) in db.execute("SELECT table_name FROM gpkg_contents WHERE data_type='attributes'"):
        info = {r[1]: (r[2], r[5]) for r in db.execute(f'PRAGMA table_info("{name}")')}
        faults += _columns(name, info, None)
    return faults


def _columns(name: str, info: dict, geometry: str | None) -> list[str]:
    faults = []
    keys = [column for column, (_, key) in info.items() if key]
    if len(keys) != 1 or info[keys[0]][0] != "INTEGER":
        faults.append(f"R29 (features), R119 (attributes): primary key of {name} is {keys}")
    for column, (kind, _) in info.items():
        if column != geometry and not COLUMN_TYPE.match(kind):
            faults.append(f"R5: column {column} of {name} has type {kind!r}")
    return faults


def _blobs(db: sqlite3.Connection) -> list[str]:
    faults = []
    for name, column, kind, srs_id in db.execute(
        "SELECT table_name, column_name, geometry_type_name, srs_id FROM gpkg_geometry_columns"
    ).fetchall():
        extent = db.execute(
            "SELECT min_x, max_x, min_y, max_y FROM gpkg_contents WHERE table_name=?", (name,)
        ).fetchone()
        for (blob,) in db.execute(f'SELECT "{column}" FROM "{name}" WHERE "{column}" IS NOT NULL'):
            fault = _blob(blob, kind, srs_id, extent)
            if fault:
                faults.append(f"{fault} in {name}")
                break
    return faults


def _blob(blob: bytes, kind: str, srs_id: int, extent: tuple) -> str | None:
    flags = blob[3]
    order = "<" if flags & 1 else ">"
    indicator = (flags >> 1) & 7
    if blob[:2] != b"GP" or blob[2] != 0 or flags & 0xE0 or indicator > 4:
        return "R19: header of a geometry is not of the standard's form"
    if struct.unpack(order + "i", blob[4:8])[0] != srs_id:
        return "R33: a geometry has another srs_id than its table"
    body = blob[8 + ENVELOPE[indicator] :]
    code = struct.unpack("<I" if body[0] == 1 else ">I", body[1:5])[0]
    if kind != "GEOMETRY" and code % 1000 != GEOMETRY_TYPES[kind]:
        return f"R32: a geometry of WKB type {code} in a column of {kind}"
    if indicator:
        low_x, high_x, low_y, high_y = struct.unpack(order + "4d", blob[8:40])
        if low_x > high_x or low_y > high_y:
            return "R19: an envelope is inside out"
        if None in extent or low_x < extent[0] or high_x > extent[1] or low_y < extent[2] or high_y > extent[3]:
            return "R148: a geometry lies outside the extent in the contents"
    return None


def _rtree(db: sqlite3.Connection) -> list[str]:
    """R76, R77: an index that is declared exists and holds one row for each geometry."""
    faults = []
    for table, column, extension, _, _ in _declared(db):
        if extension != "gpkg_rtree_index":
            continue
        index = f"rtree_{table}_{column}"
        if index not in _tables(db):
            faults.append(f"R77: index {index} is declared and missing")
            continue
        rows = db.execute(f'SELECT count(*) FROM "{index}"').fetchone()[0]
        wanted = db.execute(f'SELECT count("{column}") FROM "{table}"').fetchone()[0]
        if rows != wanted:
            faults.append(f"R77: index {index} holds {rows} of {wanted} geometries")
    return faults


def _integrity(db: sqlite3.Connection) -> list[str]:
    faults = []
    found = db.execute("PRAGMA integrity_check").fetchall()
    if found != [("ok",)]:
        faults.append(f"R6: integrity_check says {found[:3]}")
    broken = db.execute("PRAGMA foreign_key_check").fetchall()
    if broken:
        faults.append(f"R7: foreign_key_check says {broken[:3]}")
    return faults


def _extensions(db: sqlite3.Connection) -> list[str]:
    faults = []
    tables = _tables(db)
    for table, column, extension, definition, scope in _declared(db):
        if table is not None and table not in tables:
            faults.append(f"R60: extension {extension} names the missing table {table}")
        elif column is not None and column not in {r[1] for r in db.execute(f'PRAGMA table_info("{table}")')}:
            faults.append(f"R61: extension {extension} names the missing column {table}.{column}")
        if not re.match(r"^[A-Za-z0-9]+_\w+$", extension):
            faults.append(f"R62: extension name {extension}")
        if not definition:
            faults.append(f"R63: extension {extension} has no definition")
        if scope not in ("read-write", "write-only") or KNOWN_EXTENSIONS.get(extension, scope) != scope:
            faults.append(f"R64: scope {scope} of {extension}")
    return faults


def _schema(db: sqlite3.Connection) -> list[str]:
    """R103 to R107, annex F.9: the schema extension's tables, their registration, and what they point at."""
    if "gpkg_data_columns" not in _tables(db):
        return []
    faults = []
    for name in ("gpkg_data_columns", "gpkg_data_column_constraints"):
        if ("gpkg_schema", name) not in {(r[2], r[0]) for r in _declared(db)}:
            faults.append(f"annex F.9, R59: {name} is not registered as gpkg_schema")
    contents = {r[0] for r in db.execute("SELECT table_name FROM gpkg_contents")}
    for table, column, constraint in db.execute(
        "SELECT table_name, column_name, constraint_name FROM gpkg_data_columns"
    ):
        if table not in contents:
            faults.append(f"R104: gpkg_data_columns names {table}, which is not in the contents")
        elif column not in {r[1] for r in db.execute(f'PRAGMA table_info("{table}")')}:
            faults.append(f"R105: gpkg_data_columns names the missing column {table}.{column}")
        if (
            constraint is not None
            and not db.execute(
                "SELECT 1 FROM gpkg_data_column_constraints WHERE constraint_name=?", (constraint,)
            ).fetchone()
        ):
            faults.append(f"R106: constraint {constraint} of {table}.{column} is not defined")
    return faults


def _metadata(db: sqlite3.Connection) -> list[str]:
    """Annex F.8: the metadata extension's tables, their registration, scopes and references."""
    if "gpkg_metadata" not in _tables(db):
        return []
    faults = []
    for name in ("gpkg_metadata", "gpkg_metadata_reference"):
        if ("gpkg_metadata", name) not in {(r[2], r[0]) for r in _declared(db)}:
            faults.append(f"annex F.8, R59: {name} is not registered as gpkg_metadata")
    scopes = {r[0] for r in db.execute("SELECT md_scope FROM gpkg_metadata")}
    if not scopes <= {"undefined", "dataset", "series", "attribute", "feature"}:
        faults.append(f"annex F.8: md_scope {scopes}")
    for scope, table, column, row, stamp in db.execute(
        "SELECT reference_scope, table_name, column_name, row_id_value, timestamp FROM gpkg_metadata_reference"
    ):
        if scope not in ("geopackage", "table", "column", "row", "row/col"):
            faults.append(f"annex F.8: reference_scope {scope}")
        if scope == "geopackage" and (table, column, row) != (None, None, None):
            faults.append("annex F.8: a reference to the whole file names a table")
        if not re.match(r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$", stamp):
            faults.append(f"annex F.8: timestamp {stamp}")
    return faults
