"""Stage 6: pool, levels table, plug, earth."""

from wetscout.restore.site import Builder, too_much_earth

__all__ = ["Builder", "too_much_earth"]
