"""A maker of invented landscapes that are surveyed like real ones, by a stranger to the tool and the makers before it.

Ground comes from what laid it (ice, melt water, waves, wind, a wandering river), then water cuts, mud settles and
soil creeps. Ditches, roads, farming and weeds follow. An invented aircraft then scatters last returns over it in
strips, thin in woods and crops and swallowed by water and weeds, and the returns are gridded as public surveys are.
The answer is the flooded ground before and after digging.
"""

from __future__ import annotations

from .make import KINDS, make

__all__ = ["KINDS", "make"]
