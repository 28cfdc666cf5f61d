"""Sparse symmetric systems with a fixed pattern: analysed once, refilled in place, checked.

A pattern is built once per mesh from the cells' node lists; only the upper triangle is kept.
Numeric factorisation goes to the fastest back end found at run time: MKL Pardiso, then rslab,
then SuperLU with a METIS order. A solution is returned only if its residual is small; anything
else raises `ConvergenceError`.
"""

from __future__ import annotations

import numpy as np

from weldsim.errors import ConvergenceError, SetupError
from weldsim.physics.arrays import Flags, Floats, Integers
from weldsim.physics.back_ends import BACK_ENDS, BackEnd, available_back_end
from weldsim.physics.pardiso import Pardiso, instruction_path
from weldsim.physics.residual_kernel import symmetric_residual
from weldsim.physics.symmetric_pattern import SymmetricPattern, fixed_entries

# Largest residual of a solution: against |A||x| + |b|, far above what a healthy factor leaves
# behind, and against |b|. The second catches a singular matrix, where rounding makes a pivot of
# 1e-16 and an |x| so large that any residual looks small beside it.
RESIDUAL_LIMIT, RIGHT_SIDE_LIMIT = 1e-8, 1e-6
ROUGH_LIMIT = 1e-4  # against |b|, of a solution that is only a direction to go on in
REFINEMENTS = 3  # of a rough solution, at most


class LinearSolver:
    """Factor and solve `A x = b` on one pattern, with every solution checked.

    Parameters
    ----------
    pattern : SymmetricPattern
        Pattern of the upper triangle.
    threads : int
        Threads for the numeric factorisation.
    back_end : str, optional
        One of `BACK_ENDS`; the fastest available when left out.
    brief : bool
        For a few factorisations only: little is spent on finding the best order.
    """

    def __init__(
        self,
        pattern: SymmetricPattern,
        threads: int = 2,
        back_end: str | None = None,
        brief: bool = False,
    ) -> None:
        self.pattern, self._threads, self._brief = pattern, threads, brief
        self.factored = 0  # matrices so far: tells whether a factor is still the one it was
        self._rough: Pardiso | None = None
        self._single: Pardiso | None = None
        self._data: Floats = np.empty(0)
        self._held_entries: tuple[bytes, Integers] = (b"", np.empty(0, dtype=np.int64))
        first = back_end or available_back_end()
        names = list(BACK_ENDS)
        # one that is installed but does not load gives way to the next; a wish is not overruled
        for name in [first] if back_end else names[names.index(first) :]:
            try:
                self._engine: BackEnd = BACK_ENDS[name](pattern, threads)
                break
            except (ImportError, OSError):
                continue
        else:
            raise SetupError(f"solver back end {first} is not installed")
        self.name = self._engine.name

    @property
    def instructions(self) -> str:
        """Instructions the back end computes with, "" where it does not choose by the processor."""
        return instruction_path() if self.name == "pardiso" else ""

    def hold(self, data: Floats, held: Flags, diagonal: float | None = None) -> None:
        """Cut held unknowns out of the values of a matrix, in place.

        Parameters
        ----------
        data : ndarray, shape (nnz,)
            Upper-triangle values.
        held : ndarray of bool, shape (size,)
            Unknowns whose couplings become zero.
        diagonal : float, optional
            Their diagonal entries; the median of the diagonal when left out.
        """
        key = held.tobytes()
        if self._held_entries[0] != key:  # a run holds the same unknowns for many steps
            self._held_entries = (key, fixed_entries(self.pattern, held))
        data[self._held_entries[1]] = 0.0
        own = self.pattern.diagonal
        data[own[held]] = np.median(data[own]) if diagonal is None else diagonal

    def factor(self, data: Floats, rough: bool = False) -> None:
        """Factor a matrix.

        Parameters
        ----------
        data : ndarray, shape (nnz,)
            Its upper-triangle values, kept for checking solutions.
        rough : bool
            Solutions will be good to `ROUGH_LIMIT` only, where the back end is faster so.

        Raises
        ------
        ConvergenceError
            If it is singular.
        """
        self._data, self._rough = data, None
        self.factored += 1
        if rough and self.name == "pardiso":
            self._single = self._single or Pardiso(
                self.pattern, self._threads, single=True, brief=self._brief
            )
            try:
                self._single.factor(data)
                self._rough = self._single
                return
            except ConvergenceError:  # too near to singular for seven digits
                pass
        self._engine.factor(data)

    def solve(self, b: Floats) -> Floats:
        """Solve with the last factor.

        Parameters
        ----------
        b : ndarray, shape (size,)
            Right side.

        Returns
        -------
        ndarray, shape (size,)
            Checked.

        Raises
        ------
        ConvergenceError
            If the residual is too large.
        """
        if self._rough is not None:
            x, limit = self._rough.solve(b), ROUGH_LIMIT * np.abs(b).max(initial=0.0)
            for _ in range(REFINEMENTS):
                left, residual, _ = self._residual(x, b)
                if residual <= limit:
                    return x
                x += self._rough.solve(left)
            if self._residual(x, b)[1] <= limit:
                return x
            self._rough = None
            self._engine.factor(self._data)
        x = self._engine.solve(b)
        _, residual, scale = self._residual(x, b)
        limit = min(RESIDUAL_LIMIT * scale, RIGHT_SIDE_LIMIT * np.abs(b).max(initial=0.0))
        if not residual <= limit:  # also catches nan
            raise ConvergenceError(
                f"linear solve left a residual of {residual:.3g}, allowed {limit:.3g} ({self.name})"
            )
        return x

    def back_substitute(self, b: Floats) -> Floats:
        """Solve with the last factor as it is, to seven digits if it is a rough one.

        Parameters
        ----------
        b : ndarray, shape (size,)
            Right side.

        Returns
        -------
        ndarray, shape (size,)
            Not checked: for methods that judge a step by what it does to their own residual.
        """
        return (self._engine if self._rough is None else self._rough).solve(b)

    def _residual(self, x: Floats, b: Floats) -> tuple[Floats, float, float]:
        p = self.pattern
        residual, worst, scale = symmetric_residual(p.indptr, p.indices, self._data, x, b)
        return residual, float(worst), float(scale)
