"""Outer faces of a mesh as triangles: their normals, and how far a place is from them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from weldsim.errors import CaseError

if TYPE_CHECKING:
    import skfem


class OuterFaces(NamedTuple):
    """Outer faces of some cells, bricks' faces cut in two.

    Attributes
    ----------
    corners : ndarray, shape (T, 3, 3)
        Corners of each triangle. [m]
    normals : ndarray, shape (T, 3)
        Unit vectors out of the metal.
    """

    corners: np.ndarray
    normals: np.ndarray


def outer_faces(mesh: skfem.Mesh, cells: np.ndarray | None = None) -> OuterFaces:
    """Outer faces of a mesh.

    Parameters
    ----------
    mesh : skfem.Mesh
        [m]
    cells : ndarray, optional
        Only faces of these, unless they have none outside.
    """
    facets = mesh.boundary_facets()
    if cells is not None:
        mine = np.zeros(mesh.t.shape[1], dtype=bool)
        mine[cells] = True
        kept = facets[mine[mesh.f2t[0, facets]]]
        facets = kept if kept.size else facets
    corners, behind = _triangles(mesh, facets)
    normal = _area_vectors(corners)
    inside = mesh.p[:, mesh.t[:, behind]].mean(axis=1).T
    normal *= np.sign(((corners.mean(axis=1) - inside) * normal).sum(axis=1))[:, None]
    return OuterFaces(corners, normal / np.linalg.norm(normal, axis=1)[:, None])


def middle_of(mesh: skfem.Mesh, name: str, whole: str) -> np.ndarray:
    """Middle of a named face, or the nearest place on it where its middle is in a hole.

    Parameters
    ----------
    mesh : skfem.Mesh
        With boundaries. [m]
    name : str
        Of the face.
    whole : str
        What the mesh is called in a refusal.

    Returns
    -------
    ndarray, shape (3,)
        [m]

    Raises
    ------
    CaseError
        If there is no face of this name.
    """
    known = mesh.boundaries or {}
    if name not in known:
        raise CaseError(f"place {name} is unknown on {whole}, allowed: {', '.join(known)}")
    corners = _triangles(mesh, known[name])[0]
    area = np.linalg.norm(_area_vectors(corners), axis=1)
    middles = corners.mean(axis=1)
    middle = (area[:, None] * middles).sum(axis=0) / area.sum()
    on_it = distances(corners, middle).min() <= 1e-3 * np.sqrt(area.sum())
    return middle if on_it else middles[np.argmin(np.linalg.norm(middles - middle, axis=1))]


def distances(corners: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Distance of a place (3,) from triangles (T, 3, 3), shape (T,). [m]"""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    sides = ((a, b), (b, c), (c, a))
    best = np.full(len(corners), np.inf)
    for p, q in sides:
        d = q - p
        share = np.clip(((place - p) * d).sum(axis=1) / (d * d).sum(axis=1), 0, 1)
        best = np.minimum(best, np.linalg.norm(place - p - share[:, None] * d, axis=1))
    normal = np.cross(b - a, c - a)
    over = np.ones(len(corners), dtype=bool)
    for p, q in sides:
        over &= (np.cross(q - p, place - p) * normal).sum(axis=1) >= 0
    height = np.abs(((place - a) * normal).sum(axis=1)) / np.linalg.norm(normal, axis=1)
    return np.where(over, height, best)


def _triangles(mesh: skfem.Mesh, facets: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corners of facets as triangles (T, 3, 3), and the cell behind each, (T,)."""
    nodes = mesh.facets[:, facets]
    cells = mesh.f2t[0, facets]
    if nodes.shape[0] == 3:
        return mesh.p.T[nodes.T], cells
    points = mesh.p.T[nodes.T]  # in whatever order: corner 0 lies opposite one of three
    arm = points - points[:, :1]
    apart = []
    for o, p, q in ((1, 2, 3), (2, 1, 3), (3, 1, 2)):  # a diagonal has the others on two sides
        sides = np.cross(arm[:, o], arm[:, p]) * np.cross(arm[:, o], arm[:, q])
        apart.append(sides.sum(axis=1))
    order = np.array([[0, 2, 1, 3], [0, 1, 2, 3], [0, 1, 3, 2]])[np.argmin(apart, axis=0)]
    ring = np.take_along_axis(points, order[:, :, None], axis=1)
    return np.concatenate([ring[:, [0, 1, 2]], ring[:, [0, 2, 3]]]), np.concatenate([cells, cells])


def _area_vectors(corners: np.ndarray) -> np.ndarray:
    """Normals of triangles (T, 3, 3), as long as their area."""
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) / 2
