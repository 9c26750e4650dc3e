"""Stage 3: today and natural."""
