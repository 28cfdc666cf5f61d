"""Linear cells for the heat: what is assembled once and does not depend on the case's loads."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from weldsim.physics.arrays import Flags, Floats, Integers
from weldsim.physics.heat_source import DoubleEllipsoid, nodal_power
from weldsim.physics.linear_solver import LinearSolver
from weldsim.physics.surface_exchange import SurfaceExchange
from weldsim.physics.symmetric_pattern import SymmetricPattern, symmetric_pattern

REACH = 6.0  # semi-axes beyond which an arc's heat is below the last bit of its peak


@dataclass(frozen=True)
class Reach:
    """Heat cells near a seam and the seam coordinates of their quadrature points.

    Attributes
    ----------
    cells : ndarray of int, shape (K,)
        Cell numbers.
    local : tuple of three ndarrays, each shape (K, Q)
        Places along, across and below the seam. [m]
    """

    cells: Integers
    local: tuple[Floats, Floats, Floats]


@dataclass(frozen=True)
class HeatMesh:
    """Points, cells and facets of the heat solve, and its solver. H cells of n corners.

    Attributes
    ----------
    points : ndarray, shape (Nh, 3)
        [m]
    cells : ndarray of int, shape (H, n)
        8 corners in scikit-fem's order, or 4.
    shape : ndarray, shape (Q, n)
        Shape functions at the quadrature points.
    weight : ndarray, shape (H, Q)
        Volumes at the quadrature points. [m3]
    position : ndarray, shape (H, Q, 3)
        Places of the quadrature points. [m]
    unit_conduction : ndarray, shape (H, n (n + 1) / 2)
        Upper triangle of each cell's matrix at conductivity 1. [m]
    corner_volume : ndarray, shape (H, n)
        Volume of a cell lumped to its corners. [m3]
    facet_share : ndarray, shape (F,)
        Area of a facet over the number of its corners. [m2]
    facet_cells : ndarray of int, shape (2, F)
        Cells on its two sides, -1 for none.
    facet_nodes : ndarray of int, shape (F, 4 or 3)
        Its corners.
    pattern : SymmetricPattern
        Of the system matrix.
    solver : LinearSolver
        Keeps the last matrix it factored; nothing else here changes.
    card : gpu.heat.CardHeat, optional
        The same on a graphics card, which then takes the steps.
    """

    points: Floats
    cells: Integers
    shape: Floats
    weight: Floats
    position: Floats
    unit_conduction: Floats
    corner_volume: Floats
    facet_share: Floats
    facet_cells: Integers
    facet_nodes: Integers
    pattern: SymmetricPattern
    solver: LinearSolver
    card: Any = None

    @classmethod
    def of(
        cls, points: Floats, cells: Integers, threads: int = 2, back_end: str | None = None
    ) -> HeatMesh:
        """Assemble what does not change.

        Parameters
        ----------
        points : ndarray, shape (Nh, 3)
            [m]
        cells : ndarray of int, shape (H, n)
            Bricks of 8 corners in scikit-fem's order, or tetrahedra.
        threads : int
            For the factorisation.
        back_end : str, optional
            Of the linear solver; the fastest there is when left out.

        Returns
        -------
        HeatMesh
            Ready for `heat_step`.
        """
        import skfem

        bricks = cells.shape[1] == 8
        mesh = (skfem.MeshHex1 if bricks else skfem.MeshTet1)(
            points.T.copy(), np.asarray(cells).T.astype(np.int64).copy()
        )
        element = skfem.ElementHex1() if bricks else skfem.ElementTetP1()
        basis = skfem.Basis(mesh, element, intorder=3 if bricks else 2)
        values = [np.broadcast_to(np.asarray(b[0]), basis.dx.shape)[0] for b in basis.basis]
        shape = np.array(values).T
        grad = np.array([b[0].grad for b in basis.basis])  # (n, 3, H, Q)
        first, second = np.triu_indices(cells.shape[1])
        small = np.asarray(cells, dtype=np.int32)
        pattern = symmetric_pattern(small, points.shape[0], 1)
        return cls(
            points,
            small,
            shape,
            basis.dx,
            np.moveaxis(np.asarray(basis.global_coordinates()), 0, -1),
            np.einsum("pdhq,pdhq,hq->hp", grad[first], grad[second], basis.dx),
            basis.dx @ shape,
            _facet_share(mesh.p.T[mesh.facets.T]),
            mesh.f2t,
            mesh.facets.T,
            pattern,
            LinearSolver(pattern, threads, back_end),
        )

    def exchange(
        self, active: Flags, contacts: Iterable[tuple[Integers, float]] = ()
    ) -> SurfaceExchange:
        """Areas, contacts and volumes while some cells are there.

        Parameters
        ----------
        active : ndarray of bool, shape (H,)
            Cells that are there.
        contacts : iterable of (ndarray of int, float)
            Nodes under each closed clamp and its contact conductance. [W/(m2 K)]

        Returns
        -------
        SurfaceExchange
            A face under a clamp conducts into it and does not see the air.
        """
        count = self.points.shape[0]
        volume: Floats = np.bincount(
            self.cells[active].ravel(), self.corner_volume[active].ravel(), minlength=count
        ).astype(float)
        open_side = self._open_side(active)
        film_area = np.zeros(count)
        contact = np.zeros(count)
        clamped = np.zeros(self.facet_nodes.shape[0], dtype=bool)
        for nodes, conductance in contacts:
            facets = self._under(open_side, nodes)
            clamped |= facets
            self._spread(contact, facets, conductance)
        self._spread(film_area, open_side & ~clamped, 1.0)
        return SurfaceExchange(film_area, contact, volume, volume > 0)

    def contact_area(self, active: Flags, nodes: Integers) -> Floats:
        """Area of outer faces under a clamp that each node stands for.

        Parameters
        ----------
        active : ndarray of bool, shape (H,)
            Cells that are there.
        nodes : ndarray of int
            Under the clamp.

        Returns
        -------
        ndarray, shape (Nh,)
            [m2]
        """
        out = np.zeros(self.points.shape[0])
        self._spread(out, self._under(self._open_side(active), nodes), 1.0)
        return out

    def _open_side(self, active: Flags) -> Flags:
        """Facets with metal on one side alone."""
        one, two = self.facet_cells
        open_side: Flags = active[one] ^ np.where(two >= 0, active[two], False)
        return open_side

    def _under(self, open_side: Flags, nodes: Integers) -> Flags:
        """Open facets all of whose corners are among some nodes."""
        on = np.zeros(self.points.shape[0], dtype=bool)
        on[nodes] = True
        facets: Flags = open_side & on[self.facet_nodes].all(axis=1)
        return facets

    def _spread(self, out: Floats, facets: Flags, value: float) -> None:
        nodes = self.facet_nodes[facets]
        np.add.at(out, nodes, value * self.facet_share[facets][:, None])

    def reach(self, source: DoubleEllipsoid) -> Reach:
        """Cells an arc's heat can reach.

        Parameters
        ----------
        source : DoubleEllipsoid
            The arc.

        Returns
        -------
        Reach
            With their places along, across and below its seam.
        """
        shape = self.weight.shape
        local = [v.reshape(shape) for v in source.seam.local(self.position.reshape(-1, 3))]
        aside = np.abs(local[1]) - source.weave - source.spread
        size = np.maximum(aside, 0) / source.half_width, np.abs(local[2]) / source.depth
        near = np.flatnonzero((np.hypot(*size) < REACH).any(axis=1))
        return Reach(near, (local[0][near], local[1][near], local[2][near]))

    def power(
        self,
        active: Flags,
        source: DoubleEllipsoid,
        begin: float,
        end: float,
        reach: Reach | None = None,
    ) -> tuple[Floats, float]:
        """Mean nodal power of an arc over a step.

        Parameters
        ----------
        active : ndarray of bool, shape (H,)
            Cells that are there.
        source : DoubleEllipsoid
            The arc.
        begin, end : float
            Since the arc's start. [s]
        reach : Reach, optional
            What `reach` gave for this arc, where it is known.

        Returns
        -------
        power : ndarray, shape (Nh,)
            [W]
        factor : float
            What the quadrature had to be multiplied with to give the arc's power.

        Raises
        ------
        ValueError
            If the arc touches no active cell.
        """
        reach = reach or self.reach(source)
        there = active[reach.cells]
        cells = reach.cells[there]
        local = tuple(v[there].ravel() for v in reach.local)
        return nodal_power(
            self.position[cells], self.weight[cells], self.shape, self.cells[cells],
            self.points.shape[0], begin, end, source, local,
        )  # fmt: skip


def _facet_share(corners: Floats) -> Floats:
    """Area share of each facet (F, 4 or 3, 3) at each of its corners, (F,). [m2]"""
    p = corners
    if p.shape[1] == 4:  # scikit-fem lists a quadrilateral's corners around the loop
        cross = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1])
    else:
        cross = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    share: Floats = 0.5 * np.linalg.norm(cross, axis=1) / p.shape[1]
    return share
