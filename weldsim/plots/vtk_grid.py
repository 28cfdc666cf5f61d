"""Cells of a mesh as VTK knows them, and their outer faces."""

from __future__ import annotations

import numpy as np

from weldsim.runs.frame_files import FieldFrame
from weldsim.system.libraries import import_pyvista

CELL_KINDS = {8: 12, 4: 10}  # corners -> VTK's number of the hexahedron, the tetrahedron
KELVIN = 273.15


def vtk_grid(points: np.ndarray, cells: np.ndarray):
    """Cells with their corners in VTK's order as a grid of VTK.

    Parameters
    ----------
    points : ndarray, shape (P, 3)
        [m]
    cells : ndarray of int, shape (C, 8) or (C, 4)
        Numbers of their corners.

    Returns
    -------
    pyvista.UnstructuredGrid
        Hexahedra or tetrahedra. [m]

    Raises
    ------
    SetupError
        If PyVista is not installed.
    """
    pyvista = import_pyvista()
    flat = np.column_stack([np.full(len(cells), cells.shape[1]), cells]).ravel()
    kinds = np.full(len(cells), CELL_KINDS[cells.shape[1]])
    return pyvista.UnstructuredGrid(flat, kinds, np.asarray(points, dtype=float))


def active_grid(frame: FieldFrame):
    """The active metal of a frame as built, with `temperature` [degC] and `displacement` [m]."""
    grid = vtk_grid(frame.points, frame.cells[frame.active])
    grid.point_data["temperature"] = frame.temperature - KELVIN
    grid.point_data["displacement"] = frame.displacement
    return grid


def surface_of(frame: FieldFrame):
    """Outer faces of the active metal of a frame; see `active_grid`."""
    return active_grid(frame).extract_surface(algorithm="dataset_surface")
