"""Covered drains: suspected hollows, faint lines, where to look for the mouth; wet ground without a rim."""

from wetscout.buried.banks import banks_of, without_banks
from wetscout.buried.find import Looked, Searcher
from wetscout.buried.heads import cut_depth
from wetscout.buried.hollows import Chooser, Hollow
from wetscout.buried.open_ways import OpenWays, one_a_basin
from wetscout.buried.site import covered_site
from wetscout.buried.wet_ground import wet_ground
from wetscout.buried.whole import apart_from_whole, whole_of

__all__ = [
    "Chooser",
    "Hollow",
    "Looked",
    "OpenWays",
    "Searcher",
    "apart_from_whole",
    "banks_of",
    "covered_site",
    "cut_depth",
    "one_a_basin",
    "wet_ground",
    "whole_of",
    "without_banks",
]
