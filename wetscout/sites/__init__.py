"""Stage 5: which natural basins are cut, and where."""

from wetscout.sites.build import Finder, Found

__all__ = ["Finder", "Found"]
