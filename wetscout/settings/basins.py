"""Tunable numbers of the room `basins`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class BasinSettings:
    """See the metadata of each field for unit, range and source."""
