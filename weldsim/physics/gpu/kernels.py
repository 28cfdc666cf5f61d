"""Kernels that mechanics and heat share: sums gathered in a fixed order."""

# numba types a kernel's arguments when it is launched, and numba.cuda has no types of its own
# mypy: disable-error-code="no-untyped-def, untyped-decorator, attr-defined, no-untyped-call"

from __future__ import annotations

import warnings
from typing import Any

from numba import cuda

THREADS = 128  # a block
# small parts do not fill a card; numba says so of every kernel, and nobody can do anything about it
warnings.filterwarnings("ignore", message=r".*Grid size \d+ will likely result in GPU under-util")


def grid(count: int, stream: Any = 0) -> tuple[int, int, Any]:
    """Launch of so many threads.

    Parameters
    ----------
    count : int
        From 1.
    stream : stream, optional
        Of the card; the usual one when left out.

    Returns
    -------
    tuple
        Blocks, threads in each, stream.
    """
    return (count + THREADS - 1) // THREADS, THREADS, stream


@cuda.jit(cache=True)
def gather(target, start, source, share, values, out):
    """Set sums of shares of some values.

    Parameters
    ----------
    target, start, source, share : array
        See `gathering.Gathering`.
    values : array
        Of the sources.
    out : array
        Set at the targets.
    """
    k = cuda.grid(1)
    if k >= target.size:
        return
    total = 0.0
    for m in range(start[k], start[k + 1]):
        total += share[m] * values[source[m]]
    out[target[k]] = total


@cuda.jit(cache=True)
def gather_more(target, start, source, share, values, out):
    """As `gather`, but added to what is there.

    Parameters
    ----------
    target, start, source, share : array
        See `gathering.Gathering`.
    values : array
        Of the sources.
    out : array
        Added to at the targets.
    """
    k = cuda.grid(1)
    if k >= target.size:
        return
    total = 0.0
    for m in range(start[k], start[k + 1]):
        total += share[m] * values[source[m]]
    out[target[k]] += total


@cuda.jit(cache=True)
def product(start, column, entry, data, x, out):
    """Symmetric matrix times a vector.

    Parameters
    ----------
    start, column, entry : array of int
        See `gathering.Rows`.
    data : array, shape (nnz,)
        Values of the upper triangle.
    x, out : array, shape (size,)
        The vector, and where the product goes.
    """
    i = cuda.grid(1)
    if i >= out.size:
        return
    total = 0.0
    for p in range(start[i], start[i + 1]):
        total += data[entry[p]] * x[column[p]]
    out[i] = total
