"""Heat conduction, plasticity and equilibrium on a mesh, and what solves them."""
