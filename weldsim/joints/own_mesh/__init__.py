"""A part meshed by the user: a Gmsh mesh file with named volumes, faces and seams."""
