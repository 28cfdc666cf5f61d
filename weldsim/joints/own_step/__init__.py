"""A part drawn by the user: a STEP file of solids, meshed with tetrahedra in a child process."""
