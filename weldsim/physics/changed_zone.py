"""Cells whose stiffness is no longer that of a kept factor, with an exact factor of their own.

Under an arc a few cells soften, flow or join while the rest of the part stays as it was. Their
tangent is assembled and factored apart, at a hundredth of the cost of the whole, and put around the
kept factor as a symmetric multiplicative Schwarz step (B. F. Smith, P. E. Bjorstad and W. D. Gropp,
Domain Decomposition, 1996, section 1.2): zone, whole, zone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from weldsim.physics.arrays import Flags, Floats, Integers
from weldsim.physics.contact import Contact
from weldsim.physics.linear_solver import LinearSolver
from weldsim.physics.mechanics_model import MechanicsModel
from weldsim.physics.plasticity import InternalVariables, Properties
from weldsim.physics.residual_kernel import symmetric_product
from weldsim.physics.springs import Spring
from weldsim.physics.symmetric_pattern import symmetric_pattern

# Cutting a zone out costs as much as factoring it five times.
SLACK = 0.15  # share of the changed cells that may lie outside a zone at hand
IDLE = 2.0  # cells of a zone to changed cells, up to which it is carried on


@dataclass
class ChangedZone:
    """Some cells of a model and those around them, as a small model of its own.

    Attributes
    ----------
    changed : ndarray of bool, shape (C,)
        Cells of the zone.
    model : MechanicsModel
        Of the cells that touch a point of the zone.
    cells : ndarray of int, shape (c,)
        Their numbers in the whole.
    points : ndarray of int, shape (p,)
        Their points in the whole.
    held : ndarray of bool, shape (3 p,)
        Unknowns outside the zone, and those the whole holds.
    """

    changed: Flags
    model: MechanicsModel
    cells: Integers
    points: Integers
    held: Flags
    _unknowns: Integers = field(init=False)
    _data: Floats = field(init=False)

    def __post_init__(self) -> None:
        self._unknowns = (3 * self.points[:, None] + np.arange(3)).ravel()
        self._data = np.empty(0)

    @classmethod
    def of(
        cls, model: MechanicsModel, changed: Flags, held: Flags, springs: Sequence[Spring]
    ) -> ChangedZone | None:
        """Cut a zone out.

        Parameters
        ----------
        model : MechanicsModel
            The whole.
        changed : ndarray of bool, shape (C,)
            Cells of the zone, at least one.
        held : ndarray of bool, shape (3 N,)
            Unknowns that the whole holds.
        springs : sequence of Spring
            Elastic clamps; their points, and those on a table, stay outside the zone.

        Returns
        -------
        ChangedZone or None
            Without a tangent yet; None where elastic clamps hold all of it.
        """
        inside = np.zeros(len(model.points), dtype=bool)
        inside[model.cells[changed].ravel()] = True
        for spring in springs:
            inside[spring.points] = False
        if model.bound_table is not None:  # it may let go while the zone stands
            inside[model.bound_table.table.points] = False
        cells = np.flatnonzero(inside[model.cells].any(axis=1))
        if not cells.size:
            return None
        points, local = np.unique(model.cells[cells], return_inverse=True)
        free = inside[points][:, None] & ~held.reshape(-1, 3)[points]
        small = _cut_out(model, cells, points, local.reshape(len(cells), -1), inside)
        return cls(changed, small, cells, points, ~free.ravel())

    def serves(self, changed: Flags) -> bool:
        """Whether the zone holds nearly all of some cells, and not many others.

        Parameters
        ----------
        changed : ndarray of bool, shape (C,)
            Cells of the whole, at least one.

        Returns
        -------
        bool
            False where another zone should be cut out.
        """
        count = int(changed.sum())
        missing = int((changed & ~self.changed).sum())
        return missing <= SLACK * count and int(self.changed.sum()) <= IDLE * count

    def refresh(
        self, displacement: Floats, properties: Properties, internal_variables: InternalVariables
    ) -> None:
        """Factor the zone's tangent as it is now.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            Of the whole. [m]
        properties : Properties
            Of the whole.
        internal_variables : InternalVariables
            Of the whole.

        Raises
        ------
        ConvergenceError
            If it is singular.
        """
        at = self.cells
        response = self.model.evaluate(
            displacement[self.points], properties.of_cells(at), internal_variables.of_cells(at),
            tangent=True,
        )  # fmt: skip
        self._data = response.tangent
        own = self._data.copy()
        self.model.solver.hold(own, self.held)
        self.model.solver.factor(own, rough=True)

    def before(self, residual: Floats) -> tuple[Floats, Floats]:
        """What the zone alone does about a residual.

        Parameters
        ----------
        residual : ndarray, shape (3 N,)
            Of the whole. [N]

        Returns
        -------
        step : ndarray, shape (3 p,)
            Of the zone. [m]
        left : ndarray, shape (3 N,)
            Residual of the whole after it. [N]
        """
        step = self._solved(residual[self._unknowns])
        left = residual.copy()
        left[self._unknowns] -= symmetric_product(self.model.pattern, self._data, step)
        return step, left

    def after(self, step: Floats, first: Floats) -> None:
        """Complete a step of the whole by what the zone does before and after it, in place.

        Parameters
        ----------
        step : ndarray, shape (3 N,)
            By the kept factor, for what `before` left; added to. [m]
        first : ndarray, shape (3 p,)
            By `before`. [m]
        """
        pulled = symmetric_product(self.model.pattern, self._data, step[self._unknowns])
        step[self._unknowns] += first - self._solved(pulled)

    def _solved(self, rhs: Floats) -> Floats:
        return self.model.solver.back_substitute(np.where(self.held, 0.0, rhs))


def _cut_out(
    model: MechanicsModel, cells: Integers, points: Integers, local: Integers, inside: Flags
) -> MechanicsModel:
    """A model of some cells, its points numbered anew."""
    local = local.astype(np.int32)
    pattern = symmetric_pattern(local, len(points), 3)
    mean = model.mean_grad[cells] if model.mean_grad.size else np.zeros((0, 3, local.shape[1]))
    small = MechanicsModel(
        model.element, model.points[points], local, model.grad[cells], mean, model.weight[cells],
        model.quadrature, pattern, LinearSolver(pattern, model.threads, brief=True),
        np.arange(len(cells)),
        np.array([0, len(cells)]), 1,
    )  # fmt: skip
    touch = model.contact
    if touch is None:
        return small
    number = np.full(len(model.points), -1)
    number[points] = np.arange(len(points))
    near = inside[touch.below] | inside[touch.above]
    if not near.any():
        return small
    pairs = Contact(
        number[touch.below[near]], number[touch.above[near]], touch.normal[near], touch.gap[near],
        touch.stiffness[near],
    )  # fmt: skip
    return small.touching(pairs)
