"""The factor of an earlier tangent, kept because the next one is much like it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from weldsim.physics.arrays import Flags, Floats
from weldsim.physics.linear_solver import LinearSolver
from weldsim.physics.springs import Spring, SpringCorrection, put_on_diagonal


@dataclass(frozen=True)
class KeptFactor:
    """A tangent whose factor a solver holds, or can make again to the bit.

    Attributes
    ----------
    solver : LinearSolver
        Of the tangent's pattern.
    values : ndarray, shape (nnz,)
        Of the tangent, held unknowns cut out and springs on its diagonal. [N/m]
    held : ndarray of bool, shape (3 N,)
        Unknowns that were held.
    springs : tuple of Spring
        Elastic clamps that were closed.
    shares : tuple of float
        What each of them has on the diagonal. [N/m]
    """

    solver: LinearSolver
    values: Floats
    held: Flags
    springs: tuple[Spring, ...] = ()
    shares: tuple[float, ...] = ()
    _made: list[tuple[int, SpringCorrection | None]] = field(default_factory=list, compare=False)

    @classmethod
    def of(
        cls, solver: LinearSolver, tangent: Floats, held: Flags, springs: Sequence[Spring] = ()
    ) -> KeptFactor:
        """Factor a tangent.

        Parameters
        ----------
        solver : LinearSolver
            Of its pattern.
        tangent : ndarray, shape (nnz,)
            Upper-triangle values, changed. [N/m]
        held : ndarray of bool, shape (3 N,)
            Unknowns that are held.
        springs : sequence of Spring
            Elastic clamps that are closed.

        Returns
        -------
        KeptFactor
            Of the tangent with its springs.

        Raises
        ------
        ConvergenceError
            If it is singular.
        """
        shares = put_on_diagonal(solver.pattern, tangent, springs)
        solver.hold(tangent, held)
        out = cls(solver, tangent, held, tuple(springs), tuple(shares))
        out._make()
        return out

    def suits(self, solver: LinearSolver, held: Flags, springs: Sequence[Spring]) -> bool:
        """Whether it is of the same solver, with the same unknowns held by the same clamps.

        Parameters
        ----------
        solver : LinearSolver
            Of the system to be solved.
        held : ndarray of bool, shape (3 N,)
            Its held unknowns.
        springs : sequence of Spring
            Its elastic clamps; where they are slack does not matter.

        Returns
        -------
        bool
            Whether it may stand for that system's own factor.
        """
        if solver is not self.solver or len(springs) != len(self.springs):
            return False
        if len(self.shares) != len(self.springs):
            return False
        alike = all(
            np.array_equal(a.points, b.points) and np.array_equal(a.stiffness, b.stiffness)
            for a, b in zip(springs, self.springs, strict=True)
        )
        return alike and np.array_equal(held, self.held)

    def apply(self, rhs: Floats) -> Floats:
        """Back-substitute; how good the answer is, is for the caller to judge.

        Parameters
        ----------
        rhs : ndarray, shape (3 N,)
            Zero at the held unknowns. [N]

        Returns
        -------
        ndarray, shape (3 N,)
            To seven digits where the back end is faster so. [m]
        """
        if not self._made or self._made[0][0] != self.solver.factored:
            self._make()  # something else was factored since
        correction = self._made[0][1]
        step = self.solver.back_substitute(rhs)
        return step if correction is None else correction.of_step(step)

    def _make(self) -> None:
        self.solver.factor(self.values, rough=True)
        correction = None
        if self.springs:
            correction = SpringCorrection.of(
                self.springs, self.shares, self.held, self.solver.back_substitute
            )
        self._made[:] = [(self.solver.factored, correction)]

    def to_arrays(self) -> dict[str, np.ndarray]:
        """What a checkpoint keeps of it: the tangent and what was held.

        Returns
        -------
        dict of str to ndarray
            For `from_arrays`.
        """
        return {"values": self.values, "held": self.held, "shares": np.array(self.shares)}

    @classmethod
    def from_arrays(
        cls, solver: LinearSolver, arrays: Mapping[str, np.ndarray], springs: Sequence[Spring]
    ) -> KeptFactor:
        """Made again from `to_arrays`, to the bit.

        Parameters
        ----------
        solver : LinearSolver
            Of the same mesh.
        arrays : mapping of str to ndarray
            As kept.
        springs : sequence of Spring
            Elastic clamps that were closed.

        Returns
        -------
        KeptFactor
            Factored when it is first used.
        """
        shares = tuple(float(s) for s in arrays["shares"])
        return cls(solver, arrays["values"], arrays["held"], tuple(springs), shares)
