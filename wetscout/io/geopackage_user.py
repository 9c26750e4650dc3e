"""Tables that belong to the user: carried from the old file to the new one with plain sqlite."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

_OURS = ("gpkg_", "rtree_", "sqlite_")


def tables(db: sqlite3.Connection) -> set[str]:
    """Names of the tables a person would call tables.

    Parameters
    ----------
    db : sqlite3.Connection
        A GeoPackage.

    Returns
    -------
    set of str
        Without those of the standard and of sqlite itself.
    """
    names = {str(row[0]) for row in db.execute("SELECT name FROM sqlite_master WHERE type='table'")}
    return {name for name in names if not name.lower().startswith(_OURS)}


def carry_over(old: sqlite3.Connection, new: sqlite3.Connection, keep: Sequence[str]) -> tuple[str, ...]:
    """Copy the user's tables, with their index and their entry in the contents.

    Parameters
    ----------
    old, new : sqlite3.Connection
        From and to; the caller commits.
    keep : sequence of str
        Names; those that are absent, have a geometry, or that the new file has by itself are passed over.

    Returns
    -------
    tuple of str
        Names of the tables copied.
    """
    # a file with tables only need not have the table of geometries
    shapes = old.execute("SELECT 1 FROM sqlite_master WHERE name='gpkg_geometry_columns'").fetchone()
    listed = old.execute("SELECT table_name FROM gpkg_geometry_columns") if shapes else ()
    spatial = {str(row[0]) for row in listed}
    have, present = tables(new), tables(old)
    names = tuple(name for name in keep if name in present and name not in have and name not in spatial)
    for name in names:
        _copy(old, new, name)
    return names


def left_out(old: sqlite3.Connection, new: sqlite3.Connection) -> tuple[str, ...]:
    """Tables of the old file that the new one does not have.

    Parameters
    ----------
    old, new : sqlite3.Connection
        The two files.

    Returns
    -------
    tuple of str
        Sorted.
    """
    return tuple(sorted(tables(old) - tables(new)))


def _copy(old: sqlite3.Connection, new: sqlite3.Connection, name: str) -> None:
    quoted = _quote(name)
    made = old.execute(
        "SELECT sql FROM sqlite_master WHERE tbl_name=? AND sql IS NOT NULL ORDER BY type='table' DESC, name", (name,)
    ).fetchall()
    new.execute(str(made[0][0]))
    cursor = old.execute(f"SELECT * FROM {quoted}")
    marks = ",".join("?" * len(cursor.description))
    new.executemany(f"INSERT INTO {quoted} VALUES ({marks})", cursor)
    # indexes and triggers after the rows, so that no trigger fires for a copy
    for (sql,) in made[1:]:
        new.execute(str(sql))
    entry = old.execute(
        "SELECT table_name, data_type, identifier, description, last_change, srs_id FROM gpkg_contents "
        "WHERE lower(table_name)=lower(?)",
        (name,),
    ).fetchone()
    if entry is None:
        entry = (name, "attributes", name, "Kept by the user", None, None)
    new.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id) "
        "VALUES (?,?,?,?,coalesce(?, strftime('%Y-%m-%dT%H:%M:%fZ','now')),?)",
        entry,
    )
    _copy_meanings(old, new, name)


def _copy_meanings(old: sqlite3.Connection, new: sqlite3.Connection, name: str) -> None:
    """Field titles of the user's table, and GDAL's row count where the old file had one."""
    have = {str(row[0]) for row in old.execute("SELECT name FROM sqlite_master WHERE type='table'")}
    if "gpkg_data_columns" in have:
        rows = old.execute(
            "SELECT table_name, column_name, name, title, description FROM gpkg_data_columns WHERE table_name=?",
            (name,),
        ).fetchall()
        new.executemany("INSERT INTO gpkg_data_columns VALUES (?,?,?,?,?,NULL,NULL)", rows)
    if (
        "gpkg_ogr_contents" in have
        and old.execute("SELECT 1 FROM gpkg_ogr_contents WHERE lower(table_name)=lower(?)", (name,)).fetchone()
    ):
        new.execute(f"INSERT OR REPLACE INTO gpkg_ogr_contents SELECT ?, count(*) FROM {_quote(name)}", (name,))


def _quote(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
