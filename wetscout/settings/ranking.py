"""Tunable numbers of the room `ranking`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RankingSettings:
    """See the metadata of each field for unit, range and source."""
