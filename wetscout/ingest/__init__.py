"""Stage 1: DEM checks, units, no-data, mosaics."""
