"""What a mesh must be before anything is solved on it: sound cells, names, volumes by formula."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

import numpy as np

from weldsim.errors import MeshError

if TYPE_CHECKING:
    import skfem


def cell_volumes(mesh: skfem.Mesh) -> np.ndarray:
    """Volume of every cell.

    Parameters
    ----------
    mesh : skfem.Mesh
        Bricks or tetrahedra. [m]

    Returns
    -------
    ndarray, shape (C,)
        [m3]
    """
    import skfem

    element = skfem.ElementHex1() if mesh.t.shape[0] == 8 else skfem.ElementTetP1()
    volumes: np.ndarray = skfem.Basis(mesh, element, intorder=3).dx.sum(axis=1)
    return volumes


def check_shapes(mesh: skfem.Mesh) -> None:
    """Refuse a mesh with a cell that is flat somewhere, or turned inside out.

    The sign of a cell's map itself says nothing: scikit-fem numbers bricks left-handed.

    Parameters
    ----------
    mesh : skfem.Mesh
        [m]

    Raises
    ------
    MeshError
        With the number of such cells.
    """
    corners = mesh.elem.refdom.p
    middle = corners.mean(axis=1, keepdims=True)
    inner = middle + 0.58 * (corners - middle)  # about where integration points lie, 1/sqrt(3)
    gradient = np.asarray(mesh.mapping().DF(inner))  # (3, 3, C, Q)
    determinant = np.linalg.det(np.moveaxis(gradient, (0, 1), (2, 3)))
    if not np.any(determinant):
        raise MeshError(f"{len(determinant)} cells of the mesh are turned inside out or flat")
    size = np.abs(determinant).max()
    sign = np.sign(np.median(determinant))
    bad = np.any(sign * determinant <= 1e-9 * size, axis=1)
    if np.any(bad):
        raise MeshError(f"{int(bad.sum())} cells of the mesh are turned inside out or flat")


def check_names(
    mesh: skfem.Mesh,
    volumes: Mapping[str, float],
    boundaries: Collection[str],
    tolerance: float = 1e-6,
) -> None:
    """Refuse a mesh that is not what the geometry says.

    Parameters
    ----------
    mesh : skfem.Mesh
        With subdomains and boundaries. [m]
    volumes : Mapping
        Regions that must be there -> volume by formula. [m3]
    boundaries : collection of str
        Boundaries that must be there.
    tolerance : float, optional
        Relative error of a volume.

    Raises
    ------
    MeshError
        If a region or boundary is missing or empty, a volume is wrong, or a cell is flat or
        turned inside out.
    """
    found = mesh.subdomains or {}
    check_shapes(mesh)
    sizes = cell_volumes(mesh)
    for name, expected in volumes.items():
        if name not in found or len(found[name]) == 0:
            raise MeshError(f"region {name} of the mesh is empty")
        measured = sizes[found[name]].sum()
        if abs(measured - expected) > tolerance * expected:
            raise MeshError(
                f"region {name}: the mesh holds {measured:.6g} m3, the formula {expected:.6g} m3"
            )
    for name in boundaries:
        if name not in (mesh.boundaries or {}) or len(mesh.boundaries[name]) == 0:
            raise MeshError(f"boundary {name} of the mesh is empty")
