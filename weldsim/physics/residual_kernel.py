"""Compiled residual of a symmetric system, of which only the upper triangle is kept."""

from __future__ import annotations

import numpy as np
from numba import njit

from weldsim.physics.arrays import Floats, Integers


@njit(cache=True)
def symmetric_residual(
    indptr: Integers, indices: Integers, data: Floats, x: Floats, b: Floats
) -> tuple[Floats, float, float]:
    """Residual of a symmetric system.

    Parameters
    ----------
    indptr, indices, data : ndarray
        Upper triangle by rows.
    x, b : ndarray, shape (size,)
        Solution and right side.

    Returns
    -------
    residual : ndarray, shape (size,)
        b - A x.
    worst : float
        Its largest entry; nan where one is no number.
    scale : float
        Largest entry of abs(A) abs(x) + abs(b).
    """
    n = b.size
    r = b.copy()
    scale = np.abs(b)
    for i in range(n):
        xi = x[i]
        total = 0.0
        size = 0.0
        for p in range(indptr[i], indptr[i + 1]):
            j = indices[p]
            v = data[p]
            total += v * x[j]
            size += abs(v * x[j])
            if j != i:
                r[j] -= v * xi
                scale[j] += abs(v * xi)
        r[i] -= total
        scale[i] += size
    worst = 0.0
    largest = 0.0
    for i in range(n):
        if not np.isfinite(r[i]):
            return r, np.nan, 1.0
        worst = max(worst, abs(r[i]))
        largest = max(largest, scale[i])
    return r, worst, largest
