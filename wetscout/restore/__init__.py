"""Stage 6: pool, levels table, plug, earth."""
