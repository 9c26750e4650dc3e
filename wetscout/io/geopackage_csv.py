"""Tables of a result as CSV for office programs."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

import pandas as pd

from wetscout.errors import OutputError

# a cell that begins so is run as a formula by spreadsheets; names come from other people's files
_FORMULA = ("=", "+", "-", "@", "\t")


def write_csv(table: pd.DataFrame, path: Path, overwrite: bool = False) -> None:
    """Write a table as CSV: UTF-8 with BOM, comma, one line a row, whole or not at all.

    Parameters
    ----------
    table : DataFrame
        Any columns; unknown becomes an empty cell.
    path : Path
        The file.
    overwrite : bool
        Replace an older file.

    Raises
    ------
    OutputError
        The file exists, or cannot be written.
    """
    if path.exists() and not overwrite:
        raise OutputError(f"{path}: exists already; give --overwrite to replace it, or another name with --out")
    tidy = table.copy()
    for name in tidy.columns:
        if tidy[name].dtype == object:
            tidy[name] = tidy[name].map(_cell)
    part = path.with_name(f".{path.name[:100]}.{os.getpid()}.part")
    try:
        tidy.to_csv(part, index=False, encoding="utf-8-sig", lineterminator="\r\n")
        part.replace(path)
    except OSError as error:
        raise OutputError(
            f"{path}: could not be written ({error.strerror}); close the program that has it open, "
            "or give another folder"
        ) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def _cell(value: object) -> object:
    """One line, and never a formula."""
    if not isinstance(value, str):
        return value
    text = " ".join(value.split())
    return "'" + text if text.startswith(_FORMULA) else text
