"""Quadratic cells for the mechanics: what is assembled once, and one pass over all cells."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.cell_colours import colour_cells
from weldsim.physics.contact import BoundContact, Contact
from weldsim.physics.kernel_arrays import CellArrays, PointArrays, ResponseArrays
from weldsim.physics.linear_solver import LinearSolver
from weldsim.physics.plasticity import InternalVariables, Properties
from weldsim.physics.plasticity_kernels import mechanics_pass, serial_pass
from weldsim.physics.symmetric_pattern import SymmetricPattern, symmetric_pattern
from weldsim.physics.table import BoundTable, Table

# name -> (scikit-fem element, order of its quadrature)
ELEMENTS = {
    "brick20": ("ElementHexS2", 3),
    "brick8": ("ElementHex1", 3),
    "tet10": ("ElementTetP2", 2),
}


class Response(NamedTuple):
    """What the metal answers to a displacement.

    Attributes
    ----------
    force : ndarray, shape (N, 3)
        Inner force. [N]
    stress : ndarray, shape (C, Q, 6)
        [Pa]
    plastic_strain, equivalent_plastic_strain : ndarray, shapes (C, Q, 6) and (C, Q)
        Trial values; they count only once equilibrium is found.
    tangent : ndarray, shape (nnz,) or (0,)
        Upper-triangle values of d force / d displacement, where asked for. [N/m]
    scale : float
        Root of the summed squares of the cells' forces. [N]
    """

    force: Floats
    stress: Floats
    plastic_strain: Floats
    equivalent_plastic_strain: Floats
    tangent: Floats
    scale: float


@dataclass(frozen=True)
class MechanicsModel:
    """Everything about the mechanics that does not change while a case runs.

    N points, C cells of n points and Q quadrature points.

    Attributes
    ----------
    element : {'brick20', 'brick8', 'tet10'}
        20-node bricks with 2x2x2 points, trilinear bricks with mean dilatation, quadratic
        tetrahedra with 4 points.
    points : ndarray, shape (N, 3)
        [m]
    cells : ndarray of int, shape (C, n)
        Points of each cell.
    grad : ndarray, shape (C, Q, 3, n)
        Gradients of the shape functions. [1/m]
    mean_grad : ndarray, shape (C, 3, n) or (0, 3, n)
        Their means over each cell, for mean dilatation. [1/m]
    weight : ndarray, shape (C, Q)
        Volumes at the quadrature points. [m3]
    quadrature : ndarray, shape (Q, 3)
        Reference coordinates of the quadrature points.
    pattern : SymmetricPattern
        Of the tangent.
    solver : LinearSolver
        Keeps the last matrix it factored; nothing else here changes.
    colour_order, colour_starts : ndarray of int, shapes (C,) and (colours + 1,)
        Cells sorted by colour: cells of one colour share no point, so threads never meet.
    threads : int
        Of the pass over the cells.
    bound_contact : BoundContact, optional
        Faces that may touch.
    bound_table : BoundTable, optional
        What the part lies on.
    card : gpu.search.Card, optional
        The same on a graphics card, which then finds equilibrium.
    """

    element: str
    points: Floats
    cells: Integers
    grad: Floats
    mean_grad: Floats
    weight: Floats
    quadrature: Floats
    pattern: SymmetricPattern
    solver: LinearSolver
    colour_order: Integers
    colour_starts: Integers
    threads: int
    bound_contact: BoundContact | None = None
    bound_table: BoundTable | None = None
    card: Any = None

    @classmethod
    def of(
        cls,
        mesh: Any,
        cells: Integers,
        local: Floats,
        points: Floats,
        element: str = "brick20",
        threads: int = 2,
        back_end: str | None = None,
    ) -> MechanicsModel:
        """Assemble what does not change.

        Parameters
        ----------
        mesh : skfem mesh
            Bricks or tetrahedra.
        cells : ndarray of int, shape (C, n)
            Displacement points of each cell.
        local : ndarray, shape (n, 3)
            Reference coordinates of those points, which orders them.
        points : ndarray, shape (N, 3)
            [m]
        element : {'brick20', 'brick8', 'tet10'}
            What the cells are.
        threads : int
            For the factorisation and the pass over the cells.
        back_end : str, optional
            Of the linear solver; the fastest there is when left out.

        Returns
        -------
        MechanicsModel
            Without contact.
        """
        import numba
        import skfem

        settings: Any = numba.config
        most = int(settings.NUMBA_NUM_THREADS)
        name, degree = ELEMENTS[element]
        kind = getattr(skfem, name)()
        basis = skfem.Basis(mesh, kind, intorder=degree)
        seat = [int(np.argmin(np.abs(kind.doflocs - p).sum(axis=1))) for p in local]
        numbers = np.ascontiguousarray(cells, dtype=np.int32)
        by_point = np.array([basis.basis[i][0].grad for i in seat])  # (n, 3, C, Q)
        grad = np.ascontiguousarray(by_point.transpose(2, 3, 1, 0))
        weight = np.ascontiguousarray(np.abs(basis.dx))
        mean_grad = np.zeros((0, 3, numbers.shape[1]))
        if element == "brick8":
            volume = weight.sum(axis=1)[:, None, None]
            mean_grad = np.einsum("cqdn,cq->cdn", grad, weight) / volume
        pattern = symmetric_pattern(numbers, points.shape[0], 3)
        colour = colour_cells(numbers, points.shape[0])
        order = np.argsort(colour, kind="stable").astype(np.int64)
        return cls(
            element, points, numbers, grad, mean_grad, weight, np.asarray(basis.X).T, pattern,
            LinearSolver(pattern, threads, back_end), order,
            np.searchsorted(colour[order], np.arange(colour.max() + 2)),
            min(threads, most),
        )  # fmt: skip

    def touching(self, contact: Contact) -> MechanicsModel:
        """The same cells with pairs of points that may touch.

        Parameters
        ----------
        contact : Contact
            Each of its pairs has to share a cell.

        Returns
        -------
        MechanicsModel
            Sharing arrays and solver with this one.
        """
        return replace(self, bound_contact=BoundContact.of(contact, self.pattern))

    def resting(self, table: Table) -> MechanicsModel:
        """The same cells on a table.

        Parameters
        ----------
        table : Table
            That pushes on some of their points.

        Returns
        -------
        MechanicsModel
            Sharing arrays and solver with this one.
        """
        bound = BoundTable.of(table, self.pattern)
        card = None if self.card is None else self.card.resting(bound)
        return replace(self, bound_table=bound, card=card)

    @property
    def contact(self) -> Contact | None:
        """Pairs of points that may touch; None without any."""
        return None if self.bound_contact is None else self.bound_contact.contact

    @property
    def shape_counts(self) -> tuple[int, int]:
        """Cells and quadrature points in a cell."""
        return self.weight.shape[0], self.weight.shape[1]

    @property
    def face_area(self) -> Floats:
        """Size of a face of each cell, (C,). [m2]"""
        area: Floats = self.weight.sum(axis=1) ** (2 / 3)
        return area

    def strain(self, displacement: Floats, cells: Integers | None = None) -> Floats:
        """Total strain at the quadrature points.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            [m]
        cells : ndarray of int, shape (K,), optional
            Of these cells alone.

        Returns
        -------
        ndarray, shape (C, Q, 6) or (K, Q, 6)
            Order xx yy zz xy yz xz, tensor shears. [1]
        """
        some = slice(None) if cells is None else cells
        u = displacement[self.cells[some]]  # (C, n, 3)
        h = np.einsum("cqdn,cni->cqid", self.grad[some], u)
        if self.mean_grad.size:
            mean = np.einsum("cdn,cnd->c", self.mean_grad[some], u)[:, None]
            extra = (mean - np.trace(h, axis1=2, axis2=3)) / 3
            for i in range(3):
                h[:, :, i, i] += extra
        return np.stack(
            [
                h[..., 0, 0], h[..., 1, 1], h[..., 2, 2],
                0.5 * (h[..., 0, 1] + h[..., 1, 0]),
                0.5 * (h[..., 1, 2] + h[..., 2, 1]),
                0.5 * (h[..., 0, 2] + h[..., 2, 0]),
            ],
            axis=-1,
        )  # fmt: skip

    def evaluate(
        self,
        displacement: Floats,
        properties: Properties,
        internal_variables: InternalVariables,
        tangent: bool,
    ) -> Response:
        """One pass over all cells.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            [m]
        properties : Properties
            At the end of the step.
        internal_variables : InternalVariables
            At its start.
        tangent : bool
            Whether the tangent is wanted too.

        Returns
        -------
        Response
            With that of faces that touch and of the table.
        """
        cells, points = self.weight.shape
        out = ResponseArrays(
            np.zeros(self.pattern.nnz if tangent else 0),
            np.zeros_like(self.points),
            np.empty((cells, points, 6)),
            np.empty((cells, points, 6)),
            np.empty((cells, points)),
        )
        mesh = CellArrays(
            self.colour_order, self.colour_starts, self.cells, self.pattern.pair_slot,
            self.pattern.indptr, self.grad, self.mean_grad, self.weight,
        )  # fmt: skip
        metal = PointArrays(
            properties.bulk, properties.shear, properties.yield_stress, properties.isotropic,
            properties.kinematic, properties.thermal_strain, internal_variables.reference_strain,
            internal_variables.plastic_strain, internal_variables.equivalent_plastic_strain,
        )  # fmt: skip
        if tangent and self.threads > 1:
            squared = mechanics_pass(mesh, metal, displacement, self.threads, tangent, out)
        else:
            squared = serial_pass(mesh, metal, displacement, tangent, out)
        if self.bound_contact is not None:
            self.bound_contact.add(displacement, out.force, out.data)
        if self.bound_table is not None:
            self.bound_table.add(displacement, out.force, out.data)
        return Response(
            out.force, out.stress, out.plastic_strain, out.equivalent_plastic_strain, out.data,
            float(np.sqrt(squared)),
        )  # fmt: skip
