"""Faces of open land that may touch: a stiff spring between pairs of points, without friction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.symmetric_pattern import SymmetricPattern

# m of closing over which touching faces come to bear; at once, and Newton's method would hop on and
# off the faces
ONSET = 10e-6


@dataclass(frozen=True)
class Contact:
    """Pairs of points that may touch: closing beyond the gap is pushed apart. P pairs.

    Attributes
    ----------
    below, above : ndarray of int, shape (P,)
        Point numbers.
    normal : ndarray, shape (P, 3)
        Unit vectors from below to above.
    gap : ndarray, shape (P,)
        Closing at which they touch. [m]
    stiffness : ndarray, shape (P,)
        [N/m]
    """

    below: Integers
    above: Integers
    normal: Floats
    gap: Floats
    stiffness: Floats

    def closing(self, displacement: Floats) -> Floats:
        """How much each pair has come together.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            [m]

        Returns
        -------
        ndarray, shape (P,)
            [m]
        """
        apart = displacement[self.above] - displacement[self.below]
        closed: Floats = -(apart * self.normal).sum(axis=1)
        return closed


@dataclass(frozen=True)
class BoundContact:
    """Contact with the places of its stiffness in a system matrix.

    Attributes
    ----------
    contact : Contact
        The pairs.
    entries : ndarray of int, shape (K, P)
        Positions in the values of the matrix.
    shares : ndarray, shape (K, P)
        What a unit stiffness adds there.
    """

    contact: Contact
    entries: Integers
    shares: Floats

    @classmethod
    def of(cls, contact: Contact, pattern: SymmetricPattern) -> BoundContact:
        """Find the places of the pairs in a matrix.

        Parameters
        ----------
        contact : Contact
            Each of its pairs has to share a cell.
        pattern : SymmetricPattern
            Of a matrix with three unknowns a node.

        Returns
        -------
        BoundContact
            The contact and its places.

        Raises
        ------
        ValueError
            If the points of a pair share no cell.
        """
        n = contact.normal
        low = np.minimum(contact.below, contact.above)
        high = np.maximum(contact.below, contact.above)
        entries, shares = [], []
        for i in range(3):
            for j in range(3):
                both = n[:, i] * n[:, j]
                entries.append(pattern_entries(pattern, 3 * low + i, 3 * high + j))
                shares.append(-both)
                if j >= i:
                    for point in (low, high):
                        entries.append(pattern_entries(pattern, 3 * point + i, 3 * point + j))
                        shares.append(both)
        return cls(contact, np.array(entries), np.array(shares))

    def add(self, displacement: Floats, force: Floats, data: Floats) -> None:
        """Add what the pairs push with, and their stiffness where a tangent is wanted.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            [m]
        force : ndarray, shape (N, 3)
            Inner force, added to. [N]
        data : ndarray, shape (nnz,) or (0,)
            Values of the tangent, added to. [N/m]
        """
        touch = self.contact
        size, stiff = pushing(touch.closing(displacement) - touch.gap, touch.stiffness)
        push = size[:, None] * touch.normal
        np.add.at(force, touch.above, -push)
        np.add.at(force, touch.below, push)
        if data.size:
            np.add.at(data, self.entries.ravel(), (self.shares * stiff).ravel())


def pushing(deep: Floats, stiffness: Floats) -> tuple[Floats, Floats]:
    """What faces that touch push with, and how that grows.

    Parameters
    ----------
    deep : ndarray, shape (P,)
        How far they have closed beyond touching, negative where they are apart. [m]
    stiffness : ndarray, shape (P,)
        Once they bear. [N/m]

    Returns
    -------
    size, slope : ndarray, each shape (P,)
        [N, N/m]
    """
    soft = np.clip(deep, 0.0, ONSET)
    size = stiffness * (soft**2 / (2 * ONSET) + np.maximum(deep - ONSET, 0.0))
    return size, stiffness * soft / ONSET


def pattern_entries(pattern: SymmetricPattern, rows: Integers, columns: Integers) -> Integers:
    """Positions of entries of the upper triangle in the values of a pattern.

    Parameters
    ----------
    pattern : SymmetricPattern
        Of a matrix.
    rows, columns : ndarray of int, shape (K,)
        Each row no higher than its column.

    Returns
    -------
    ndarray of int, shape (K,)
        Positions.

    Raises
    ------
    ValueError
        If an entry is not in the pattern.
    """
    out = np.empty(len(rows), dtype=np.int64)
    for k, (r, c) in enumerate(zip(rows, columns, strict=True)):
        begin, end = pattern.indptr[r], pattern.indptr[r + 1]
        at = begin + np.flatnonzero(pattern.indices[begin:end] == c)
        if at.size != 1:
            raise ValueError("points that may touch share no cell")
        out[k] = at[0]
    return out
