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
class NamedCells:
    """Cells, points and named groups as plain arrays; no point is left that no cell uses.

    Attributes
    ----------
    points : ndarray, shape (P, 3)
        [m], or the unit of whoever made them.
    cells : ndarray, shape (C, 8) or (C, 4)
        Point numbers of bricks or tetrahedra, in the order that Gmsh and meshio share.
    regions : dict
        Name -> cell numbers.
    faces : dict
        Name -> point numbers of each face, shape (K, 4) or (K, 3).
    """

    points: np.ndarray
    cells: np.ndarray
    regions: dict[str, np.ndarray]
    faces: dict[str, np.ndarray]


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
        Names attached.

    Raises
    ------
    MeshError
        If the cells are not of one first-order kind, bricks or tetrahedra.
    """
    found = read_cells(gmsh)
    if move is not None:
        points, same = merge_points(move(found.points))
        faces = {name: same[corners] for name, corners in found.faces.items()}
        found = NamedCells(points, same[found.cells], found.regions, faces)
    return named_mesh(found)


def read_cells(gmsh: Any) -> NamedCells:
    """Current Gmsh model as plain arrays; needs numpy alone, for a process that starts often.

    Parameters
    ----------
    gmsh : module
        Initialised, with a mesh of volumes.

    Returns
    -------
    NamedCells
        In the model's own unit.

    Raises
    ------
    MeshError
        If the cells are not of one first-order kind, bricks or tetrahedra.
    """
    tags, xyz, _ = gmsh.model.mesh.getNodes()
    kinds = gmsh.model.mesh.getElementTypes(VOLUME)
    if len(kinds) != 1 or kinds[0] not in (TETRAHEDRON, BRICK):
        raise MeshError("the mesh must hold one kind of first-order cell, bricks or tetrahedra")
    cell_tags, flat = gmsh.model.mesh.getElementsByType(kinds[0])
    nodes = flat.reshape(-1, 8 if kinds[0] == BRICK else 4).astype(np.int64)
    used = np.unique(nodes)
    number = np.full(int(tags.max()) + 1, -1)
    number[used] = np.arange(used.size)
    place = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    place[tags.astype(np.int64)] = np.arange(tags.size)
    points = xyz.reshape(-1, 3)[place[used]]
    return NamedCells(
        points, number[nodes], _named_regions(gmsh, cell_tags), _named_faces(gmsh, number)
    )


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
    return {name: np.unique(cells).astype(np.int32) for name, cells in found.items()}


def _named_faces(gmsh: Any, number: np.ndarray) -> dict[str, np.ndarray]:
    """Corners of the faces of each named surface, as point numbers."""
    found: dict[str, list[np.ndarray]] = {}
    for name, kind, _, nodes in _groups(gmsh, SURFACE):
        size = gmsh.model.mesh.getElementProperties(kind)[3]
        found.setdefault(name, []).append(number[nodes.reshape(-1, size).astype(np.int64)])
    return {name: np.concatenate(corners) for name, corners in found.items()}


def named_mesh(found: NamedCells) -> skfem.Mesh:
    """Scikit-fem mesh of cells and their named groups.

    Parameters
    ----------
    found : NamedCells
        Points in m.

    Returns
    -------
    skfem.MeshHex1 or skfem.MeshTet1
        With subdomains and boundaries.

    Raises
    ------
    MeshError
        If a named face is no face of the cells.
    """
    import skfem
    from skfem.io.meshio import INV_HEX_MAPPING

    points = found.points.T.copy()
    if found.cells.shape[1] == 8:
        mesh = skfem.MeshHex1(points, found.cells.T[INV_HEX_MAPPING[:8]].copy())
    else:
        mesh = skfem.MeshTet1(points, found.cells.T.copy())
    facet_of = {tuple(f): i for i, f in enumerate(np.sort(mesh.facets.T, axis=1).tolist())}
    boundaries = {}
    for name, corners in found.faces.items():
        facets = [facet_of.get(tuple(f), -1) for f in np.sort(corners, axis=1).tolist()]
        if -1 in facets or not facets:
            raise MeshError(f"surface {name!r} does not lie on the cells")
        boundaries[name] = np.unique(facets).astype(np.int32)
    return mesh.with_subdomains(found.regions).with_boundaries(boundaries)


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
        Those that are left. [m]
    same : ndarray, shape (P,)
        New number of each old point.
    """
    from scipy.spatial import cKDTree

    same = np.arange(len(points))
    for a, b in sorted(cKDTree(points).query_pairs(slack)):
        same[b] = same[a]
    kept, same = np.unique(same, return_inverse=True)
    return points[kept], same
