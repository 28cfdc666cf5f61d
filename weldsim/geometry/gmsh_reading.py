"""A mesh inside Gmsh as a scikit-fem mesh with the names of its groups.

What pygmsh gives back numbers cell sets by global tag, and meshio loses names on the way through
a file, so the model is read from Gmsh itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from weldsim.errors import MeshError

if TYPE_CHECKING:
    import skfem

TETRAHEDRON, BRICK = 4, 5  # Gmsh's numbers of its first-order cells
VOLUME, SURFACE = 3, 2  # dimensions of its groups
Move = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class GmshCells:
    """Cells and points as Gmsh numbers them, without points that no cell uses.

    Attributes
    ----------
    tags : ndarray, shape (C,)
        Gmsh's tag of each cell.
    corners : ndarray, shape (C, 8) or (C, 4)
        Node tags of each cell in Gmsh's order.
    points : ndarray, shape (P, 3)
        Places of the points used. [m]
    number : ndarray
        Point number of each node tag; -1 for a node that no cell uses.
    """

    tags: np.ndarray
    corners: np.ndarray
    points: np.ndarray
    number: np.ndarray


def read_gmsh(gmsh: Any, move: Move | None = None) -> skfem.Mesh:
    """Current Gmsh model as a scikit-fem mesh with subdomains and boundaries by name.

    Parameters
    ----------
    gmsh : module
        Initialised, with a mesh of volumes.
    move : callable, optional
        Points (P, 3) to where they lie on the real part. Points that it brings to one place
        become one point: that closes a tube laid out flat. [m]

    Returns
    -------
    skfem.MeshHex1 or skfem.MeshTet1

    Raises
    ------
    MeshError
        If the cells are not of one first-order kind, bricks or tetrahedra.
    """
    cells = _read_cells(gmsh)
    if move is not None:
        points, same = merge_points(move(cells.points))
        number = np.where(cells.number >= 0, same[cells.number], -1)
        cells = GmshCells(cells.tags, cells.corners, points, number)
    mesh = _bare_mesh(cells)
    regions, faces = _named_regions(gmsh, cells.tags), _named_faces(gmsh, cells.number, mesh)
    return mesh.with_subdomains(regions).with_boundaries(faces)


def _read_cells(gmsh: Any) -> GmshCells:
    """Cells of the model's only kind, and their points."""
    tags, xyz, _ = gmsh.model.mesh.getNodes()
    kinds = gmsh.model.mesh.getElementTypes(VOLUME)
    if len(kinds) != 1 or kinds[0] not in (TETRAHEDRON, BRICK):
        raise MeshError("the mesh must hold one kind of first-order cell, bricks or tetrahedra")
    cell_tags, flat = gmsh.model.mesh.getElementsByType(kinds[0])
    corners = flat.reshape(-1, 8 if kinds[0] == BRICK else 4).astype(np.int64)
    used = np.unique(corners)
    number = np.full(int(tags.max()) + 1, -1)
    number[used] = np.arange(used.size)
    place = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    place[tags.astype(np.int64)] = np.arange(tags.size)
    return GmshCells(cell_tags, corners, xyz.reshape(-1, 3)[place[used]], number)


def _bare_mesh(cells: GmshCells) -> skfem.Mesh:
    """The mesh without names."""
    return linear_mesh(cells.points, cells.number[cells.corners])


def linear_mesh(points: np.ndarray, cells: np.ndarray) -> skfem.Mesh:
    """Scikit-fem mesh of first-order cells.

    Parameters
    ----------
    points : ndarray, shape (P, 3)
        [m]
    cells : ndarray, shape (C, 8) or (C, 4)
        Point numbers of bricks or tetrahedra, in the order that Gmsh and meshio share.
    """
    import skfem
    from skfem.io.meshio import INV_HEX_MAPPING

    if cells.shape[1] == 8:
        return skfem.MeshHex1(points.T.copy(), cells.T[INV_HEX_MAPPING[:8]].copy())
    return skfem.MeshTet1(points.T.copy(), cells.T.copy())


def _groups(gmsh: Any, dimension: int) -> Iterator[tuple[str, int, np.ndarray, np.ndarray]]:
    """Name, kind of element, element tags and node tags of every entity in a named group."""
    for _, group in gmsh.model.getPhysicalGroups(dimension):
        name = gmsh.model.getPhysicalName(dimension, group)
        for entity in gmsh.model.getEntitiesForPhysicalGroup(dimension, group):
            elements = gmsh.model.mesh.getElements(dimension, entity)
            for kind, tags, nodes in zip(*elements, strict=True):
                yield name, kind, tags, nodes


def _named_regions(gmsh: Any, cell_tags: np.ndarray) -> dict[str, np.ndarray]:
    """Cell numbers of each named volume."""
    cell_of = dict(zip(cell_tags.tolist(), range(len(cell_tags)), strict=True))
    found: dict[str, list[int]] = {}
    for name, _, tags, _ in _groups(gmsh, VOLUME):
        found.setdefault(name, []).extend(cell_of[int(tag)] for tag in tags)
    return _as_arrays(found)


def _named_faces(gmsh: Any, number: np.ndarray, mesh: skfem.Mesh) -> dict[str, np.ndarray]:
    """Facet numbers of each named surface."""
    facet_of = facet_numbers(mesh)
    found: dict[str, list[int]] = {}
    for name, kind, _, nodes in _groups(gmsh, SURFACE):
        size = gmsh.model.mesh.getElementProperties(kind)[3]
        corners = np.sort(number[nodes.reshape(-1, size).astype(np.int64)], axis=1)
        found.setdefault(name, []).extend(facet_of[tuple(face)] for face in corners.tolist())
    return _as_arrays(found)


def facet_numbers(mesh: skfem.Mesh) -> dict[tuple[int, ...], int]:
    """Number of each facet of a mesh by its corners, sorted."""
    return {tuple(f): i for i, f in enumerate(np.sort(mesh.facets.T, axis=1).tolist())}


def _as_arrays(found: dict[str, list[int]]) -> dict[str, np.ndarray]:
    return {name: np.unique(numbers).astype(np.int32) for name, numbers in found.items()}


def merge_points(points: np.ndarray, slack: float = 1e-8) -> tuple[np.ndarray, np.ndarray]:
    """Points without doubles, and the new number of each old one.

    Parameters
    ----------
    points : ndarray, shape (P, 3)
        [m]
    slack : float, optional
        Distance within which two points are one. [m]

    Returns
    -------
    points : ndarray, shape (Q, 3)
    same : ndarray, shape (P,)
    """
    from scipy.spatial import cKDTree

    same = np.arange(len(points))
    for a, b in sorted(cKDTree(points).query_pairs(slack)):
        same[b] = same[a]
    kept, same = np.unique(same, return_inverse=True)
    return points[kept], same
