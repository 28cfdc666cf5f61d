"""Properties over temperature with their sources: curves, files, materials."""
