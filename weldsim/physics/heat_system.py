"""Systems of one time step of the heat: the first is factored, the rest iterate on that factor.

Within a step only the capacity of metal that melts or freezes changes much, at few nodes, so that
conjugate gradients on the step's first factor want two or three back-substitutions where a
factorisation costs eight to ten. The factor is not handed on to the next step: a run that is
resumed there has to give the same bits.
"""

from __future__ import annotations

import numpy as np

from weldsim.physics.arrays import Flags, Floats
from weldsim.physics.linear_solver import LinearSolver
from weldsim.physics.residual_kernel import symmetric_product

SHARE = 0.05  # of a right side that may be left: one of several steps of Newton's method
MOST = 8  # iterations after which they are given up
ENOUGH = 3  # iterations up to which a factor is kept: a new one costs as much


class HeatSystem:
    """Solves the systems of a step one after the other.

    Parameters
    ----------
    solver : LinearSolver
        Of the heat mesh; what it held before is overwritten.
    """

    def __init__(self, solver: LinearSolver) -> None:
        self._solver = solver
        self._fixed: Flags | None = None  # unknowns held when the factor was made
        self.factorisations = self.back_substitutions = 0

    def solve(self, data: Floats, fixed: Flags, rhs: Floats) -> Floats:
        """Solve with a matrix, on the factor of an earlier one where that leads.

        Parameters
        ----------
        data : ndarray, shape (nnz,)
            Upper-triangle values, changed: held unknowns are cut out.
        fixed : ndarray of bool, shape (Nh,)
            Unknowns that are held.
        rhs : ndarray, shape (Nh,)
            Zero at the held unknowns.

        Returns
        -------
        ndarray, shape (Nh,)
            To `SHARE` of the right side or better.

        Raises
        ------
        ConvergenceError
            If the matrix is singular.
        """
        self._solver.hold(data, fixed, 1.0)
        spent = self.back_substitutions
        for fresh in (False, True):
            if fresh:
                self._solver.factor(data, rough=True)
                self._fixed = fixed.copy()
                self.factorisations += 1
            if self._fixed is not None and np.array_equal(fixed, self._fixed):
                found = self._iterated(data, rhs)
                if self.back_substitutions - spent > ENOUGH:
                    self._fixed = None
                if found is not None:
                    return found
        self._solver.factor(data)  # seven digits were too few
        self.factorisations += 1
        self.back_substitutions += 1
        return self._solver.solve(rhs)

    def _iterated(self, data: Floats, rhs: Floats) -> Floats | None:
        """Conjugate gradients on the kept factor; None where they take too long.

        J. Nocedal and S. J. Wright, Numerical Optimization, 2nd ed. 2006, algorithm 5.3.
        """
        pattern, left = self._solver.pattern, rhs.copy()
        limit = SHARE * float(np.abs(rhs).sum())
        x = np.zeros_like(rhs)
        direction, before = np.zeros_like(rhs), 1.0
        for _ in range(MOST):
            z = self._solver.back_substitute(left)
            self.back_substitutions += 1
            now = float(left @ z)
            direction = z + (now / before) * direction
            product = symmetric_product(pattern, data, direction)
            length = now / float(direction @ product)
            x += length * direction
            left -= length * product
            size = float(np.abs(left).sum())
            if size <= limit:
                return x
            if not np.isfinite(size):
                return None
            before = now
        return None
