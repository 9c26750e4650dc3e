"""Which column of a parcel file means what: mapped by the user, or guessed from the names county offices use."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence

import geopandas as gpd
import shapely

from wetscout.errors import InputError
from wetscout.settings.people import PeopleSettings

# common practice, no source: names met in county parcel files, letters and digits only, best first
GUESSES: dict[str, tuple[str, ...]] = {
    "parcel": (
        "parcelid", "parcelnumber", "parcelno", "parcelnum", "parcelpin", "parno", "pin", "pinnum", "gispin", "apn",
        "pid", "propid", "propertyid", "taxparcelid", "taxid", "accountno", "altparno", "parcel",
    ),
    "owner": (
        "owner", "ownername", "ownernme1", "owner1", "ownername1", "ownname", "ownname1", "own1", "deedholder",
        "deedname", "currentowner", "ownerfull", "ownrname", "taxpayer", "taxpayername", "grantee", "name",
    ),
    "mail": (
        "mailaddress", "mailingaddress", "mailaddr", "mailadd", "mailaddress1", "mailaddr1", "mailadd1", "mailing",
        "mailingaddress1", "owneraddress", "owneraddr", "ownaddr", "ownaddr1", "owneraddress1", "pstladress",
        "taxpayeraddress", "addr1", "mailstreet", "mail",
    ),
    "city": ("mailcity", "mailingcity", "ownercity", "owncity", "pstlcity", "taxpayercity", "mcity", "city"),
    "state": ("mailstate", "mailingstate", "ownerstate", "ownstate", "pstlstate", "taxpayerstate", "mstate", "state"),
    "zip": (
        "mailzip", "mailzipcode", "mailingzip", "ownerzip", "ownzip", "ownzipcd", "pstlzip5", "taxpayerzip", "mzip",
        "zip", "zipcode", "postalcode",
    ),
}  # fmt: skip
NO_OWNERS = "none"


def check_parcels(given: gpd.GeoDataFrame, settings: PeopleSettings) -> dict[str, str | None]:
    """Say before a long run whether a parcel file can be used, and how its columns are read.

    Parameters
    ----------
    given : GeoDataFrame
        The parcel file as read.
    settings : PeopleSettings
        With the columns the user named.

    Returns
    -------
    dict
        `parcel`, `owner`, `mail`, `city`, `state`, `zip` to a column, or None where there is none.

    Raises
    ------
    InputError
        No parcels, no outlines, no CRS, or no column for owners; the columns found are listed.
    """
    if len(given) == 0:
        raise InputError("parcels: the layer has no rows; give the layer with the parcel polygons")
    kinds = set(shapely.get_type_id(given.geometry.array)) - {-1}
    polygons = {int(shapely.GeometryType.POLYGON), int(shapely.GeometryType.MULTIPOLYGON)}
    if not kinds & (polygons | {int(shapely.GeometryType.GEOMETRYCOLLECTION)}):
        names = sorted(shapely.GeometryType(kind).name.lower() for kind in kinds)
        raise InputError(
            f"parcels: the layer holds {', '.join(names) or 'no outlines'}, not polygons; "
            "give the layer with the parcels' areas"
        )
    if given.crs is None:
        raise InputError("parcels: the layer says no coordinate reference system; for a shapefile add its .prj file")
    columns = find_columns([str(name) for name in given.columns if name != given.geometry.name], settings)
    if columns["owner"] is None and settings.owner_field != NO_OWNERS:
        found = ", ".join(str(name) for name in given.columns if name != given.geometry.name)
        raise InputError(
            f"parcels: no column looks like the owner's name; the file has {found}. "
            'Name it in a settings file: [people] owner_field = "...", or "none" if it names no owners'
        )
    return columns


def find_columns(names: Sequence[str], settings: PeopleSettings) -> dict[str, str | None]:
    """Match the columns of a file with what is wanted.

    Parameters
    ----------
    names : sequence of str
        Columns of the file.
    settings : PeopleSettings
        With the columns the user named.

    Returns
    -------
    dict
        As `check_parcels`.

    Raises
    ------
    InputError
        A column the user named is not there.
    """
    found: dict[str, str | None] = {}
    for what, guesses in GUESSES.items():
        asked = str(getattr(settings, f"{what}_field"))
        if what == "owner" and asked == NO_OWNERS:
            found[what] = None
        elif asked:
            found[what] = _asked(what, asked, names)
        else:
            found[what] = _guess(guesses, names)
    return found


def _asked(what: str, asked: str, names: Sequence[str]) -> str:
    for name in names:
        if name.lower() == asked.lower():
            return name
    near = difflib.get_close_matches(asked, names, 1)
    hint = f"; did you mean {near[0]}?" if near else ""
    raise InputError(
        f"parcels: there is no column {asked}, which the settings name as {what}_field{hint} "
        f"The file has {', '.join(names)}"
    )


def _guess(guesses: Sequence[str], names: Sequence[str]) -> str | None:
    plain = {re.sub(r"[^a-z0-9]", "", name.lower()): name for name in reversed(names)}
    return next((plain[guess] for guess in guesses if guess in plain), None)
