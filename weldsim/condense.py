"""Steps of Newton's method with the far field condensed onto the rim of the weld zone.

While one seam is welded, the tangent changes near it at every iteration and hardly at all farther
out. The far unknowns are eliminated once (a partial factorisation that leaves the Schur complement
on the rim) and only the near ones are factored anew. The answer of the step is that of a tangent
whose far part is a little old; the residual it has to bring to zero is always the exact one, so the
equilibrium found is the same to the solver's tolerance.
"""

from __future__ import annotations

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.solve import LinearSolver, Pardiso, SymmetricPattern


class _Partial(Pardiso):
    """Factor of all but the last unknowns, with the Schur complement on those."""

    def __init__(self, pattern: SymmetricPattern, kept: np.ndarray, threads: int):
        super().__init__(pattern, threads)
        self._perm[kept] = 1
        self.kept = kept
        iparm = np.zeros(64, dtype=np.int32)
        iparm[0], iparm[1], iparm[9] = 1, 2, 8
        iparm[35] = 2  # Schur complement, and partial solves afterwards
        self._handles[2] = (np.zeros(64, dtype=np.int64), iparm)
        self._analysed = False

    def eliminate(self, data: np.ndarray) -> np.ndarray:
        """Factor; gives back the Schur complement on the kept unknowns, full (k, k)."""
        empty, k = np.zeros(self._n), len(self.kept)
        schur = np.zeros(k * k)
        self._data = data
        for phase in (22,) if self._analysed else (11, 22):
            error = self._phase(phase, 2, data, empty, schur)
            if error:
                raise ConvergenceError(f"the far field cannot be factored (Pardiso code {error})")
        self._analysed = True
        return schur.reshape(k, k)

    def forward(self, b: np.ndarray) -> np.ndarray:
        out = np.zeros_like(b)
        self._check(self._phase(331, 2, self._data, np.ascontiguousarray(b), out))
        return out

    def backward(self, y: np.ndarray) -> np.ndarray:
        out = np.zeros_like(y)
        self._check(self._phase(333, 2, self._data, np.ascontiguousarray(y), out))
        return out

    @staticmethod
    def _check(error: int) -> None:
        if error:
            raise ConvergenceError(f"back substitution failed (Pardiso code {error})")


def _upper(rows, columns, extra, size):
    """CSR pattern of upper-triangle entries and the place of each entry and each extra one.

    `rows`, `columns` and `extra` (two arrays) may repeat each other.
    """
    r = np.concatenate([rows, extra[0]]).astype(np.int64)
    c = np.concatenate([columns, extra[1]]).astype(np.int64)
    keys, place = np.unique(np.minimum(r, c) * size + np.maximum(r, c), return_inverse=True)
    indptr = np.searchsorted(keys // size, np.arange(size + 1)).astype(np.int32)
    pattern = SymmetricPattern(
        1, size, np.empty((0, 1), np.int32), indptr, (keys % size).astype(np.int32),
        np.empty((0, 1), np.int32),
    )  # fmt: skip
    return pattern, place[: len(rows)], place[len(rows) :]


class Condensed:
    """Solver of tangents on one pattern with a fixed set of near unknowns.

    Parameters
    ----------
    pattern : SymmetricPattern
    near : ndarray of bool, shape (nodes,)
        Nodes of the weld zone. Every cell whose tangent moves has to have only such nodes.
    threads : int
    """

    def __init__(self, pattern: SymmetricPattern, near: np.ndarray, threads: int):
        near = np.repeat(near, pattern.components)
        rows = np.repeat(np.arange(pattern.size), np.diff(pattern.indptr))
        columns = pattern.indices
        one, two = near[rows], near[columns]
        self._inside = np.flatnonzero(one & two)
        self._outside = np.flatnonzero(~(one & two))
        crossing = one ^ two
        rim = np.unique(np.where(one, rows, columns)[crossing])
        self._near = np.flatnonzero(near)
        number = np.full(pattern.size, -1)
        number[self._near] = np.arange(self._near.size)
        first, second = np.triu_indices(rim.size)
        self._near_pattern, self._near_place, self._rim_place = _upper(
            number[rows[self._inside]], number[columns[self._inside]],
            (number[rim][first], number[rim][second]), self._near.size,
        )  # fmt: skip
        self._rim_pairs = (first, second)
        self._rim = number[rim]
        far = ~near
        far[rim] = True
        self._far = np.flatnonzero(far)
        number = np.full(pattern.size, -1)
        number[self._far] = np.arange(self._far.size)
        diagonal = number[self._far]
        self._far_pattern, self._far_place, on_diagonal = _upper(
            number[rows[self._outside]], number[columns[self._outside]], (diagonal, diagonal),
            self._far.size,
        )  # fmt: skip
        self._kept = number[rim]
        self._rim_diagonal = on_diagonal[self._kept]
        self._far_only = np.flatnonzero(~near)
        self._far_number = number[self._far_only]
        self._partial = _Partial(self._far_pattern, self._kept, threads)
        self._solver = LinearSolver(self._near_pattern, threads, "pardiso")
        self._schur = None

    @property
    def share(self) -> float:
        """Near unknowns over all of them."""
        return self._near.size / (self._near.size + self._far_only.size)

    @property
    def frozen(self) -> bool:
        return self._schur is not None

    def thaw(self) -> None:
        """Have the far field factored anew before the next solution."""
        self._schur = None

    def factor(self, data: np.ndarray) -> None:
        """Take the tangent's values, shape (nnz,): the near ones now, the far ones if thawed."""
        if self._schur is None:
            values = np.zeros(self._far_pattern.nnz)
            values[self._far_place] = data[self._outside]
            # the rim itself is not eliminated, but a zero on its diagonal counts as singular
            size = float(np.abs(values).max())
            values[self._rim_diagonal] += size
            schur = self._partial.eliminate(values)
            schur[np.diag_indices_from(schur)] -= size
            self._schur = schur
        near = np.zeros(self._near_pattern.nnz)
        near[self._near_place] = data[self._inside]
        near[self._rim_place] += self._schur[self._rim_pairs]
        self._solver.factor(near)

    def solve(self, b: np.ndarray) -> np.ndarray:
        """Solution for a right side, shape (size,)."""
        far = np.zeros(self._far.size)
        far[self._far_number] = b[self._far_only]
        half = self._partial.forward(far)
        right = b[self._near]
        right[self._rim] += half[self._kept]
        inner = self._solver.solve(right)
        half[self._kept] = inner[self._rim]
        out = np.empty_like(b)
        out[self._far_only] = self._partial.backward(half)[self._far_number]
        out[self._near] = inner
        return out
