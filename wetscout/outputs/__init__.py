"""Stage 11: layers, map picture, lists."""
