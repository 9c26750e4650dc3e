"""One row for each owner of a touched parcel."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import pandas as pd

from wetscout.people.groups import Owner
from wetscout.people.tables import OWNER_KINDS, by_gain, total, typed
from wetscout.people.touch import Touch, order
from wetscout.settings.people import PeopleSettings
from wetscout.units import ACRE_M2


def owner_rows(
    found: Sequence[Touch],
    rows: gpd.GeoDataFrame,
    owners: Sequence[Owner | None],
    per_site: pd.DataFrame,
    settings: PeopleSettings,
) -> pd.DataFrame:
    """Fill the table `owners`.

    Parameters
    ----------
    found : sequence of Touch
        Pools on parcels.
    rows : GeoDataFrame
        Cleaned parcels.
    owners : sequence of Owner or None
        Of each row.
    per_site : DataFrame
        Owners and share in parcels of each site.
    settings : PeopleSettings

    Returns
    -------
    DataFrame
        By rank; parcels without a named owner have no row here.
    """
    on: dict[str, list[Touch]] = defaultdict(list)
    who: dict[str, Owner] = {}
    for touch in found:
        owner = owners[touch.row]
        if owner is not None:
            on[owner.owner_id].append(touch)
            who[owner.owner_id] = owner
    pairs = zip(per_site["owners_n"], per_site["parcel_share"].tolist(), strict=True)
    facts = dict(zip(per_site["site_id"], pairs, strict=True))
    made = [_row(who[key], order(here), rows, facts, settings) for key, here in on.items()]
    made.sort(key=lambda row: by_gain(row["gain_m2"], row["best_site_rank"], str(row["owner"]), row["owner_id"]))
    for number, row in enumerate(made, 1):
        row["owner_rank"] = number
    return typed(made, OWNER_KINDS)


def _row(
    owner: Owner,
    here: list[Touch],
    rows: gpd.GeoDataFrame,
    facts: dict[str, tuple[Any, float]],
    settings: PeopleSettings,
) -> dict[str, Any]:
    gain = total([touch.gain_m2 for touch in here])
    places = sorted({touch.row for touch in here})
    numbers = sorted({str(rows["parcel"][place]) for place in places if rows["parcel"][place]})
    sites = list(dict.fromkeys(touch.site_id for touch in here))
    sole = [name for name in sites if facts[name][0] == 1 and facts[name][1] >= settings.whole_share]
    street, town, state, postal = owner.mail
    return {
        "owner_id": owner.owner_id,
        "owner": owner.name,
        "mail_address": street or None,
        "mail_city": town or None,
        "mail_state": state or None,
        "mail_zip": postal or None,
        "parcels_n": len(places),
        "parcel_ids": ", ".join(numbers) or None,
        "sites_n": len(sites),
        "site_ids": ",".join(sites),
        "wet_ac": sum(touch.pool_m2 for touch in here) / ACRE_M2,
        "gain_m2": gain,
        "gain_ac": gain / ACRE_M2,
        "best_site_rank": here[0].rank,
        "sole_sites_n": len(sole),
        "multi_owner": int(any(facts[name][0] > 1 for name in sites)),
        "note": _note(owner),
    }


def _note(owner: Owner) -> str | None:
    said = []
    if owner.spellings > 1:
        said.append(f"{owner.spellings} spellings joined")
    if owner.namesakes:
        said.append("the same name stands at another address too: check whether it is one owner")
    if not owner.mail[0]:
        said.append("no mailing address in the parcel file")
    return "; ".join(said) or None
