"""Tunable numbers of the room `ingest`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class IngestSettings:
    """See the metadata of each field for unit, range and source."""
