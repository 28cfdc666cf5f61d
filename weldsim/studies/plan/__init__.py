"""Sequences ranked: what may vary, branches run once, who runs them, the ranking."""
