"""Sums that many cells add to, turned round: each sum knows what it is made of, in a fixed order.

No two threads ever write to one place, so equal inputs give equal bits.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.symmetric_pattern import SymmetricPattern


class Gathering(NamedTuple):
    """Sums of shares of some sources. M terms in K sums.

    Attributes
    ----------
    target : ndarray of int32, shape (K,)
        Where each sum goes.
    start : ndarray of int32, shape (K + 1,)
        Its first term.
    source : ndarray of int32, shape (M,)
        Number of the source of each term.
    share : ndarray, shape (M,)
        What it is multiplied with.
    """

    target: Integers
    start: Integers
    source: Integers
    share: Floats


def gathering(target: Integers, source: Integers, share: Floats) -> Gathering:
    """Sort terms by where they go.

    Parameters
    ----------
    target, source : ndarray of int, shape (M,)
        Where each term goes, and what it is made of.
    share : ndarray, shape (M,)
        What it is multiplied with.

    Returns
    -------
    Gathering
        Terms of a sum in the order they came in.
    """
    order = np.argsort(target, kind="stable")
    sorted_targets = target[order]
    first = np.flatnonzero(np.diff(sorted_targets, prepend=-1))
    return Gathering(
        sorted_targets[first].astype(np.int32),
        np.append(first, len(target)).astype(np.int32),
        source[order].astype(np.int32),
        np.ascontiguousarray(share[order]),
    )


class Blocks(NamedTuple):
    """Where the blocks of the cells' matrices go in a pattern of three unknowns a node.

    Attributes
    ----------
    row, slot : ndarray of int32, shape (B,)
        Node of the block's rows, and its place there.
    start : ndarray of int32, shape (B + 1,)
        First term of each block.
    term : ndarray of int32, shape (M,)
        Twice the number of a cell's pair of nodes, plus one where it is stored transposed.
    """

    row: Integers
    slot: Integers
    start: Integers
    term: Integers


def blocks(pattern: SymmetricPattern) -> Blocks:
    """Turn the cells' pairs of nodes round.

    Parameters
    ----------
    pattern : SymmetricPattern
        Of three unknowns a node.

    Returns
    -------
    Blocks
        In the order of the rows.
    """
    first, second = np.triu_indices(pattern.cells.shape[1])
    one, two = pattern.cells[:, first].ravel(), pattern.cells[:, second].ravel()
    row, slot = np.minimum(one, two), pattern.pair_slot.ravel()
    widest = int(slot.max()) + 1
    key = row.astype(np.int64) * widest + slot
    order = np.argsort(key, kind="stable")
    begin = np.flatnonzero(np.diff(key[order], prepend=-1))
    term = 2 * np.arange(key.size, dtype=np.int64) + (one > two)
    return Blocks(
        row[order][begin].astype(np.int32),
        slot[order][begin].astype(np.int32),
        np.append(begin, key.size).astype(np.int32),
        term[order].astype(np.int32),
    )


class Rows(NamedTuple):
    """Whole rows of a symmetric matrix of which only the upper triangle is kept.

    Attributes
    ----------
    start : ndarray of int32, shape (size + 1,)
        First entry of each row.
    column, entry : ndarray of int32, shape (M,)
        Column of each, and its place in the values of the triangle.
    """

    start: Integers
    column: Integers
    entry: Integers


def whole_rows(pattern: SymmetricPattern) -> Rows:
    """Both triangles of a pattern.

    Parameters
    ----------
    pattern : SymmetricPattern
        Any.

    Returns
    -------
    Rows
        By columns within a row.
    """
    row = np.repeat(np.arange(pattern.size), np.diff(pattern.indptr))
    column, entry = pattern.indices.astype(np.int64), np.arange(pattern.nnz)
    off = row != column
    rows = np.concatenate([column[off], row])
    columns = np.concatenate([row[off], column])
    entries = np.concatenate([entry[off], entry])
    order = np.argsort(rows, kind="stable")
    start = np.searchsorted(rows[order], np.arange(pattern.size + 1))
    return Rows(
        start.astype(np.int32), columns[order].astype(np.int32), entries[order].astype(np.int32)
    )
