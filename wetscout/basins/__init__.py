"""The basin tree: fill levels, nested basins, spill points and catchments from one labelling."""

from __future__ import annotations

from wetscout.basins.filling import fill
from wetscout.basins.tree import BasinTree, basin_tree, tree_of

__all__ = ["BasinTree", "basin_tree", "fill", "tree_of"]
