"""Tunable numbers of the room `sites`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SiteSettings:
    """See the metadata of each field for unit, range and source."""
