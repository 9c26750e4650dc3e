"""Pools that are the bed of a road: most of their water stands between two ditches that keep an even distance."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from wetscout.records import CUT, F64, Candidate, Surfaces
from wetscout.settings.sites import SiteSettings
from wetscout.sites.network import Network

# lines nearer to each other than this are two traces of one ditch [m]
NEAREST_M = 5.0
# ditches are followed so far around a pool [m]
AROUND_M = 60.0
# so many places of a pool are asked
PLACES = 500
# between two lines: both distances together are no longer than their distance, but for so much of it and so much [m]
BETWEEN, OFF_M = 1.1, 1.0


def road_share(c: Candidate, surfaces: Surfaces, network: Network, cell_m: float, s: SiteSettings) -> float:
    """Share of the water over undug ground of a pool that stands between the two ditches of one road.

    Parameters
    ----------
    c : Candidate
    surfaces : Surfaces
    network : Network
    cell_m : float
        [m].
    s : SiteSettings
        `road_gap_m`, `road_even_m`, `road_run_m`, `road_share`.

    Returns
    -------
    float
        0-1; 0 where no two listed ditches run side by side around most of the water.
    """
    places, water = _places(c, surfaces)
    if not water.size or water.sum() <= 0.0:
        return 0.0
    beside = []
    for line in _lines_near(c, network, cell_m, s):
        away = cKDTree(line).query(places)[0] * cell_m
        if water[away <= s.road_gap_m].sum() >= s.road_share * water.sum():
            beside.append((line, away))
    best = 0.0
    for i, (line, away) in enumerate(beside):
        for other, far in beside[:i]:
            gap = _even_gap(line, other, cell_m, s)
            within = away + far <= BETWEEN * gap + OFF_M
            best = max(best, float(water[within].sum() / water.sum()))
    return best


def _places(c: Candidate, surfaces: Surfaces) -> tuple[F64, F64]:
    """Undug cells of the pool, some hundred of them, and how deep the water stands over each [m]."""
    h, w = c.pool.mask.shape
    box = (slice(c.pool.row0, c.pool.row0 + h), slice(c.pool.col0, c.pool.col0 + w))
    rows, cols = np.nonzero(c.pool.mask & ((surfaces.corridor[box] & CUT) == 0))
    every = max(1, rows.size // PLACES)
    rows, cols = rows[::every], cols[::every]
    depth = np.clip(c.spill_m - surfaces.natural[box][rows, cols].astype(np.float64), 0.0, None)
    return np.column_stack([rows + c.pool.row0, cols + c.pool.col0]).astype(np.float64), depth


def _lines_near(c: Candidate, network: Network, cell_m: float, s: SiteSettings) -> list[F64]:
    """Stations around a pool of the listed lines that are long enough there, (n, 2) each [cells]."""
    pad = round(AROUND_M / cell_m)
    h, w = c.pool.mask.shape
    window = np.ones((h + 2 * pad, w + 2 * pad), dtype=np.bool_)
    near = network.stations_in(window, c.pool.row0 - pad, c.pool.col0 - pad)
    ditches = network.ditches
    kept = [(ditches[j], at) for j, at in near.items() if ditches[j].sure and at.size * cell_m >= s.road_run_m]
    return [np.column_stack([d.row[at], d.col[at]]) for d, at in kept]


def _even_gap(line: F64, other: F64, cell_m: float, s: SiteSettings) -> float:
    """Distance of two lines that run side by side [m]; 0 where it changes, or is not a road's."""
    gap, at = cKDTree(other).query(line)
    # beyond the end of the other line the distance is not across
    gap = gap[(at > 0) & (at < len(other) - 1)] * cell_m
    if gap.size * cell_m < s.road_run_m:
        return 0.0
    middle = float(np.median(gap))
    even = np.count_nonzero(np.abs(gap - middle) <= s.road_even_m * max(cell_m, 1.0)) * cell_m
    return middle if even >= s.road_run_m and NEAREST_M <= middle <= s.road_gap_m else 0.0
