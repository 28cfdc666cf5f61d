"""Factor and solve on the card with cuDSS: analysis kept, values refilled in place, checked."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.physics.gpu.card import array_module, on_card, on_host, simulated, view
from weldsim.physics.gpu.kernels import grid
from weldsim.physics.gpu.mechanics_kernels import hold
from weldsim.physics.linear_solver import RIGHT_SIDE_LIMIT, LinearSolver
from weldsim.physics.symmetric_pattern import SymmetricPattern


class CardSolver:
    """`LinearSolver` with matrix, factor and vectors on the card.

    Parameters
    ----------
    pattern : SymmetricPattern
        Of the upper triangle, on the host.

    Attributes
    ----------
    indptr, indices, data : array
        Pattern, and the values that `factor` takes.
    matrix : sparse array
        The same as one, upper triangle.
    factored : int
        Matrices so far: tells whether a factor is still the one it was.
    """

    name = "cudss"

    def __init__(self, pattern: SymmetricPattern) -> None:
        xp = array_module()
        self.pattern = pattern
        self.indptr, self.indices = on_card(pattern.indptr), on_card(pattern.indices)
        self.matrix = _matrix_of(xp.zeros(pattern.nnz), self.indices, self.indptr)
        self.data = self.matrix.data
        self._own = on_card(pattern.diagonal.astype(np.int64))
        self._views = view(self.indptr), view(self.indices), view(self.data)
        self._engines: dict[str, Any] = {}
        self._engine: Any = None
        self._checked = False
        self.factored = 0

    @property
    def indptr_view(self) -> Any:
        """Starts of the rows as kernels take them."""
        return self._views[0]

    @property
    def indices_view(self) -> Any:
        """Columns as kernels take them."""
        return self._views[1]

    @property
    def values(self) -> Any:
        """The values as kernels take them."""
        return self._views[2]

    @property
    def own(self) -> Any:
        """Diagonal entries, shape (size,)."""
        return self.data[self._own]

    def add_to_diagonal(self, values: Any, unknowns: Any = None) -> None:
        """Add to diagonal entries.

        Parameters
        ----------
        values : array or float
            What is added.
        unknowns : array of int, optional
            Where; everywhere when left out.
        """
        at = self._own if unknowns is None else self._own[unknowns]
        self.data[at] += values

    def hold(self, fixed: Any, diagonal: float | None = None) -> None:
        """Cut held unknowns out.

        Parameters
        ----------
        fixed : array of bool, shape (size,)
            Unknowns whose couplings become zero.
        diagonal : float, optional
            Their diagonal entries; the mean of the diagonal when left out.
        """
        xp = array_module()
        if diagonal is None:
            usual = self.own.mean().reshape(1)
        else:
            usual = xp.full(1, diagonal)
        indptr, indices, data = self._views
        hold[grid(self.pattern.size)](indptr, indices, view(fixed), view(usual), data)

    def factor(self) -> None:
        """Factor the matrix in `data`.

        Raises
        ------
        ConvergenceError
            If it is singular.
        """
        self.factored += 1
        self._checked = False
        self._take("positive")

    def _take(self, kind: str) -> None:
        if kind not in self._engines:
            self._engines[kind] = _engine(self, kind)
        self._engine = self._engines[kind]
        self._engine.factor()

    def solve(self, b: Any) -> Any:
        """Solve with the last factor; the first solution of each is checked.

        Parameters
        ----------
        b : array, shape (size,)
            Right side.

        Returns
        -------
        array, shape (size,)
            The solution.

        Raises
        ------
        ConvergenceError
            If the matrix turns out to be singular.
        """
        x = self._engine.solve(b)
        if self._checked:
            return x
        left, limit = self._residual(x, b)
        if not left <= limit:  # also catches nan
            self._take("symmetric")
            x = self._engine.solve(b)
            left, limit = self._residual(x, b)
        if not left <= limit:
            raise ConvergenceError(
                f"linear solve left a residual of {left:.3g}, allowed {limit:.3g} ({self.name})"
            )
        self._checked = limit > 0
        return x

    def back_substitute(self, b: Any) -> Any:
        """Solve with the last factor, not checked.

        Parameters
        ----------
        b : array, shape (size,)
            Right side.

        Returns
        -------
        array, shape (size,)
            For methods that judge a step by what it does to their own residual.
        """
        return self._engine.solve(b)

    def _residual(self, x: Any, b: Any) -> tuple[float, float]:
        xp = array_module()
        left = b - self.matrix @ x - self.matrix.T @ x + self.own * x
        worst, most = on_host(xp.stack([xp.abs(left).max(), xp.abs(b).max()]))
        return float(worst), RIGHT_SIDE_LIMIT * float(most)


def _matrix_of(data: Any, indices: Any, indptr: Any) -> Any:
    """Sparse matrix on the same memory."""
    size = len(indptr) - 1
    if simulated():
        import scipy.sparse as sp

        return sp.csr_matrix((data, indices, indptr), shape=(size, size))
    import cupyx.scipy.sparse as csp

    return csp.csr_matrix((data, indices, indptr), shape=(size, size))


def _engine(solver: CardSolver, kind: str) -> Any:
    return _OnHost(solver) if simulated() else _Cudss(solver, kind)


class _OnHost:
    """Stands in for cuDSS where kernels are simulated."""

    def __init__(self, solver: CardSolver) -> None:
        self._card, self._host = solver, LinearSolver(solver.pattern, 1)

    def factor(self) -> None:
        self._host.factor(self._card.data.copy())

    def solve(self, b: Any) -> Any:
        return self._host.solve(b)


class _Cudss:
    """cuDSS through nvmath."""

    def __init__(self, solver: CardSolver, kind: str) -> None:
        from nvmath.sparse.advanced import (
            DirectSolver,
            DirectSolverMatrixType,
            DirectSolverMatrixViewType,
            DirectSolverOptions,
        )

        types = {
            "positive": DirectSolverMatrixType.SPD,
            "symmetric": DirectSolverMatrixType.SYMMETRIC,
        }
        self._b = array_module().zeros(solver.pattern.size)
        options = DirectSolverOptions(
            sparse_system_type=types[kind],
            sparse_system_view=DirectSolverMatrixViewType.UPPER,
            multithreading_lib=_threading_layer(),
        )
        self._solver = DirectSolver(solver.matrix, self._b, options=options)
        self._solver.plan()

    def factor(self) -> None:
        self._solver.factorize()

    def solve(self, b: Any) -> Any:
        self._b[:] = b
        return self._solver.solve()


def _threading_layer() -> str | None:
    """cuDSS's library for threads of the host, which the analysis uses; None where it is not."""
    found = find_spec("nvidia")
    for folder in (found.submodule_search_locations or ()) if found else ():
        for path in sorted(Path(folder).glob("cu*/lib/libcudss_mtlayer_gomp.so*")):
            return str(path)
    return None
