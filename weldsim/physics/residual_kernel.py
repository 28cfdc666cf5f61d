"""Compiled products with a symmetric matrix of which only the upper triangle is kept."""

from __future__ import annotations

import numpy as np
from numba import njit

from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.symmetric_pattern import SymmetricPattern


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


def symmetric_product(pattern: SymmetricPattern, data: Floats, vector: Floats) -> Floats:
    """Symmetric matrix times a vector.

    Parameters
    ----------
    pattern : SymmetricPattern
        Of the matrix.
    data : ndarray, shape (nnz,)
        Values of its upper triangle.
    vector : ndarray, shape (size,)
        Any.

    Returns
    -------
    ndarray, shape (size,)
        The product.
    """
    out = np.zeros_like(vector)
    _add_product(pattern.indptr, pattern.indices, data, vector, out)
    return out


@njit(cache=True)
def _add_product(indptr: Integers, indices: Integers, data: Floats, x: Floats, out: Floats) -> None:
    for i in range(x.size):
        first = indptr[i]
        xi = x[i]
        total = data[first] * xi  # the diagonal
        for p in range(first + 1, indptr[i + 1]):
            j = indices[p]
            total += data[p] * x[j]
            out[j] += data[p] * xi
        out[i] += total
