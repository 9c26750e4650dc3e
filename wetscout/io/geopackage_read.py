"""Read a result: its layers, its tables, and one number that stands for all its content."""

from __future__ import annotations

import contextlib
import hashlib
import sqlite3
import struct
from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio

from wetscout.errors import InputError

# bytes of the envelope for each indicator (OGC 12-128r19, 2.1.3.1.1, table 5)
_ENVELOPE = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}


def list_layers(path: str | Path) -> tuple[str, ...]:
    """Layers and tables of a GeoPackage, in the order in which they were written.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    tuple of str

    Raises
    ------
    InputError
        No such file, or not a GeoPackage.
    """
    with connect(path) as db:
        rows = db.execute("SELECT table_name FROM gpkg_contents ORDER BY rowid").fetchall()
    return tuple(str(row[0]) for row in rows)


@contextlib.contextmanager
def connect(path: str | Path) -> Iterator[sqlite3.Connection]:
    """Open a GeoPackage with plain sqlite, for reading only.

    Parameters
    ----------
    path : str or Path
        The file.

    Yields
    ------
    sqlite3.Connection

    Raises
    ------
    InputError
        No such file, or not a GeoPackage.
    """
    place = Path(path)
    if not place.is_file():
        raise InputError(f"{place}: there is no such file; give a result of `wetscout screen`")
    db = sqlite3.connect(f"{place.resolve().as_uri()}?mode=ro", uri=True)
    try:
        try:
            db.execute("SELECT count(*) FROM gpkg_contents")
        except sqlite3.DatabaseError as error:
            raise InputError(f"{place}: is not a GeoPackage ({error}); give a result of `wetscout screen`") from error
        yield db
    finally:
        db.close()


def read_layer(path: str | Path, name: str) -> pd.DataFrame:
    """Read one layer.

    Parameters
    ----------
    path : str or Path
        The file.
    name : str
        Layer or table.

    Returns
    -------
    DataFrame
        A GeoDataFrame where the layer has a geometry; whole numbers that may be unknown as `Int64`.

    Raises
    ------
    InputError
        The file has no such layer; those it has are named.
    """
    present = list_layers(path)
    if name not in present:
        raise InputError(f"{path}: has no layer {name}; it has {', '.join(present)}")
    with connect(path) as db:
        kinds = {str(row[1]): str(row[2]) for row in db.execute(f'PRAGMA table_info("{name}")')}
    table = pyogrio.read_dataframe(path, layer=name)
    for column, kind in kinds.items():
        if column in table.columns and kind in ("INTEGER", "MEDIUMINT"):
            table[column] = table[column].astype("Int64")
        elif column in table.columns and kind.startswith("TEXT"):
            # one kind of missing, whatever the pandas version calls it
            table[column] = table[column].astype(object).where(table[column].notna(), None)
    return table if isinstance(table, gpd.GeoDataFrame) else pd.DataFrame(table)


def digest(path: str | Path, skip: tuple[str, ...] = ("run",)) -> str:
    """One number for all the content of a result: equal content, equal number.

    Geometries count by their WKB, values to the last bit, in the order of the rows; times of writing do not.

    Parameters
    ----------
    path : str or Path
        The file.
    skip : tuple of str
        Layers left out; `run` holds timings and paths.

    Returns
    -------
    str
        64 hexadecimal digits (SHA-256).
    """
    total = hashlib.sha256()
    with connect(path) as db:
        names = sorted(str(row[0]) for row in db.execute("SELECT table_name FROM gpkg_contents"))
        for name in names:
            if name not in skip:
                _digest_table(db, name, total)
    return total.hexdigest()


def _digest_table(db: sqlite3.Connection, name: str, total: hashlib._Hash) -> None:
    info = db.execute(f'PRAGMA table_info("{name}")').fetchall()
    columns = [str(row[1]) for row in info if not row[5]]
    kinds = [str(row[2]) for row in info if not row[5]]
    total.update(repr((name, columns, kinds)).encode())
    shape = {
        str(row[0]) for row in db.execute("SELECT column_name FROM gpkg_geometry_columns WHERE table_name=?", (name,))
    }
    chosen = ",".join(f'"{column}"' for column in columns)
    for row in db.execute(f'SELECT {chosen} FROM "{name}" ORDER BY rowid'):
        for column, value in zip(columns, row, strict=True):
            total.update(_bytes(wkb(value) if column in shape and value is not None else value))


def _bytes(value: object) -> bytes:
    """A value with its kind and length, so that no two rows run into each other."""
    if isinstance(value, float):
        body = struct.pack("<d", value)
    elif isinstance(value, bytes):
        body = value
    else:
        body = repr(value).encode()
    return f"{type(value).__name__}{len(body)}:".encode() + body


def wkb(blob: bytes) -> bytes:
    """Well-known binary inside a GeoPackage geometry.

    Parameters
    ----------
    blob : bytes
        As stored (OGC 12-128r19, 2.1.3).

    Returns
    -------
    bytes

    Raises
    ------
    InputError
        The blob does not begin as the standard says.
    """
    if blob[:2] != b"GP" or len(blob) < 8:
        raise InputError("a geometry does not begin with GP: the file is not a GeoPackage's")
    return blob[8 + _ENVELOPE[(blob[3] >> 1) & 7] :]
