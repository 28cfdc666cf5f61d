"""The report of a run or a plan: one HTML file with tables, words and a 3D view."""
