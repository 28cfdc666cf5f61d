"""Elastic clamps: springs on the mean shift and turn of a face."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from weldsim.physics.arrays import Flags, Floats, Integers
from weldsim.physics.linear_solver import LinearSolver

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
    low_rank = [_on_diagonal(s, data, solver.pattern.diagonal) for s in springs]
    solver.hold(data, fixed)
    solver.factor(data, rough)
    step = solver.solve(rhs)
    if not low_rank:
        return step
    low = np.zeros((6 * len(low_rank), rhs.size))
    for k, (at, mean, _) in enumerate(low_rank):
        low[6 * k : 6 * k + 6, at] = mean
    low[:, fixed] = 0.0
    change = np.concatenate([c for _, _, c in low_rank])
    through = np.array([solver.solve(b) for b in low])
    small = np.eye(len(change)) + change[:, None] * (low @ through.T)
    corrected: Floats = step - through.T @ np.linalg.solve(small, change * (low @ step))
    return corrected


def _on_diagonal(
    spring: Spring, data: Floats, diagonal: Integers
) -> tuple[Integers, Floats, Floats]:
    """Put a little of a spring on the diagonal: its unknowns, map, and what stiffness is left."""
    at = (3 * spring.points[:, None] + np.arange(3)).ravel()
    metal = DIAGONAL_SHARE * np.median(data[diagonal[at]])
    share = min(spring.stiffness[:3].max() / len(spring.points), metal)
    data[diagonal[at]] += share
    own = share / np.maximum((spring.mean**2).sum(axis=1), 1e-300)  # of shift and turn
    return at, spring.mean, spring.stiffness - own
