"""The part: a named mesh with its lattice, ready for heat and mechanics."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from weldsim.geometry.lattice import Lattice, boundary_points, build_lattice

if TYPE_CHECKING:
    import skfem


@dataclass(frozen=True)
class Part:
    """Mesh of the joint with its names, ready for heat and mechanics.

    Attributes
    ----------
    mesh : skfem.Mesh
        Cells the displacement is quadratic on, names attached. [m]
    lattice : Lattice
        Points of temperature and displacement.
    regions : Mapping
        Name -> cell numbers.
    boundaries : Mapping
        Name of a face -> numbers of the lattice points on it.
    volumes : Mapping
        Name of a region -> volume by formula. [m3]
    """

    mesh: skfem.Mesh
    lattice: Lattice
    regions: Mapping[str, np.ndarray]
    boundaries: Mapping[str, np.ndarray]
    volumes: Mapping[str, float] = field(default_factory=dict)

    @property
    def heat_mesh(self) -> skfem.Mesh:
        """The heat cells as a scikit-fem mesh (for writing and drawing)."""
        import skfem

        kind = skfem.MeshHex1 if self.lattice.heat_cells.shape[1] == 8 else skfem.MeshTet1
        return kind(self.lattice.points.T.copy(), self.lattice.heat_cells.T.astype(np.int64).copy())

    @property
    def heat_parent(self) -> np.ndarray:
        """Cell number of each heat cell, shape (H,)."""
        return self.lattice.heat_parent


def part_from_mesh(mesh: skfem.Mesh, volumes: Mapping[str, float]) -> Part:
    """Attach lattice, regions and boundary points to a named mesh.

    Parameters
    ----------
    mesh : skfem.Mesh
        With subdomains and boundaries. [m]
    volumes : Mapping
        Name of a region -> volume by formula. [m3]

    Returns
    -------
    Part
        Everything a model needs of the geometry.
    """
    lattice = build_lattice(mesh)
    boundaries = {
        name: boundary_points(mesh, lattice, facets)
        for name, facets in (mesh.boundaries or {}).items()
    }
    return Part(mesh, lattice, dict(mesh.subdomains or {}), boundaries, dict(volumes))


def vtk_cells(mesh: skfem.Mesh) -> tuple[np.ndarray, np.ndarray, str]:
    """Cells of a mesh as VTK and meshio count their corners.

    Parameters
    ----------
    mesh : skfem.Mesh
        Bricks or tetrahedra. [m]

    Returns
    -------
    points : ndarray, shape (P, 3)
        Those of the mesh. [m]
    cells : ndarray, shape (C, 8) or (C, 4)
        Point numbers in VTK's order.
    kind : str
        meshio's name of the cells, ``"hexahedron"`` or ``"tetra"``.
    """
    from skfem.io.meshio import HEX_MAPPING

    if mesh.t.shape[0] == 8:
        return mesh.p.T, mesh.t[HEX_MAPPING[:8]].T, "hexahedron"
    return mesh.p.T, mesh.t.T, "tetra"


def mesh_of_vtk(points: np.ndarray, cells: np.ndarray) -> skfem.Mesh:
    """The scikit-fem mesh of points and corners in VTK's order, numbers of both kept.

    Parameters
    ----------
    points : ndarray, shape (P, 3)
        [m]
    cells : ndarray of int, shape (C, 8) or (C, 4)
        Point numbers of bricks or tetrahedra.

    Returns
    -------
    skfem.MeshHex or skfem.MeshTet
        Without names.
    """
    import skfem
    from skfem.io.meshio import HEX_MAPPING

    corners, kind = np.asarray(cells).T, skfem.MeshTet
    if len(corners) == 8:
        corners, kind = corners[np.argsort(HEX_MAPPING[:8])], skfem.MeshHex
    # unsorted: scikit-fem would renumber the corners of tetrahedra, and fields with them
    return kind(np.ascontiguousarray(points.T), np.ascontiguousarray(corners), sort_t=False)
