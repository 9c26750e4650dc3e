"""Stage 6: pool, levels table, plug, earth."""

from wetscout.restore.site import Builder

__all__ = ["Builder"]
