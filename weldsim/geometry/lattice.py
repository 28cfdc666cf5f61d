"""The finer lattice the temperature lives on.

Displacement is quadratic on each cell; temperature is linear on the cell's eight children. The
children's points are the lattice of half steps in the cell, so the displacement points (corners
and edge middles of 20-node bricks, or all 10 points of quadratic tetrahedra) are a subset of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import skfem

if TYPE_CHECKING:
    pass


@dataclass(frozen=True)
class Lattice:
    """Half-step lattice of a mesh: heat points and cells, and where the displacement lives.

    Attributes
    ----------
    points : ndarray, shape (Nh, 3)
        Corners first, then edges, faces, middles. [m]
    corner_cells : ndarray, shape (C, nl)
        Lattice points of each cell in the order of `local`.
    local : ndarray, shape (nl, 3)
        Reference coordinates of the lattice points of a cell.
    heat_cells : ndarray, shape (H, nc)
        Points of each heat cell, child by child within its parent.
    heat_parent : ndarray, shape (H,)
        Cell each heat cell belongs to.
    children : ndarray, shape (8, nc)
        Children of a cell as local lattice numbers.
    displacement_local : ndarray, shape (n,)
        Local lattice numbers of the displacement points, in local order.
    displacement_points : int
        How many lattice points have displacement; they come first.
    """

    points: np.ndarray
    corner_cells: np.ndarray
    local: np.ndarray
    heat_cells: np.ndarray
    heat_parent: np.ndarray
    children: np.ndarray
    displacement_local: np.ndarray
    displacement_points: int

    @property
    def displacement_cells(self) -> np.ndarray:
        """Displacement points of each cell, shape (C, n)."""
        return self.corner_cells[:, self.displacement_local]


def build_lattice(mesh: skfem.Mesh) -> Lattice:
    """Half-step lattice of a mesh.

    Parameters
    ----------
    mesh : skfem.Mesh
        Bricks or tetrahedra. [m]

    Returns
    -------
    Lattice
        27 points a brick, 10 a tetrahedron.
    """
    corners = mesh.t.shape[0]
    reference = np.round(mesh.elem.refdom.p.T).astype(int)  # (corners, 3) of zeros and ones
    if corners == 8:
        steps = [s for s in product((0, 1, 2), repeat=3)]
        members = [
            [
                c
                for c in range(8)
                if all(s in (1, 2 * r) for s, r in zip(step, reference[c], strict=True))
            ]
            for step in steps
        ]
    else:
        members = [[a] for a in range(4)] + [[a, b] for a in range(4) for b in range(a + 1, 4)]
    members.sort(key=len)
    local = np.array([reference[m].mean(axis=0) for m in members])
    number, points = _number_lattice(mesh, members)
    children = _brick_children(local) if corners == 8 else _tetrahedron_children(members)
    cells = number[:, children].reshape(-1, children.shape[1])
    parent = np.repeat(np.arange(number.shape[0]), children.shape[0])
    keep = np.array([i for i, m in enumerate(members) if len(m) <= 2])
    return Lattice(
        points=points,
        corner_cells=number,
        local=local,
        heat_cells=cells.astype(np.int32),
        heat_parent=parent,
        children=children,
        displacement_local=keep,
        displacement_points=int(number[:, keep].max()) + 1,
    )


def _number_lattice(mesh: skfem.Mesh, members: list[list[int]]) -> tuple[np.ndarray, np.ndarray]:
    """Global numbers (C, nl) and coordinates of lattice points, one number per set of corners."""
    count = mesh.t.shape[1]
    number = np.empty((count, len(members)), dtype=np.int64)
    points = [mesh.p.T]
    start = mesh.p.shape[1]
    for size in sorted({len(m) for m in members}):
        place = [i for i, m in enumerate(members) if len(m) == size]
        keys = np.stack([np.sort(mesh.t[members[i]], axis=0).T for i in place], axis=1)
        flat = keys.reshape(-1, size)
        if size == 1:
            number[:, place] = keys[:, :, 0]
            continue
        unique, inverse = np.unique(flat, axis=0, return_inverse=True)
        number[:, place] = start + inverse.reshape(count, len(place))
        points.append(mesh.p.T[unique].mean(axis=1))
        start += unique.shape[0]
    return number, np.concatenate(points)


def _brick_children(local: np.ndarray) -> np.ndarray:
    """Eight children of a brick, corners in scikit-fem's order, as local lattice numbers."""
    import skfem

    corner = skfem.MeshHex1().elem.refdom.p.T
    find = {tuple(np.round(2 * p).astype(int)): i for i, p in enumerate(local)}
    return np.array(
        [
            [find[tuple((np.array(o) + np.round(c)).astype(int))] for c in corner]
            for o in product((0, 1), repeat=3)
        ]
    )


def _tetrahedron_children(members: list[list[int]]) -> np.ndarray:
    """Eight children of a tetrahedron: four at the corners, four around the inner diagonal."""
    find = {tuple(m): i for i, m in enumerate(members)}

    def mid(a: int, b: int) -> int:
        return find[(a,) if a == b else tuple(sorted((a, b)))]

    at_corners = [[mid(a, b) for b in range(4)] for a in range(4)]
    d = (mid(0, 2), mid(1, 3))  # the diagonal shared by the inner four
    ring = [mid(0, 1), mid(1, 2), mid(2, 3), mid(0, 3)]
    inner = [[d[0], d[1], ring[i], ring[(i + 1) % 4]] for i in range(4)]
    return np.array(at_corners + inner)


def boundary_points(mesh: skfem.Mesh, lattice: Lattice, facets: np.ndarray) -> np.ndarray:
    """Lattice points that lie on facets of the mesh.

    Parameters
    ----------
    mesh : skfem.Mesh
        Bricks or tetrahedra.
    lattice : Lattice
        Of that mesh.
    facets : ndarray of int
        Numbers of facets on the outside.

    Returns
    -------
    ndarray of int
        Numbers of lattice points, rising.
    """
    out = []
    for facet in facets:
        cell = mesh.f2t[0, facet]
        on = np.isin(mesh.t[:, cell], mesh.facets[:, facet])
        corner_local = mesh.elem.refdom.p.T[on]
        # a lattice point is on the facet if it agrees with the facet's fixed reference plane
        if mesh.t.shape[0] == 8:
            fixed = np.ptp(corner_local, axis=0) == 0
            hit = np.all(lattice.local[:, fixed] == corner_local[0, fixed], axis=1)
        else:
            off = np.flatnonzero(~on)[0]
            bary = np.column_stack([1 - lattice.local.sum(axis=1), lattice.local])
            order = [int(np.argmax(np.r_[1 - p.sum(), p])) for p in mesh.elem.refdom.p.T]
            hit = bary[:, order[off]] == 0
        out.append(lattice.corner_cells[cell, hit])
    return np.unique(np.concatenate(out)) if out else np.empty(0, dtype=np.int64)
