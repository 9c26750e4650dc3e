"""Names and ranks: ids that last over re-runs, then the order of sites."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from wetscout.outputs import ScreenResult, assign_ids, open_screen
from wetscout.ranking import rank
from wetscout.records import Screen
from wetscout.settings import Settings
from wetscout.sites import join_chains


def name_and_rank(screen: Screen, settings: Settings, older: ScreenResult | None = None) -> Screen:
    """Give sites, plugs and basins their ids, put rows of sites in order, then rank the sites.

    Parameters
    ----------
    screen : Screen
    settings : Settings
    older : ScreenResult, optional
        An older result of the same ground: its ids pass to the same places.

    Returns
    -------
    Screen
        Sites in rank order.
    """
    if older is None:
        named, _ = assign_ids(screen)
    else:
        named, _ = assign_ids(screen, older.sites, older.plugs)
    sites, chains = named.sites, named.chains
    if named.surfaces is not None:
        sites, chains = join_chains(sites, named.surfaces.natural, named.terrain.grid.cell_m2, settings.sites)
    return replace(named, sites=rank(sites, settings.ranking), chains=chains)


def older_result(out: Path, overwrite: bool) -> ScreenResult | None:
    """An older result at the target, if it is to be replaced and can be read.

    Parameters
    ----------
    out : Path
    overwrite : bool

    Returns
    -------
    ScreenResult or None
    """
    return open_screen(out) if overwrite and out.exists() else None
