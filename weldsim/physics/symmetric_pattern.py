"""Sparse symmetric patterns: which entries of the upper triangle are kept, in which order.

A pattern is built once per mesh from the cells' node lists.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.errors import SetupError
from weldsim.physics.arrays import Flags, Integers


@dataclass(frozen=True)
class SymmetricPattern:
    """Upper-triangle CSR pattern of a finite-element matrix.

    Attributes
    ----------
    components : int
        Unknowns at a node.
    nodes : int
        How many nodes there are.
    cells : ndarray of int32, shape (C, n)
        Nodes of each cell.
    indptr, indices : ndarray of int32, shapes (size + 1,) and (nnz,)
        Start of each row, and columns.
    pair_slot : ndarray of int32, shape (C, n (n + 1) / 2)
        Place of each pair of a cell's nodes in its block row. Pairs run over (a, b), a <= b, in
        the order of `numpy.triu_indices`. The block row is that of the smaller global node, so a
        pair whose first node is the larger one is stored transposed.
    """

    components: int
    nodes: int
    cells: Integers
    indptr: Integers
    indices: Integers
    pair_slot: Integers

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return self.components * self.nodes

    @property
    def nnz(self) -> int:
        """Number of entries kept."""
        return int(self.indptr[-1])

    @property
    def diagonal(self) -> Integers:
        """Positions of the diagonal entries, shape (size,): the first of each row."""
        return self.indptr[:-1]


def symmetric_pattern(cells: Integers, nodes: int, components: int) -> SymmetricPattern:
    """Build the pattern of all couplings within cells.

    Parameters
    ----------
    cells : ndarray of int, shape (C, n)
        Node numbers of each cell.
    nodes : int
        Number of nodes; each must belong to a cell.
    components : int
        Unknowns at a node (1 for temperature, 3 for displacement).

    Returns
    -------
    SymmetricPattern
        Rows by node, the unknowns of a node together.

    Raises
    ------
    ValueError
        If a node belongs to no cell.
    SetupError
        If the matrix is too large for 32-bit indices.
    """
    first, second = np.triu_indices(cells.shape[1])
    low = np.minimum(cells[:, first], cells[:, second]).astype(np.int64)
    high = np.maximum(cells[:, first], cells[:, second]).astype(np.int64)
    keys, inverse = np.unique((low * nodes + high).ravel(), return_inverse=True)
    inverse = inverse.ravel()
    row, column = keys // nodes, keys % nodes
    block_start = np.searchsorted(row, np.arange(nodes + 1))
    if np.any(np.diff(block_start) == 0):
        raise ValueError("a node belongs to no cell")
    slot = (inverse - block_start[row[inverse]]).reshape(low.shape).astype(np.int32)

    d = components
    blocks = np.diff(block_start)
    lengths = (blocks[:, None] * d - np.arange(d)).ravel()  # row r of a diagonal block lacks r
    indptr = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    if indptr[-1] >= 2**31:
        raise SetupError("the mesh is too large for 32-bit sparse indices; use a coarser grade")
    rows = np.repeat(np.arange(nodes * d), lengths)
    offset = np.arange(indptr[-1]) - indptr[rows] + rows % d  # column counted in the block row
    indices = column[block_start[rows // d] + offset // d] * d + offset % d
    return SymmetricPattern(
        d, nodes, cells.astype(np.int32), indptr.astype(np.int32), indices.astype(np.int32), slot
    )


def fixed_entries(pattern: SymmetricPattern, fixed: Flags) -> Integers:
    """Positions of the off-diagonal entries in a row or column of a fixed unknown.

    Parameters
    ----------
    pattern : SymmetricPattern
        Of the matrix.
    fixed : ndarray of bool, shape (size,)
        Unknowns that are held.

    Returns
    -------
    ndarray of int
        Into the values of the matrix.
    """
    rows = np.repeat(np.arange(pattern.size), np.diff(pattern.indptr))
    hit = (fixed[rows] | fixed[pattern.indices]) & (rows != pattern.indices)
    return np.flatnonzero(hit)
