"""Stage 5: which natural basins are cut, where, and which sites drain to which."""

from wetscout.sites.build import Finder, Found
from wetscout.sites.chains import find_links, join_chains
from wetscout.sites.dammed import note_dammed
from wetscout.sites.near_steps import note_steps

__all__ = ["Finder", "Found", "find_links", "join_chains", "note_dammed", "note_steps"]
