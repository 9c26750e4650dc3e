"""Whose land the pools lie on: gain for each parcel, owners for each site, one row for each owner."""

from __future__ import annotations

from collections import defaultdict
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd

from wetscout.people.columns import check_parcels
from wetscout.people.ground import clean, stacked
from wetscout.people.groups import Owner, group
from wetscout.people.names import tidy
from wetscout.people.owners import owner_rows
from wetscout.people.tables import PARCEL_KINDS, by_gain, total, typed
from wetscout.people.touch import Touch, order, touches
from wetscout.settings.people import PeopleSettings
from wetscout.units import ACRE_M2

PARTS = ("parcel", "owner", "mail", "city", "state", "zip")


class People(NamedTuple):
    """What a parcel file says about the sites.

    Attributes
    ----------
    parcels : GeoDataFrame
        Layer `parcels`, by rank.
    owners : DataFrame
        Table `owners`, by rank.
    per_site : DataFrame
        `site_id`, `owners_n`, `parcels_n`, `parcel_share` for every site.
    notes : tuple of str
        What was repaired or left out: counts only, never a name.
    """

    parcels: gpd.GeoDataFrame
    owners: pd.DataFrame
    per_site: pd.DataFrame
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        return f"People({len(self.parcels)} parcels, {len(self.owners)} owners)"


def parcels(given: gpd.GeoDataFrame, sites: gpd.GeoDataFrame, settings: PeopleSettings) -> People:
    """Lay the pools over the parcels.

    A site's gain is shared out by the part of its pool that lies on each parcel. Parcels with the very same outline
    (stacked) share their ground evenly, so that no square metre counts twice.

    Parameters
    ----------
    given : GeoDataFrame
        The parcel file as read: any CRS, any column names.
    sites : GeoDataFrame
        Layer `sites`: `site_id`, `rank`, `gain_m2` and the pools.
    settings : PeopleSettings

    Returns
    -------
    People

    Raises
    ------
    InputError
        The file cannot be used; see `check_parcels`.
    """
    columns = check_parcels(given, settings)
    rows, repairs = clean(_standard(given, columns), sites.crs, settings.repair_change)
    owners: list[Owner | None] = [None] * len(rows)
    if columns["owner"] is not None:
        owners = group([tuple(row) for row in rows[["owner", "mail", "city", "state", "zip"]].to_numpy().tolist()])
    found = touches(rows, sites, settings)
    keys = [owner.owner_id if owner else None for owner in owners]
    per_site = _per_site(found, sites, keys, known=columns["owner"] is not None)
    counts = dict(zip(per_site["site_id"], per_site["owners_n"], strict=True))
    layer = _layer(rows, found, owners, counts)
    table = owner_rows(found, rows, owners, per_site, settings)
    return People(layer, table, per_site, (*repairs.notes(), *_notes(rows, found, owners, columns, per_site)))


def add_to_sites(sites: gpd.GeoDataFrame, people: People) -> gpd.GeoDataFrame:
    """Write the number of owners and the share in parcels into the layer `sites`.

    Parameters
    ----------
    sites : GeoDataFrame
        Layer `sites`.
    people : People
        From `parcels`, for the same sites.

    Returns
    -------
    GeoDataFrame
        With `owners_n` and `parcel_share`; the input is left as it was.
    """
    by_site = people.per_site.set_index("site_id")
    result = sites.copy()
    for name in ("owners_n", "parcel_share"):
        result[name] = by_site[name].reindex(result["site_id"]).array
    return result


def _standard(given: gpd.GeoDataFrame, columns: dict[str, str | None]) -> gpd.GeoDataFrame:
    """The columns wanted, as tidy text, under our names."""
    table = {}
    for part in PARTS:
        column = columns[part]
        if column is None:
            table[part] = [""] * len(given)
        else:
            table[part] = [tidy(value) for value in given[column].tolist()]
    if columns["parcel"] is None:
        table["parcel"] = [f"row {number}" for number in range(1, len(given) + 1)]
    return gpd.GeoDataFrame(table, geometry=np.array(given.geometry.array, dtype=object), crs=given.crs)


def _per_site(found: list[Touch], sites: gpd.GeoDataFrame, keys: list[str | None], known: bool) -> pd.DataFrame:
    """Owners and share in parcels of every site; all parcels without a named owner count as one owner more."""
    on: dict[str, list[Touch]] = defaultdict(list)
    for touch in found:
        on[touch.site_id].append(touch)
    names = [str(name) for name in sites["site_id"]]
    return pd.DataFrame(
        {
            "site_id": pd.Series(names, dtype=object),
            "owners_n": pd.array(
                [len({keys[touch.row] for touch in on[name]}) if known and on[name] else None for name in names],
                dtype="Int64",
            ),
            "parcels_n": pd.array([len({touch.row for touch in on[name]}) for name in names], dtype="Int64"),
            "parcel_share": pd.Series(
                [min(1.0, sum(touch.share for touch in on[name])) for name in names], dtype=float
            ),
        }
    )


def _layer(
    rows: gpd.GeoDataFrame, found: list[Touch], owners: list[Owner | None], counts: dict[str, Any]
) -> gpd.GeoDataFrame:
    on: dict[int, list[Touch]] = defaultdict(list)
    for touch in found:
        on[touch.row].append(touch)
    piles = stacked(np.array(rows.geometry.array, dtype=object))
    made = []
    for place, unsorted in on.items():
        here = order(unsorted)
        gain = total([touch.gain_m2 for touch in here])
        owner = owners[place]
        number = [counts[touch.site_id] for touch in here if not pd.isna(counts[touch.site_id])]
        made.append(
            {
                "parcel_id": rows["parcel"][place], "gain_m2": gain, "gain_ac": gain / ACRE_M2,
                "pool_m2": sum(touch.pool_m2 for touch in here), "sites_n": len(here),
                "site_ids": ",".join(touch.site_id for touch in here),
                "site_shares": "; ".join(f"{touch.site_id} {touch.share:.3f}" for touch in here),
                "best_site_rank": here[0].rank, "owners_n": max(number) if number else None,
                "stacked_n": int(piles[place]), "owner_id": owner.owner_id if owner else None,
                "owner": rows["owner"][place] if owner else None,
                **{f"mail_{short}": rows[part][place] or None
                   for short, part in (("address", "mail"), ("city", "city"), ("state", "state"), ("zip", "zip"))},
                "geometry": rows.geometry.iloc[place],
            }
        )  # fmt: skip
    made.sort(key=lambda row: by_gain(row["gain_m2"], row["best_site_rank"], str(row["parcel_id"]), row["owner_id"]))
    for number_, row in enumerate(made, 1):
        row["parcel_rank"] = number_
    return gpd.GeoDataFrame(
        typed(made, PARCEL_KINDS), geometry=np.array([row["geometry"] for row in made], dtype=object), crs=rows.crs
    )


def _notes(
    rows: gpd.GeoDataFrame,
    found: list[Touch],
    owners: list[Owner | None],
    columns: dict[str, str | None],
    per_site: pd.DataFrame,
) -> tuple[str, ...]:
    """What a user should know about the outcome, in counts."""
    touched = {touch.row for touch in found}
    said = []
    if columns["parcel"] is None:
        said.append("parcels: no column looks like a parcel number; rows are numbered instead")
    if columns["owner"] is not None:
        nobody = sum(owners[place] is None for place in touched)
        if nobody:
            said.append(
                f"parcels: {nobody} of {len(touched)} touched parcels name no owner; they are not in the owner list"
            )
        if columns["mail"] is None:
            said.append("parcels: no column looks like a mailing address; owners are told apart by name alone")
    if len(per_site) and not touched:
        low_x, low_y, high_x, high_y = rows.total_bounds if len(rows) else (np.nan,) * 4
        said.append(
            f"parcels: no pool lies on any parcel; the parcels span x {low_x:.0f} to {high_x:.0f}, y {low_y:.0f} to "
            f"{high_y:.0f} in the working coordinate system: is this the right county?"
        )
    shares: dict[str, float] = defaultdict(float)
    for touch in found:
        shares[touch.site_id] += touch.share
    double = sum(share > 1.01 for share in shares.values())
    if double:
        said.append(f"parcels: under {double} pools parcels lie over each other, so gains there count more than once")
    return tuple(said)
