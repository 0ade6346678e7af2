"""Rule files: the language, loading with positions, the engine, the verdicts."""
