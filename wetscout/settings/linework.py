"""Tunable numbers of the room `linework`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class LineworkSettings:
    """See the metadata of each field for unit, range and source."""
