"""What a layer and a field are to the GeoPackage, and the standard's extensions that tell it to every reader.

Standard: OGC 12-128r19 (GeoPackage 1.4), annex F.8 "Metadata" and F.9 "Schema".
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

DEFINITION = "http://www.geopackage.org/spec121/#extension_{}"

DATA_COLUMNS = """
CREATE TABLE gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT,
  constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name))
"""
CONSTRAINTS = """
CREATE TABLE gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN,
  max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))
"""
METADATA = """
CREATE TABLE gpkg_metadata (
  id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, md_scope TEXT NOT NULL DEFAULT 'dataset',
  md_standard_uri TEXT NOT NULL, mime_type TEXT NOT NULL DEFAULT 'text/xml', metadata TEXT NOT NULL DEFAULT '')
"""
REFERENCE = """
CREATE TABLE gpkg_metadata_reference (
  reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT, row_id_value INTEGER,
  timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  md_file_id INTEGER NOT NULL, md_parent_id INTEGER,
  CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
  CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id))
"""
# the plain words follow no metadata standard, so the address named is the GeoPackage standard's own
PLAIN_WORDS = "http://www.opengis.net/doc/IS/geopackage/1.4"


@dataclass(frozen=True)
class Field:
    """One column of a layer.

    Attributes
    ----------
    name : str
        Column name, unit as suffix.
    kind : str
        `text`, `integer` or `real`.
    title : str
        A few words for a column head, without the unit.
    unit : str
        "m", "m2", ...; "" for words, counts and ids.
    meaning : str
        One sentence.
    """

    name: str
    kind: str
    title: str
    unit: str
    meaning: str

    @property
    def heading(self) -> str:
        """Title with its unit in brackets."""
        return f"{self.title} [{self.unit}]" if self.unit else self.title


@dataclass(frozen=True)
class LayerSpec:
    """One layer or table of the result.

    Attributes
    ----------
    name : str
    geometry : str or None
        `MultiPolygon`, `LineString`, `Point`, or None for a table.
    title, meaning : str
        For `gpkg_contents`.
    fields : tuple of Field
    """

    name: str
    geometry: str | None
    title: str
    meaning: str
    fields: tuple[Field, ...]


def describe(db: sqlite3.Connection, specs: Iterable[LayerSpec]) -> None:
    """Write title, unit and meaning of every field present, and register the extension.

    Parameters
    ----------
    db : sqlite3.Connection
        The new GeoPackage; the caller commits.
    specs : iterable of LayerSpec
        Layers the file may hold; tables and columns that are absent are passed over.
    """
    _create(db, "schema", {"gpkg_data_columns": DATA_COLUMNS, "gpkg_data_column_constraints": CONSTRAINTS})
    for spec in specs:
        present = {str(row[1]) for row in db.execute(f'PRAGMA table_info("{spec.name}")')}
        db.executemany(
            "INSERT OR REPLACE INTO gpkg_data_columns VALUES (?,?,?,?,?,NULL,NULL)",
            [
                (spec.name, item.name, item.name, item.heading, _description(item))
                for item in spec.fields
                if item.name in present
            ],
        )


def annotate(db: sqlite3.Connection, about: str) -> None:
    """Say in plain words what the file is, where readers look for it.

    Parameters
    ----------
    db : sqlite3.Connection
        The new GeoPackage; the caller commits.
    about : str
        A few sentences.
    """
    _create(db, "metadata", {"gpkg_metadata": METADATA, "gpkg_metadata_reference": REFERENCE})
    made = db.execute(
        "INSERT INTO gpkg_metadata (md_scope, md_standard_uri, mime_type, metadata) "
        "VALUES ('dataset', ?, 'text/plain', ?)",
        (PLAIN_WORDS, about),
    )
    db.execute(
        "INSERT INTO gpkg_metadata_reference (reference_scope, md_file_id) VALUES ('geopackage', ?)", (made.lastrowid,)
    )


def _create(db: sqlite3.Connection, extension: str, tables: Mapping[str, str]) -> None:
    """Make the tables of an extension and list each in `gpkg_extensions` (requirement 59)."""
    have = {str(row[0]) for row in db.execute("SELECT name FROM sqlite_master WHERE type='table'")}
    for name, sql in tables.items():
        if name not in have:
            db.execute(sql)
        # UNIQUE does not hold NULL column names apart, so look before inserting
        found = db.execute(
            "SELECT count(*) FROM gpkg_extensions WHERE table_name=? AND extension_name=?", (name, f"gpkg_{extension}")
        ).fetchone()[0]
        if not found:
            db.execute(
                "INSERT INTO gpkg_extensions VALUES (?, NULL, ?, ?, 'read-write')",
                (name, f"gpkg_{extension}", DEFINITION.format(extension)),
            )


def _description(item: Field) -> str:
    """Meaning, with the unit in words a reader can search for."""
    return f"{item.meaning} Unit: {item.unit}." if item.unit else item.meaning
