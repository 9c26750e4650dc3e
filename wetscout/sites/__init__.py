"""Stage 5: which natural basins are cut, and where."""
