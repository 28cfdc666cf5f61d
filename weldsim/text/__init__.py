"""Results and cases as sentences a person reads."""
