"""Room 1, ingest: from rasters as they come to one clean Terrain in metres, north up, with one mask."""

from __future__ import annotations

from wetscout.ingest.faults import areas_of, flags_of
from wetscout.ingest.load import Sources, load, look
from wetscout.ingest.terrain import from_array, inner_holes

__all__ = ["Sources", "areas_of", "flags_of", "from_array", "inner_holes", "load", "look"]
