"""Tunable numbers of the room `people`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PeopleSettings:
    """See the metadata of each field for unit, range and source."""
