"""The basin tree: fill levels, nested basins, spill points and catchments from one labelling."""

from __future__ import annotations

from wetscout.basins.filling import fill

__all__ = ["fill"]
