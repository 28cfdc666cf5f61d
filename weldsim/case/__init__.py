"""A case file, read and checked, as frozen records in SI."""
