"""Stage 4: the tree: basins, spill points, catchments."""
