"""Back end rslab: open source, the same bits at any thread count."""

from __future__ import annotations

from typing import Any

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.physics.arrays import Floats
from weldsim.physics.symmetric_pattern import SymmetricPattern


class Rslab:
    """rslab LDL^T: same bits at any thread count, open source, one wheel a platform.

    Parameters
    ----------
    pattern : SymmetricPattern
        Of the matrices.
    threads : int
        Those of the process are used.
    """

    name = "rslab"

    def __init__(self, pattern: SymmetricPattern, threads: int) -> None:
        import rslab
        import scipy.sparse as sp

        # The upper triangle by rows is the lower triangle by columns: the arrays are shared.
        ones = np.ones(pattern.nnz)
        shape = (pattern.size, pattern.size)
        lower = sp.csc_matrix((ones, pattern.indices, pattern.indptr), shape=shape)
        self._symbolic: Any = rslab.analyze(lower, path="ldlt")

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
        try:
            self._factor: Any = self._symbolic.factor(data)
        except Exception as error:  # the library raises its own types for a singular matrix
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
        x: Floats = self._factor.solve(np.ascontiguousarray(b, dtype=np.float64))
        return x
