"""A table under a part: it pushes where the part presses on it, and lets go of what lifts off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.contact import pattern_entries, pushing
from weldsim.physics.symmetric_pattern import SymmetricPattern


@dataclass(frozen=True)
class Table:
    """Points over a plane that only pushes, without friction. P points.

    Attributes
    ----------
    points : ndarray of int, shape (P,)
        Point numbers.
    normal : ndarray, shape (3,)
        Unit vector from the table toward the part.
    stiffness : ndarray, shape (P,)
        [N/m]
    """

    points: Integers
    normal: Floats
    stiffness: Floats

    def push(self, displacement: Floats) -> Floats:
        """Force of the table on each of the points.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            Of all points; the part lay on the table where it is zero. [m]

        Returns
        -------
        ndarray, shape (P, 3)
            Along the normal, zero where the part is off the table. [N]
        """
        size = pushing(-(displacement[self.points] @ self.normal), self.stiffness)[0]
        return size[:, None] * self.normal


@dataclass(frozen=True)
class BoundTable:
    """A table with the places of its stiffness in a system matrix.

    Attributes
    ----------
    table : Table
        The points.
    entries : ndarray of int, shape (6, P)
        Positions in the values of the matrix.
    shares : ndarray, shape (6,)
        What a unit stiffness adds there.
    """

    table: Table
    entries: Integers
    shares: Floats

    @classmethod
    def of(cls, table: Table, pattern: SymmetricPattern) -> BoundTable:
        """Find the places of the points in a matrix.

        Parameters
        ----------
        table : Table
            Its points are points of the matrix.
        pattern : SymmetricPattern
            Of a matrix with three unknowns a node.

        Returns
        -------
        BoundTable
            The table and its places.
        """
        pairs = [(i, j) for i in range(3) for j in range(i, 3)]
        p, n = table.points, table.normal
        entries = [pattern_entries(pattern, 3 * p + i, 3 * p + j) for i, j in pairs]
        return cls(table, np.array(entries), np.array([n[i] * n[j] for i, j in pairs]))

    def add(self, displacement: Floats, force: Floats, data: Floats) -> None:
        """Add what the table pushes with, and its stiffness where a tangent is wanted.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            [m]
        force : ndarray, shape (N, 3)
            Inner force, added to. [N]
        data : ndarray, shape (nnz,) or (0,)
            Values of the tangent, added to. [N/m]
        """
        table = self.table
        force[table.points] -= table.push(displacement)
        if data.size:
            stiff = pushing(-(displacement[table.points] @ table.normal), table.stiffness)[1]
            np.add.at(data, self.entries.ravel(), (self.shares[:, None] * stiff).ravel())
