"""Stage 10: scores and reasons."""
