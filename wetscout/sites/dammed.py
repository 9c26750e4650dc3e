"""Ditches from above that the plugs of a site stand in: their water has to go somewhere, too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from wetscout.records import BOOL, F32, F64, Plug, Site
from wetscout.settings.sites import SiteSettings
from wetscout.sites.enters import ENTER_M, rise_outwards
from wetscout.sites.network import Network

# a line is looked for so near to a plug [m]
NEAR_M = 4.0
# lines are drawn on past the place where they meet: one that joins nearer to the plug may join below it [m]
CLEAR_M = 6.0


def note_dammed(
    sites: Sequence[Site], network: Network, filled_today: F32, cell_m: float, s: SiteSettings
) -> tuple[Site, ...]:
    """Note where a plug dams a ditch that brings water from above without entering the pool.

    Where a ditch joins the drain of a pool at its rim, or runs along it, a plug may stand across that ditch or below
    the place where both meet.

    Parameters
    ----------
    sites : sequence of Site
    network : Network
    filled_today : float32 (rows, cols)
        Today's surface, depressions raised to their spill levels [m].
    cell_m : float
        [m].
    s : SiteSettings
        `upstream_m`.

    Returns
    -------
    tuple of Site
        The drain passes through where more than `upstream_m` of ditch comes to its plugs.
    """

    def noted(site: Site) -> Site:
        if site.values["drain_position"] != "starts here":
            return site
        above = _dammed(site, network, filled_today, cell_m)
        if above <= s.upstream_m:
            return site
        known = float(site.values.get("upstream_ditch_m") or 0.0)
        values = {"drain_position": "passes through", "upstream_ditch_m": max(known, above)}
        return replace(site, values={**site.values, **values})

    return tuple(noted(site) for site in sites)


def _dammed(site: Site, network: Network, filled_today: F32, cell_m: float) -> float:
    """Ditch length that comes to the plugs of a site from above, but for what lies in its pool [m]."""
    own = network.stations_in(site.pool.mask, site.pool.row0, site.pool.col0)
    # what only grazes the pool was not counted as coming in
    own = {j: at for j, at in own.items() if at.size * cell_m >= ENTER_M}
    counted: set[int] = set()
    above, clear = 0.0, round(CLEAR_M / cell_m)
    for plug in site.plugs:
        for j, k in _crossed(plug, network, cell_m):
            ditch = network.ditches[j]
            if j in counted or not ditch.sure:
                continue
            counted.add(j)
            if j in own:
                # by that line it drains, or water comes in, which was told before; others may join it before the plug
                low, high = sorted((k, int(own[j][np.abs(own[j] - k).argmin()])))
                low, high = (low, high - clear) if high == k else (low + clear, high)
                sides = [i for i, at in network.into[j] if low <= at <= high and i not in own and i not in counted]
                counted.update(sides)
                above += network.length_above([(i, network.ditches[i].row.size - 1) for i in sides], set(own) | {j})
                continue
            up, down = np.arange(k, -1, -1), np.arange(k, ditch.row.size)
            if rise_outwards(ditch, up, filled_today, cell_m)[0] > 0.0:
                above += network.length_above([(j, k)], set(own))
            if rise_outwards(ditch, down, filled_today, cell_m)[0] > 0.0:
                above += float(np.hypot(np.diff(ditch.row[down]), np.diff(ditch.col[down])).sum()) * cell_m
    return above


def _crossed(plug: Plug, network: Network, cell_m: float) -> list[tuple[int, int]]:
    """Lines that the line of a plug crosses, and at which of their stations."""
    if network.tree is None:
        return []
    row, col = plug.row, plug.col
    n = max(2, int(np.ceil(np.hypot(np.diff(row), np.diff(col)).sum())) + 1)
    at = np.linspace(0, row.size - 1, n)
    points = np.column_stack([np.interp(at, np.arange(row.size), x) for x in (row, col)])
    near = {k for some in network.tree.query_ball_point(points, NEAR_M / cell_m) for k in some}
    found = []
    for j in sorted({int(network.index[k]) for k in near}):
        stations = np.sort([k - network.start[j] for k in near if network.index[k] == j])
        ditch = network.ditches[j]
        run = np.arange(max(0, stations[0] - 1), min(ditch.row.size, stations[-1] + 2))
        cut = _meets((ditch.row[run], ditch.col[run]), (row, col))
        if cut.any():
            found.append((j, int(run[int(cut.argmax())])))
    return found


def _meets(line: tuple[F64, F64], other: tuple[F64, F64]) -> BOOL:
    """Whether each piece of a line crosses a piece of another."""
    stations = np.column_stack(line)
    pieces = shapely.linestrings(np.stack([stations[:-1], stations[1:]], axis=1))
    crossed: BOOL = np.asarray(shapely.intersects(pieces, shapely.linestrings(np.column_stack(other))))
    return crossed
