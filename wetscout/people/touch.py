"""Which pools lie on which parcels, and with what share."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wetscout.people.ground import stacked
from wetscout.settings.people import PeopleSettings


@dataclass(frozen=True)
class Touch:
    """One pool on one parcel.

    Attributes
    ----------
    site_id : str
    rank : int or None
        The site's.
    row : int
        Parcel, as row of the cleaned table.
    pool_m2 : float
        Pool on the parcel, its part of it where parcels are stacked [m2].
    share : float
        Of the whole pool, 0 to 1.
    gain_m2 : float
        The site's gain by this share [m2]; NaN where the gain is unknown.
    """

    site_id: str
    rank: int | None
    row: int
    pool_m2: float
    share: float
    gain_m2: float


def touches(rows: gpd.GeoDataFrame, sites: gpd.GeoDataFrame, settings: PeopleSettings) -> list[Touch]:
    """Lay pools over parcels.

    Parameters
    ----------
    rows : GeoDataFrame
        Cleaned parcels, in the CRS of the sites.
    sites : GeoDataFrame
        Layer `sites`.
    settings : PeopleSettings

    Returns
    -------
    list of Touch
        By site in the order given, then by row.
    """
    if len(rows) == 0 or len(sites) == 0:
        return []
    land = np.array(rows.geometry.array, dtype=object)
    pools = np.array(sites.geometry.array, dtype=object)
    piles = stacked(land)
    unit = _unit_m2(sites)
    gains, ranks = _numbers(sites, "gain_m2"), _numbers(sites, "rank")
    pairs = shapely.STRtree(land).query(pools, predicate="intersects")
    found = []
    for site, row in sorted(zip(pairs[0].tolist(), pairs[1].tolist(), strict=True)):
        whole = float(shapely.area(pools[site])) * unit
        on = float(shapely.area(shapely.intersection(pools[site], land[row]))) * unit
        # a pool smaller than the limit still counts where most of it lies
        if on <= 0 or on < min(settings.touch_m2, 0.5 * whole):
            continue
        share = on / whole / piles[row]
        rank = None if math.isnan(ranks[site]) else int(ranks[site])
        name = str(sites["site_id"].iloc[site])
        found.append(Touch(name, rank, row, on / float(piles[row]), float(share), float(gains[site] * share)))
    return found


def order(found: Iterable[Touch]) -> list[Touch]:
    """Best site first.

    Parameters
    ----------
    found : iterable of Touch

    Returns
    -------
    list of Touch
    """
    return sorted(found, key=lambda touch: (math.inf if touch.rank is None else touch.rank, touch.site_id, touch.row))


def _numbers(sites: gpd.GeoDataFrame, name: str) -> list[float]:
    if name not in sites.columns:
        return [math.nan] * len(sites)
    return [math.nan if pd.isna(value) else float(value) for value in sites[name]]


def _unit_m2(sites: gpd.GeoDataFrame) -> float:
    """Square metres in one square unit of the CRS."""
    if sites.crs is None:
        return 1.0
    return float(sites.crs.axis_info[0].unit_conversion_factor) ** 2
