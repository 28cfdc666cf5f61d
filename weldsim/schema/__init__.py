"""Frozen records in SI, and the sections of a case file they come from."""
