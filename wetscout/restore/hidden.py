"""Cuts that do not show at the rim: a trench closed over a pipe, or an open ditch that ends outside."""

from __future__ import annotations

import numpy as np

from wetscout.records import FILL, Plug, Site, Surfaces
from wetscout.settings.restore import RestoreSettings

# a cut shows within this distance of its plug; road fill this near hides it [m]
NEAR_M, ROAD_M = 2.0, 4.0


def cut_shows(site: Site, surfaces: Surfaces, cell_m: float, s: RestoreSettings) -> bool:
    """Whether any of a site's cuts shows in the ground at the rim or along its plug, or may lie hidden under road fill.

    A plug may be shifted along the ditch from the rim to where it holds, 10 m and more.

    What backfill leaves over a pipe is a trough of 0.15 m at most (common practice, no source); 0.05 m more are left to
    noise and to the level carried across. A pipe beneath a road ends in ditches of their full depth.

    Parameters
    ----------
    site : Site
    surfaces : Surfaces
        `natural`, `smooth` and `corridor`.
    cell_m : float
        [m].
    s : RestoreSettings
        `hidden_cut_m`, `hidden_led_m`, `sides_cell_m`.

    Returns
    -------
    bool
        True without plugs, and in cells over `sides_cell_m`, in which most small ditches hardly show.
    """
    if cell_m > s.sides_cell_m or not site.plugs:
        return True
    least = s.hidden_led_m if site.values["drained_by"] == "ditch under road" else s.hidden_cut_m
    return any(_by_road(p, surfaces, cell_m) or _shows(p, surfaces, cell_m, least) for p in site.plugs)


def _shows(plug: Plug, surfaces: Surfaces, cell_m: float, least_m: float) -> bool:
    """Whether ground at the rim or along a plug lies so far below the natural one."""
    n = int(np.ceil(np.hypot(np.diff(plug.row), np.diff(plug.col)).sum())) + 1
    at = np.linspace(0, plug.row.size - 1, n)
    line = (np.rint(np.interp(at, np.arange(plug.row.size), x)).astype(int).tolist() for x in (plug.row, plug.col))
    places = [_rim(plug), *zip(*line, strict=True)]
    boxes = (_around(place, NEAR_M, cell_m) for place in places)
    return any(bool((surfaces.natural[box] - surfaces.smooth[box] >= least_m).any()) for box in boxes)


def _by_road(plug: Plug, surfaces: Surfaces, cell_m: float) -> bool:
    """Whether road fill lies at the rim, so many steps along rows and columns away at most."""
    row, col = _rim(plug)
    box = _around((row, col), ROAD_M, cell_m)
    r, c = np.nonzero(surfaces.corridor[box] & FILL)
    away = np.abs(r + box[0].start - row) + np.abs(c + box[1].start - col)
    return bool((away * cell_m <= ROAD_M).any())


def _rim(plug: Plug) -> tuple[int, int]:
    return int(plug.values["_row"]), int(plug.values["_col"])


def _around(place: tuple[int, int], reach_m: float, cell_m: float) -> tuple[slice, slice]:
    """Rows and columns around a place, as far as the raster goes."""
    reach = max(1, round(reach_m / cell_m))
    rows, cols = (slice(max(0, k - reach), max(0, k + reach + 1)) for k in place)
    return rows, cols
