"""Tunable numbers of the room `restore`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RestoreSettings:
    """See the metadata of each field for unit, range and source."""
