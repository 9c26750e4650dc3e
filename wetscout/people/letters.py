"""The owner list for outreach."""

from __future__ import annotations

from pathlib import Path

from wetscout.errors import InputError
from wetscout.io.geopackage_csv import write_csv
from wetscout.io.geopackage_read import list_layers, read_layer


def owners_csv(result: str | Path, out: str | Path, overwrite: bool = False) -> int:
    """Write the owners of a result as a table for letters: one row each, UTF-8 with BOM, so that spreadsheets open it.

    Parameters
    ----------
    result : str or Path
        GeoPackage of `wetscout screen` run with parcels.
    out : str or Path
        The CSV file.
    overwrite : bool
        Replace an older list.

    Returns
    -------
    int
        Number of owners.

    Raises
    ------
    InputError
        The result has no owners.
    OutputError
        The list cannot be written, or exists already.
    """
    present = list_layers(result)
    if "owners" not in present:
        raise InputError(
            f"{result}: has no table owners (it has {', '.join(present)}); run `wetscout screen` with --parcels FILE, "
            "where FILE names the owners"
        )
    table = read_layer(result, "owners").sort_values("owner_rank", kind="stable")
    write_csv(table, Path(out), overwrite)
    return len(table)
