"""Sites and basins on ground that no survey saw as it is."""

from __future__ import annotations

from dataclasses import replace

from wetscout.ingest import flags_of
from wetscout.records import Basin, Site, Terrain
from wetscout.settings.ingest import IngestSettings

LOWER = {"high": "medium", "medium": "low"}


def mark_faults(
    sites: tuple[Site, ...], basins: tuple[Basin, ...], terrain: Terrain, s: IngestSettings
) -> tuple[tuple[Site, ...], tuple[Basin, ...]]:
    """Add `survey_flags` to sites and basins; a site that rests on such ground is less sure.

    Parameters
    ----------
    sites : tuple of Site
    basins : tuple of Basin
    terrain : Terrain
    s : IngestSettings
        `fault_told`, `fault_doubt`.

    Returns
    -------
    sites, basins
    """
    marked = []
    for site in sites:
        flags, unseen = flags_of(terrain.faults, site.pool, s.fault_told)
        values = {**site.values, "survey_flags": flags}
        if unseen >= s.fault_doubt or (flags is not None and "step between surveys" in flags):
            sure = str(values.get("confidence"))
            values["confidence"] = LOWER.get(sure, sure)
        marked.append(replace(site, values=values))
    seen = [replace(b, values={**b.values, "survey_flags": _words(terrain, b, s)}) for b in basins]
    return tuple(marked), tuple(seen)


def _words(terrain: Terrain, basin: Basin, s: IngestSettings) -> str | None:
    return flags_of(terrain.faults, basin.pool, s.fault_told)[0]
