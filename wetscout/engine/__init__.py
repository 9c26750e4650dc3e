"""Tiles, halos, threads and progress: knows no word of terrain."""

from __future__ import annotations

from wetscout.engine.progress import Progress, Report, Silent, StageClock, Timed
from wetscout.engine.tiles import Tile, Tiling, Windows, each_tile, map_tiles, tiles_of

__all__ = [
    "Progress",
    "Report",
    "Silent",
    "StageClock",
    "Tile",
    "Tiling",
    "Timed",
    "Windows",
    "each_tile",
    "map_tiles",
    "tiles_of",
]
