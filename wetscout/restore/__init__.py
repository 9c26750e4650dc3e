"""Stage 6: pool, levels table, plug, earth."""

from wetscout.restore.channel import natural_channel
from wetscout.restore.hidden import cut_shows
from wetscout.restore.site import Builder, too_much_earth

__all__ = ["Builder", "cut_shows", "natural_channel", "too_much_earth"]
