"""Stage 2: ditches and embankments, cell by cell, then as lines."""
