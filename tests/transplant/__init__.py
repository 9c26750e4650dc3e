"""Ditches cut into real ground: closed basins whose true spill level is known, drained by a cutter of its own."""
