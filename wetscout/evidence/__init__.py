"""Stage 8: what soils and land cover say, on the grid and basin by basin."""

from wetscout.evidence.cover import cover_classes, cover_codes
from wetscout.evidence.soils import check_soils, soil_on_grid
from wetscout.evidence.zones import wet_soil, zone_of

__all__ = ["check_soils", "cover_classes", "cover_codes", "soil_on_grid", "wet_soil", "zone_of"]
