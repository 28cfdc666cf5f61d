"""Compiled loops over the heat cells: conduction matrix and heat flow."""

from __future__ import annotations

from numba import njit

from weldsim.physics.arrays import Floats, Integers


@njit(cache=True)
def add_heat_matrix(
    cells: Integers, slot: Integers, indptr: Integers, unit: Floats, conductivity: Floats,
    data: Floats,
) -> None:  # fmt: skip
    """Add the conduction matrix to the values of a pattern.

    Parameters
    ----------
    cells : ndarray of int, shape (H, n)
        Corners of each cell.
    slot : ndarray of int, shape (H, pairs)
        Place of each pair of corners in its row, see `SymmetricPattern`.
    indptr : ndarray of int, shape (Nh + 1,)
        Start of each row.
    unit : ndarray, shape (H, pairs)
        Each cell's matrix at conductivity 1. [m]
    conductivity : ndarray, shape (H,)
        [W/(m K)]
    data : ndarray, shape (nnz,)
        Added to. [W/K]
    """
    count, n = cells.shape
    for c in range(count):
        k = conductivity[c]
        if k == 0.0:
            continue
        p = 0
        for a in range(n):
            for b in range(a, n):
                row = min(cells[c, a], cells[c, b])
                data[indptr[row] + slot[c, p]] += k * unit[c, p]
                p += 1


@njit(cache=True)
def heat_flow(
    cells: Integers, unit: Floats, conductivity: Floats, temperature: Floats, out: Floats
) -> None:
    """Add the heat that flows out of each node.

    Parameters
    ----------
    cells : ndarray of int, shape (H, n)
        Corners of each cell.
    unit : ndarray, shape (H, pairs)
        Each cell's matrix at conductivity 1. [m]
    conductivity : ndarray, shape (H,)
        [W/(m K)]
    temperature : ndarray, shape (Nh,)
        [K]
    out : ndarray, shape (Nh,)
        Added to. [W]
    """
    count, n = cells.shape
    for c in range(count):
        k = conductivity[c]
        if k == 0.0:
            continue
        p = 0
        for a in range(n):
            i = cells[c, a]
            out[i] += k * unit[c, p] * temperature[i]
            p += 1
            for b in range(a + 1, n):
                j = cells[c, b]
                v = k * unit[c, p]
                out[i] += v * temperature[j]
                out[j] += v * temperature[i]
                p += 1
