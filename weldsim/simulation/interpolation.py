"""Maps between the points of the mechanics, the lattice of the heat, and places in between."""

from __future__ import annotations

from typing import Any

import numpy as np

from weldsim.geometry.lattice import Lattice
from weldsim.physics.arrays import Floats, Integers


def quadrature_map(lattice: Lattice, quadrature: Floats) -> Floats:
    """Weights that give the children's linear temperature at points of the parent cell.

    Parameters
    ----------
    lattice : Lattice
        Of nl points in a cell.
    quadrature : ndarray, shape (Q, 3)
        Reference coordinates in the parent.

    Returns
    -------
    ndarray, shape (Q, nl)
        One row for each point, summing to 1.

    Raises
    ------
    ValueError
        If a point lies in no child.
    """
    out = np.zeros((len(quadrature), len(lattice.local)))
    for q, x in enumerate(quadrature):
        for child in lattice.children:
            corners = lattice.local[child]
            if len(child) == 8:
                low = corners.min(axis=0)
                s = (x - low) / 0.5
                weights = np.prod(np.where(corners > low + 0.25, s, 1 - s), axis=1)
            else:
                system = np.vstack([corners.T, np.ones(4)])
                weights = np.linalg.solve(system, np.append(x, 1.0))
            if np.all(weights >= -1e-12):
                out[q, child] = weights
                break
        else:
            raise ValueError("a quadrature point lies in no child of its cell")
    return out


def spread_matrix(lattice: Lattice) -> Any:
    """Displacement at all lattice points from that at the displacement points.

    Parameters
    ----------
    lattice : Lattice
        Of Nh points, the first N of which carry displacement.

    Returns
    -------
    sparse matrix, shape (Nh, N)
        The quadratic shape functions at the points between.
    """
    import scipy.sparse as sp
    import skfem

    count, total = lattice.displacement_points, lattice.points.shape[0]
    if count == total:
        return sp.identity(count, format="csr")
    element = skfem.ElementHexS2()
    carried = lattice.local[lattice.displacement_local]
    seat = [int(np.argmin(np.abs(element.doflocs - p).sum(axis=1))) for p in carried]
    rest = np.setdiff1d(np.arange(len(lattice.local)), lattice.displacement_local)
    values = np.array([element.lbasis(lattice.local[rest].T, i)[0] for i in seat])  # (n, rest)
    points = lattice.corner_cells[:, rest]
    unique, first = np.unique(points.ravel(), return_index=True)
    cell, place = np.unravel_index(first, points.shape)
    n = len(seat)
    rows = np.repeat(unique, n)
    columns = lattice.displacement_cells[cell].ravel()
    entries = values[:, place].T.ravel()
    eye = np.arange(count)
    return sp.csr_matrix(
        (
            np.concatenate([np.ones(count), entries]),
            (np.concatenate([eye, rows]), np.concatenate([eye, columns])),
        ),
        shape=(total, count),
    )


def point_children(lattice: Lattice, quadrature: Floats) -> Integers:
    """Child nearest to each quadrature point.

    Parameters
    ----------
    lattice : Lattice
        Of any cell.
    quadrature : ndarray, shape (Q, 3)
        Reference coordinates in the parent.

    Returns
    -------
    ndarray of int, shape (Q,)
        Numbers of children.
    """
    middle = lattice.local[lattice.children].mean(axis=1)
    away = np.linalg.norm(quadrature[:, None] - middle[None], axis=2)
    nearest: Integers = np.argmin(away, axis=1)
    return nearest


def child_points(lattice: Lattice, quadrature: Floats) -> Integers:
    """Quadrature point nearest to the middle of each child.

    Parameters
    ----------
    lattice : Lattice
        Of any cell.
    quadrature : ndarray, shape (Q, 3)
        Reference coordinates in the parent.

    Returns
    -------
    ndarray of int, shape (children,)
        Numbers of quadrature points.
    """
    middle = lattice.local[lattice.children].mean(axis=1)
    away = np.linalg.norm(middle[:, None] - quadrature[None], axis=2)
    nearest: Integers = np.argmin(away, axis=1)
    return nearest


def locate(mesh: Any, places: Floats) -> Any:
    """Interpolation from the points of a mesh of linear cells to places.

    Parameters
    ----------
    mesh : skfem mesh
        Bricks or tetrahedra of Nh points.
    places : ndarray, shape (K, 3)
        [m]

    Returns
    -------
    sparse matrix, shape (K, Nh)
        A place on an outer face is looked for a hair further in; where that is off the mesh, as on
        the inside of a tube, the nearest point stands for it.
    """
    import scipy.sparse as sp
    import skfem

    element = skfem.ElementHex1() if mesh.t.shape[0] == 8 else skfem.ElementTetP1()
    basis = skfem.Basis(mesh, element, intorder=1)
    middle = mesh.p.mean(axis=1)
    rows = []
    for place in np.atleast_2d(places):
        inside = middle + (place - middle) * (1 - 1e-9)  # an end face counts as in
        try:
            rows.append(sp.csr_matrix(basis.probes(inside[:, None])))
        except ValueError:
            near = int(np.argmin(np.linalg.norm(mesh.p.T - place, axis=1)))
            one = sp.csr_matrix(([1.0], ([0], [near])), shape=(1, mesh.p.shape[1]))
            rows.append(one)
    return sp.vstack(rows, format="csr")


def distance_to_triangles(place: Floats, corners: Floats) -> Floats:
    """Distance of a place from triangles.

    Parameters
    ----------
    place : ndarray, shape (3,)
        [m]
    corners : ndarray, shape (F, 3, 3)
        Three corners of each. [m]

    Returns
    -------
    ndarray, shape (F,)
        To the nearest point of each. [m]
    """
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    height = ((place - corners[:, 0]) * normal).sum(axis=1)
    over = np.ones(len(corners), dtype=bool)  # the foot of the perpendicular lies in the triangle
    nearest = np.full(len(corners), np.inf)
    for i in range(3):
        begin, edge = corners[:, i], corners[:, (i + 1) % 3] - corners[:, i]
        away = place - begin
        over &= (np.cross(edge, away) * normal).sum(axis=1) >= 0
        along = np.clip((away * edge).sum(axis=1) / (edge**2).sum(axis=1), 0.0, 1.0)
        off = np.linalg.norm(away - along[:, None] * edge, axis=1)
        nearest = np.minimum(nearest, off)
    return np.where(over, np.abs(height), nearest)
