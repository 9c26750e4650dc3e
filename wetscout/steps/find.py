"""From a terrain to a screen: lines, surfaces, trees, sites, numbers, ranks."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from wetscout import large
from wetscout.basins import fill, tree_of
from wetscout.engine.progress import Progress
from wetscout.linework import find_lines
from wetscout.records import Basin, Linework, Screen, Site, Surfaces, Terrain, Tree
from wetscout.records_covered import Evidence
from wetscout.restore import Builder, too_much_earth
from wetscout.settings import Settings
from wetscout.sites import Finder, Found, find_links, note_dammed, note_steps
from wetscout.steps.covered import add_covered
from wetscout.steps.faults import mark_faults
from wetscout.steps.plan import Plan
from wetscout.surfaces import build_surfaces

# usual share of the time: between invented open ground (lines 6, surfaces 4, sites 4, covered drains 2.5) and the Dutch
# set at 2 m (12, 2.6, 8, 5), seconds of a run with two threads, November 2026
STAGES = {
    "ditches and embankments": 9.0,
    "ground of today and natural ground": 3.2,
    "basins": 0.6,
    "sites": 6.0,
    "covered drains": 3.7,
}


def find_screen(
    terrain: Terrain,
    settings: Settings,
    progress: Progress,
    plan: Plan,
    given: Linework | None = None,
    evidence: Evidence | None = None,
) -> Screen:
    """Find everything in one terrain.

    Parameters
    ----------
    terrain : Terrain
    settings : Settings
    progress : Progress
    plan : Plan
    given : Linework, optional
        Roads and culverts of the user's, beside what is found.
    evidence : Evidence, optional
        Soils and land cover on the terrain's grid.

    Returns
    -------
    Screen
    """
    progress.stage("ditches and embankments")
    lines = plan.lines(
        lambda: find_lines(terrain, settings.linework, partial(plan.windows, terrain.z.shape), plan.each)
    )
    if given is not None:
        lines = replace(
            lines, embankments=lines.embankments + given.embankments, crossings=lines.crossings + given.crossings
        )
    screen = screen_lines(terrain, lines, settings, progress, plan)
    progress.stage("covered drains")
    return add_covered(screen, settings, evidence, plan)


def screen_lines(terrain: Terrain, lines: Linework, settings: Settings, progress: Progress, plan: Plan) -> Screen:
    """Everything after the lines are known, but for covered drains.

    Parameters
    ----------
    terrain : Terrain
    lines : Linework
    settings : Settings
    progress : Progress
    plan : Plan

    Returns
    -------
    Screen
    """
    progress.stage("ground of today and natural ground")
    surfaces = build_surfaces(terrain, lines, settings.surfaces, plan.run)
    progress.stage("basins")
    tree = tree_of(
        surfaces.natural,
        terrain.hole,
        cell_m=terrain.grid.cell_m,
        min_depth_m=settings.sites.persistence_m,
        workers=plan.workers,
    )
    today, cautious = fill(surfaces.today), fill(surfaces.cautious)
    progress.stage("sites")
    finder = Finder(terrain, surfaces, lines, tree, settings.sites, settings.surroundings)
    found = finder.run(today, cautious, plan.each)
    builder = Builder(terrain, surfaces, today, {d.ditch_id: d for d in lines.ditches}, settings.restore)
    sites = tuple(
        plan.each(
            lambda p: builder.site(p[1], f"s{p[0]}", settings.sites.upstream_m), enumerate(found.candidates, start=1)
        )
    )
    sites = _with_parents(sites, tree)
    heavy = {s.site_id for s in sites if too_much_earth(s, settings.restore)}
    basins, not_offered = _basins(surfaces, tree, found, {s.values["_node"] for s in sites if s.site_id in heavy})
    sites = tuple(s for s in sites if s.site_id not in heavy)
    # what is found out about level ground serves both
    far = large.zeros(today.shape, np.uint8)
    sites = find_links(sites, today, terrain.grid.cell_m, settings.sites, far)
    sites = note_dammed(sites, found.network, today, terrain.grid.cell_m, settings.sites)
    sites, basins = mark_faults(sites, basins, terrain, settings.ingest)
    sites = note_steps(sites, lines.bed_steps, today, terrain.grid.cell_m, settings.sites, far)
    counts = {
        "natural_basins": len(basins),
        "sites": len(sites),
        "not_offered": len(not_offered),
        "basins_too_wide": found.too_wide,
        "ditches": sum(d.sure for d in lines.ditches),
        "lines_for_surfaces_only": sum(not d.sure for d in lines.ditches),
        "crossings": len(lines.crossings),
        "head_cuts": len(lines.bed_steps),
        "noise_m": terrain.noise_m,
    }
    return Screen(terrain, lines, sites, basins, not_offered, {"counts": counts}, surfaces, tree)


def _with_parents(sites: tuple[Site, ...], tree: Tree) -> tuple[Site, ...]:
    """Name the enclosing natural basin of each site."""
    parent = tree.table["parent"].to_numpy()
    out = []
    for site in sites:
        above = int(parent[site.values["_node"]])
        out.append(replace(site, values={**site.values, "parent_id": None, "_parent_node": above}))
    return tuple(out)


def _basins(
    surfaces: Surfaces, tree: Tree, found: Found, heavy: set[int]
) -> tuple[tuple[Basin, ...], tuple[Basin, ...]]:
    """All natural basins above the size limits, and the cut ones that are not offered."""
    m = found.measures
    # columns once: a cell of a pandas table takes 10 microseconds, and a county has a million basins
    names = ("area_m2", "volume_m3", "edge", "parent", "spill_row", "spill_col")
    area, volume, edge, parent, spill_row, spill_col = (tree.table[name].tolist() for name in names)
    basins = {}
    for i in np.flatnonzero(m.looked).tolist():
        values = {
            "rim": "cut" if m.cut[i] else "whole" if m.whole[i] else "partly cut",
            "spill_m": float(m.spill[i]),
            "today_m": float(m.today[i]),
            "depth_max_m": float(m.spill[i] - m.floor[i]),
            "pool_m2": float(area[i]),
            "volume_m3": float(volume[i]),
            "edge": int(edge[i]),
            "_node": i,
            "_parent_node": int(parent[i]),
            "_floor_row": int(m.floor_at[i, 0]),
            "_floor_col": int(m.floor_at[i, 1]),
            "_spill_row": int(spill_row[i]),
            "_spill_col": int(spill_col[i]),
        }
        basins[i] = Basin(f"b{i}", tree.pool_later(i), values)  # type: ignore[attr-defined]
    reasons = [*found.turned_down, *((i, "closing it takes more earth than it is worth") for i in sorted(heavy))]
    down = tuple(replace(basins[i], reason=why) for i, why in reasons if i in basins)
    return tuple(basins.values()), down
