"""Cuts that do not show at the rim: a trench closed over a pipe, or an open ditch that ends outside."""

from __future__ import annotations

import numpy as np

from wetscout.records import FILL, Site, Surfaces
from wetscout.settings.restore import RestoreSettings

# a cut shows within this distance of its plug; road fill this near hides it [m]
NEAR_M, ROAD_M = 2.0, 4.0


def cut_shows(site: Site, surfaces: Surfaces, cell_m: float, s: RestoreSettings) -> bool:
    """Whether any of a site's cuts shows in the ground where its plug is to stand, or may lie hidden under road fill.

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
        `hidden_cut_m`, `hidden_led_m`, `hidden_cell_m`.

    Returns
    -------
    bool
        True without plugs, and in cells over `hidden_cell_m`, in which most small ditches hardly show.
    """
    if cell_m > s.hidden_cell_m or not site.plugs:
        return True
    least = s.hidden_led_m if site.values["drained_by"] == "ditch under road" else s.hidden_cut_m
    return any(_shows(p.values["_row"], p.values["_col"], surfaces, cell_m, least) for p in site.plugs)


def _shows(row: int, col: int, surfaces: Surfaces, cell_m: float, least_m: float) -> bool:
    """Whether ground near a place lies so far below the natural one, or road fill is there."""
    reach, road = (max(1, round(m / cell_m)) for m in (NEAR_M, ROAD_M))
    box = tuple(slice(max(0, int(k) - reach), int(k) + reach + 1) for k in (row, col))
    depth = surfaces.natural[box] - surfaces.smooth[box]
    if bool((depth >= least_m).any()):
        return True
    box = tuple(slice(max(0, int(k) - road), int(k) + road + 1) for k in (row, col))
    r, c = np.nonzero(surfaces.corridor[box] & FILL)
    away = np.abs(r + box[0].start - int(row)) + np.abs(c + box[1].start - int(col))
    return bool((away <= road).any())
