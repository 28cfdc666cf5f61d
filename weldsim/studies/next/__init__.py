"""Readings after each weld explained, and what to weld next."""
