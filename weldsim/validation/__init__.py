"""What weldsim computes beside what others measured, published or derived, row by row."""
