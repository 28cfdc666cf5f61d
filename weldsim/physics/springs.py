"""Elastic clamps: springs on the mean shift and turn of a face."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from weldsim.physics.arrays import Flags, Floats, Integers
from weldsim.physics.linear_solver import LinearSolver
from weldsim.physics.symmetric_pattern import SymmetricPattern

# share of the metal's stiffness put on the diagonal of a sprung face, to keep the matrix regular:
# little, or shapes the spring does not see would be stiffened
DIAGONAL_SHARE = 1e-3


@dataclass(frozen=True)
class Spring:
    """An elastic clamp on the mean shift and turn of some points.

    Attributes
    ----------
    points : ndarray of int, shape (P,)
        Point numbers.
    mean : ndarray, shape (6, 3 P)
        Map from their displacement to shift (3) and turn (3), see `rigid_motion.mean_motion`.
    stiffness : ndarray, shape (6,)
        [N/m, N m/rad]
    anchor : ndarray, shape (6,)
        Shift and turn at which it is slack. [m, rad]
    """

    points: Integers
    mean: Floats
    stiffness: Floats
    anchor: Floats

    @property
    def unknowns(self) -> Integers:
        """Unknowns of its points, shape (3 P,)."""
        numbers: Integers = (3 * self.points[:, None] + np.arange(3)).ravel()
        return numbers

    def force(self, displacement: Floats) -> Floats:
        """Force on each of the points.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            Of all points. [m]

        Returns
        -------
        ndarray, shape (P, 3)
            [N]
        """
        stretch = self.anchor - self.mean @ displacement[self.points].ravel()
        pull: Floats = self.mean.T @ (self.stiffness * stretch)
        return pull.reshape(-1, 3)


def put_on_diagonal(
    pattern: SymmetricPattern, data: Floats, springs: Sequence[Spring]
) -> list[float]:
    """Add a little of each spring to the diagonal of a tangent, in place.

    Parameters
    ----------
    pattern : SymmetricPattern
        Of the tangent.
    data : ndarray, shape (nnz,)
        Its values. [N/m]
    springs : sequence of Spring
        Elastic clamps that are closed.

    Returns
    -------
    list of float
        What each of them put on every unknown of its face. [N/m]
    """
    out = []
    for s in springs:
        own = data[pattern.diagonal[s.unknowns]]
        share = min(s.stiffness[:3].max() / len(s.points), DIAGONAL_SHARE * np.median(own))
        data[pattern.diagonal[s.unknowns]] += share
        out.append(float(share))
    return out


@dataclass(frozen=True)
class SpringCorrection:
    """What springs change of solutions without them, as a change of low rank (Woodbury).

    Attributes
    ----------
    low : ndarray, shape (6 K, 3 N)
        Mean shift and turn of each of K faces.
    change : ndarray, shape (6 K,)
        Stiffness of the springs less what the diagonal holds. [N/m, N m/rad]
    through : ndarray, shape (6 K, 3 N)
        Solutions for the rows of `low`.
    """

    low: Floats
    change: Floats
    through: Floats

    @classmethod
    def of(
        cls,
        springs: Sequence[Spring],
        shares: Sequence[float],
        fixed: Flags,
        solve: Callable[[Floats], Floats],
    ) -> SpringCorrection:
        """Prepare the correction for one factor.

        Parameters
        ----------
        springs : sequence of Spring
            Elastic clamps that are closed.
        shares : sequence of float
            As `put_on_diagonal` gave them. [N/m]
        fixed : ndarray of bool, shape (3 N,)
            Unknowns that are held.
        solve : callable
            Back-substitution of a right side (3 N,).

        Returns
        -------
        SpringCorrection
            For solutions with the same factor.
        """
        low = np.zeros((6 * len(springs), fixed.size))
        change = np.empty(6 * len(springs))
        for k, (s, share) in enumerate(zip(springs, shares, strict=True)):
            low[6 * k : 6 * k + 6, s.unknowns] = s.mean
            own = share / np.maximum((s.mean**2).sum(axis=1), 1e-300)  # of shift and turn
            change[6 * k : 6 * k + 6] = s.stiffness - own
        low[:, fixed] = 0.0
        return cls(low, change, np.array([solve(row) for row in low]))

    def of_step(self, step: Floats) -> Floats:
        """A solution with the springs.

        Parameters
        ----------
        step : ndarray, shape (3 N,)
            The solution without them. [m]

        Returns
        -------
        ndarray, shape (3 N,)
            [m]
        """
        small = np.eye(len(self.change)) + self.change[:, None] * (self.low @ self.through.T)
        pull = np.linalg.solve(small, self.change * (self.low @ step))
        corrected: Floats = step - self.through.T @ pull
        return corrected


def solve_with_springs(
    solver: LinearSolver,
    data: Floats,
    fixed: Flags,
    rhs: Floats,
    springs: Sequence[Spring] = (),
    rough: bool = False,
) -> Floats:
    """Solve with a tangent and elastic clamps.

    Parameters
    ----------
    solver : LinearSolver
        Of the tangent's pattern.
    data : ndarray, shape (nnz,)
        Values of the tangent without the springs, changed. [N/m]
    fixed : ndarray of bool, shape (3 N,)
        Unknowns that are held.
    rhs : ndarray, shape (3 N,)
        Zero at the held unknowns. [N]
    springs : sequence of Spring
        That grip.
    rough : bool
        Good enough for a step that another one follows, and sooner.

    Returns
    -------
    ndarray, shape (3 N,)
        [m]

    Raises
    ------
    ConvergenceError
        If the matrix is singular.

    Notes
    -----
    A spring couples all points of its face. A little of its stiffness goes to the diagonal, so that
    a part held by nothing else can be factored, and the rest of the mean shift and turn follows as
    a change of low rank (Woodbury).
    """
    shares = put_on_diagonal(solver.pattern, data, springs)
    solver.hold(data, fixed)
    solver.factor(data, rough)
    step = solver.solve(rhs)
    if not springs:
        return step
    return SpringCorrection.of(springs, shares, fixed, solver.solve).of_step(step)
