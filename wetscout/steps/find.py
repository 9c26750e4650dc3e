"""From a terrain to a screen: lines, surfaces, trees, sites, numbers, ranks."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from wetscout import large
from wetscout.basins import fill, tree_of
from wetscout.engine.progress import Progress
from wetscout.linework import find_lines
from wetscout.records import Candidate, Linework, Screen, Site, Terrain
from wetscout.records_covered import Evidence
from wetscout.restore import Builder, cut_shows, natural_channel, too_much_earth
from wetscout.settings import Settings
from wetscout.settings.restore import RestoreSettings
from wetscout.sites import Finder, Found, find_links, note_dammed, note_steps
from wetscout.steps.covered import add_covered
from wetscout.steps.faults import mark_faults
from wetscout.steps.listed import basins_of, id_of, listed_nodes
from wetscout.steps.plan import Plan
from wetscout.surfaces import build_surfaces

EARTH = "closing it takes more earth than it is worth"
HIDDEN = "no cut shows at the rim: an open ditch ends outside, or a trench was closed over a pipe"
CHANNEL = "the way out is wide and its sides are gentle: an old channel, not a ditch"
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


def _worth_it(
    finder: Finder, found: Found, builder: Builder, settings: Settings, plan: Plan
) -> tuple[Found, tuple[Site, ...]]:
    """Sites of the candidates whose plugs are worth their earth, and stand in something dug.

    Where one inside a wider pool is not, the wider one is looked at itself: it may hold much more behind the same plug.
    """
    built: dict[int, tuple[Site, str | None]] = {}

    def build(c: Candidate) -> tuple[Site, str | None]:
        site = builder.site(c, f"s{c.node}", settings.sites.upstream_m)
        return site, _against(site, builder, settings.restore)

    while True:
        new = [c for c in found.candidates if c.node not in built]
        built |= {c.node: one for c, one in zip(new, plan.each(build, new), strict=True)}
        kept = {c.node: built[c.node] for c in found.candidates}
        against = {node: why for node, (_, why) in kept.items() if why}
        if not against:
            return found, tuple(site for site, _ in kept.values())
        found = finder.without(against, plan.each)


def _against(site: Site, builder: Builder, s: RestoreSettings) -> str | None:
    """Why plugs of a site are not worth their earth, or stand in nothing dug."""
    if not cut_shows(site, builder.surfaces, builder.terrain.grid.cell_m, s):
        return HIDDEN
    if natural_channel(site, builder.ditches, builder.terrain, s):
        return CHANNEL
    return EARTH if too_much_earth(site, s) else None


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
    found, sites = _worth_it(finder, found, builder, settings, plan)
    reasons = found.turned_down
    named = {i for i, _ in reasons} | {s.values["_node"] for s in sites}
    listed, around = listed_nodes(tree, found.measures, named, settings.sites)
    basins, not_offered = basins_of(tree, found.measures, listed, around, reasons)
    sites = tuple(replace(s, values={**s.values, "parent_id": id_of(around[s.values["_node"]])}) for s in sites)
    # what is found out about level ground serves both
    far = large.zeros(today.shape, np.uint8)
    sites = find_links(sites, today, (surfaces.natural, surfaces.today), terrain.grid.cell_m, settings.sites, far)
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
