"""Rows of the layers along the way of the water."""

from __future__ import annotations

from typing import Any

from wetscout.records_along import Chain

Row = dict[str, Any]


def chain_rows(chain: Chain) -> list[Row]:
    """One row a step: the sites closed by then and what they bring.

    Parameters
    ----------
    chain : Chain

    Returns
    -------
    list of dict
    """
    names = [step.site_id for step in chain.steps]
    return [
        {
            "chain_id": chain.chain_id,
            "sites_n": k + 1,
            "plugs_n": step.plugs_n,
            "site_id": step.site_id,
            "gain_m2": step.gain_m2,
            "sites": ",".join(names[: k + 1]),
        }
        for k, step in enumerate(chain.steps)
    ]


def link_rows(chain: Chain) -> list[Row]:
    """One row a pair of sites of which the upper drains to the lower.

    Parameters
    ----------
    chain : Chain

    Returns
    -------
    list of dict
    """
    levels = ("spill_m", "above_bed_m", "above_today_m", "above_spill_m")
    return [
        {
            "chain_id": chain.chain_id,
            "site_id": link.site_id,
            "above_id": link.above_id,
            "way_m": link.way_m,
            "effect": link.effect,
            **dict(zip(levels, link.levels_m, strict=True)),
        }
        for link in chain.links
    ]
