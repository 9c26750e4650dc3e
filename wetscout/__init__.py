"""wetscout: find wetland basins that were drained by a cut through the rim."""
