"""Every number a user may tune: one frozen model, each value with unit, range, meaning and source.

Each stage's part stands in a module of its name; `Settings` holds them all. A settings file (TOML) has one table per
part: `[linework]`, `[surfaces]`, ...
"""

from __future__ import annotations

from dataclasses import dataclass, field

from wetscout.settings.basins import BasinSettings
from wetscout.settings.buried import BuriedSettings
from wetscout.settings.evidence import EvidenceSettings
from wetscout.settings.ingest import IngestSettings
from wetscout.settings.linework import LineworkSettings
from wetscout.settings.people import PeopleSettings
from wetscout.settings.ranking import RankingSettings
from wetscout.settings.restore import RestoreSettings
from wetscout.settings.sites import SiteSettings
from wetscout.settings.surfaces import SurfaceSettings
from wetscout.settings.surroundings import SurroundingSettings

__all__ = ["Settings"]


@dataclass(frozen=True)
class Settings:
    """All parts together; `Settings()` is the default for every run."""

    ingest: IngestSettings = field(default_factory=IngestSettings)
    linework: LineworkSettings = field(default_factory=LineworkSettings)
    surfaces: SurfaceSettings = field(default_factory=SurfaceSettings)
    basins: BasinSettings = field(default_factory=BasinSettings)
    sites: SiteSettings = field(default_factory=SiteSettings)
    surroundings: SurroundingSettings = field(default_factory=SurroundingSettings)
    restore: RestoreSettings = field(default_factory=RestoreSettings)
    evidence: EvidenceSettings = field(default_factory=EvidenceSettings)
    buried: BuriedSettings = field(default_factory=BuriedSettings)
    ranking: RankingSettings = field(default_factory=RankingSettings)
    people: PeopleSettings = field(default_factory=PeopleSettings)
