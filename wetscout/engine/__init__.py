"""Tiles, halos, workers, progress: knows no word of terrain."""
