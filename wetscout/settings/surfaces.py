"""Tunable numbers of the room `surfaces`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SurfaceSettings:
    """See the metadata of each field for unit, range and source."""
