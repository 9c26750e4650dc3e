"""Stage 9: parcels and owners."""
