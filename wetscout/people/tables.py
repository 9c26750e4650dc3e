"""Columns and orders of the two tables, shared by the modules that fill them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

PARCEL_KINDS = {
    "parcel_id": "object", "parcel_rank": "Int64", "gain_m2": "float64", "gain_ac": "float64", "pool_m2": "float64",
    "sites_n": "Int64", "site_ids": "object", "site_shares": "object", "best_site_rank": "Int64", "owners_n": "Int64",
    "stacked_n": "Int64", "owner_id": "object", "owner": "object", "mail_address": "object", "mail_city": "object",
    "mail_state": "object", "mail_zip": "object",
}  # fmt: skip
OWNER_KINDS = {
    "owner_id": "object", "owner_rank": "Int64", "owner": "object", "mail_address": "object", "mail_city": "object",
    "mail_state": "object", "mail_zip": "object", "parcels_n": "Int64", "parcel_ids": "object", "sites_n": "Int64",
    "site_ids": "object", "wet_ac": "float64", "gain_m2": "float64", "gain_ac": "float64", "best_site_rank": "Int64",
    "sole_sites_n": "Int64", "multi_owner": "Int64", "note": "object",
}  # fmt: skip


def typed(rows: Sequence[Mapping[str, Any]], kinds: Mapping[str, str]) -> pd.DataFrame:
    """Rows as a table with the columns in order and type.

    Parameters
    ----------
    rows : sequence of mapping
        Column to value; None is unknown.
    kinds : mapping of str to str
        Column to dtype.

    Returns
    -------
    DataFrame
    """
    return pd.DataFrame({name: pd.Series([row.get(name) for row in rows], dtype=kind) for name, kind in kinds.items()})


def total(values: Sequence[float]) -> float:
    """Sum of what is known.

    Parameters
    ----------
    values : sequence of float
        NaN where unknown.

    Returns
    -------
    float
        NaN where nothing is known.
    """
    known = [value for value in values if not math.isnan(value)]
    return math.fsum(known) if known else math.nan


def by_gain(gain: float, rank: int | None, name: str, key: str | None) -> tuple[float, float, str, str]:
    """Sorting key: most gain first, unknown last, then best site, then name of the row.

    Parameters
    ----------
    gain : float
        [m2]; NaN where unknown.
    rank : int or None
        Best site's rank.
    name : str
        Tells equals apart.
    key : str or None
        Tells equals of one name apart.

    Returns
    -------
    tuple
    """
    return (math.inf if math.isnan(gain) else -gain, math.inf if rank is None else rank, name, key or "")
