"""One thin file a stage: where a stage meets the engine."""
