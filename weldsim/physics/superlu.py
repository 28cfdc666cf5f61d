"""Back end SuperLU of SciPy: slow, always there."""

from __future__ import annotations

from typing import Any

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.symmetric_pattern import SymmetricPattern


class SuperLU:
    """SciPy's SuperLU on a METIS-ordered matrix: slow, always there.

    Parameters
    ----------
    pattern : SymmetricPattern
        Of the matrices.
    threads : int
        Those of the process are used.
    """

    name = "superlu"

    def __init__(self, pattern: SymmetricPattern, threads: int) -> None:
        self._pattern = pattern
        self._order = _metis_order(pattern)

    def factor(self, data: Floats) -> None:
        """Factor a matrix; see `back_ends.BackEnd`.

        Parameters
        ----------
        data : ndarray, shape (nnz,)
            Its upper-triangle values.

        Raises
        ------
        ConvergenceError
            If it is singular.
        """
        import scipy.sparse as sp
        from scipy.sparse.linalg import splu

        pattern = self._pattern
        shape = (pattern.size, pattern.size)
        upper = sp.csr_matrix((data, pattern.indices, pattern.indptr), shape=shape)
        full = (upper + sp.triu(upper, 1).T).tocsc()
        full = full[self._order][:, self._order].tocsc()
        options = {"SymmetricMode": True}
        try:
            self._lu: Any = splu(full, permc_spec="NATURAL", diag_pivot_thresh=0.0, options=options)
        except RuntimeError as error:
            raise ConvergenceError(f"the system matrix cannot be factored ({error})") from error

    def solve(self, b: Floats) -> Floats:
        """Solve with the last factor.

        Parameters
        ----------
        b : ndarray, shape (size,)
            Right side.

        Returns
        -------
        ndarray, shape (size,)
            Not checked.
        """
        x = np.empty_like(b)
        x[self._order] = self._lu.solve(b[self._order])
        return x


def _metis_order(pattern: SymmetricPattern) -> Integers:
    """Nested-dissection order of the unknowns; SciPy's reverse Cuthill-McKee without pymetis."""
    import scipy.sparse as sp
    from scipy.sparse.csgraph import reverse_cuthill_mckee

    d, n = pattern.components, pattern.nodes
    rows = np.repeat(np.arange(pattern.size), np.diff(pattern.indptr)) // d
    graph = sp.csr_matrix((np.ones(pattern.nnz), (rows, pattern.indices // d)), shape=(n, n))
    graph = graph + graph.T
    graph.setdiag(0)
    graph.eliminate_zeros()
    try:
        import pymetis

        adjacency = pymetis.CSRAdjacency(graph.indptr, graph.indices)
        order = np.asarray(pymetis.nested_dissection(adjacency)[0])
    except ImportError:
        order = reverse_cuthill_mckee(graph.tocsr(), symmetric_mode=True)
    unknowns: Integers = (order[:, None] * d + np.arange(d)).ravel()
    return unknowns
