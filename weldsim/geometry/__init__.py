"""Paths of a torch, meshes and grades, the surface of a part."""
