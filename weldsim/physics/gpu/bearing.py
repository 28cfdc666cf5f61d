"""What bears on the metal from outside on the card: faces that touch, a table; see `contact`."""

from __future__ import annotations

from typing import Any

import numpy as np

from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.contact import ONSET, BoundContact
from weldsim.physics.gpu.card import array_module, view, viewed
from weldsim.physics.gpu.gathering import gathering
from weldsim.physics.gpu.kernels import gather_more, grid
from weldsim.physics.gpu.mechanics_kernels import contact_push, table_push
from weldsim.physics.table import BoundTable


class _Bearing:
    """Pushes and their stiffness, and where they go.

    Parameters
    ----------
    kernel : kernel
        Of (`arrays`, onset, displacement, push, stiffness).
    arrays : tuple of ndarray
        What it reads.
    unknowns, directions : ndarray, shape (K, P)
        Where each of P pushes goes, and what a unit of it adds to the inner force there.
    entries, shares : ndarray, shape (L, P)
        Where its stiffness goes in the values of the tangent, and what a unit of it adds there.
    """

    def __init__(
        self,
        kernel: Any,
        arrays: tuple[Any, ...],
        unknowns: Integers,
        directions: Floats,
        entries: Integers,
        shares: Floats,
    ) -> None:
        xp, self._kernel, self._count = array_module(), kernel, unknowns.shape[1]
        self._arrays, self._arrays_kept = viewed(arrays)
        self._push, self._stiff = xp.zeros(self._count), xp.zeros(self._count)
        self._out = view(self._push), view(self._stiff)
        self._force, self._force_kept = viewed(_sums(unknowns, directions))
        self._stiffness, self._stiffness_kept = viewed(_sums(entries, shares))

    def add(self, u: Any, force: Any, data: Any, stream: Any) -> None:
        """Add the push to the inner force, and its stiffness to the tangent where there is one.

        Parameters
        ----------
        u : array, shape (N, 3)
            Displacement. [m]
        force : array, shape (3 N,)
            Added to. [N]
        data : array, shape (nnz,), or None
            Values of the tangent, added to. [N/m]
        stream : stream
            Of the card.
        """
        push, stiff = self._out
        self._kernel[grid(self._count, stream)](*self._arrays, ONSET, u, push, stiff)
        gather_more[grid(len(self._force[0]), stream)](*self._force, push, force)
        if data is not None:
            gather_more[grid(len(self._stiffness[0]), stream)](*self._stiffness, stiff, data)


class BearingPairs(_Bearing):
    """Pairs of points that may touch.

    Parameters
    ----------
    bound : BoundContact
        On the host.
    """

    def __init__(self, bound: BoundContact) -> None:
        touch = bound.contact
        arrays = (
            touch.below.astype(np.int32), touch.above.astype(np.int32), touch.normal, touch.gap,
            touch.stiffness,
        )  # fmt: skip
        super().__init__(
            contact_push, arrays,
            np.concatenate([_unknowns(touch.above), _unknowns(touch.below)]),
            np.concatenate([-touch.normal.T, touch.normal.T]), bound.entries, bound.shares,
        )  # fmt: skip


class BearingTable(_Bearing):
    """Points on a table that only pushes.

    Parameters
    ----------
    bound : BoundTable
        On the host.
    """

    def __init__(self, bound: BoundTable) -> None:
        table, count = bound.table, bound.table.points.size
        super().__init__(
            table_push, (table.points.astype(np.int32), table.normal, table.stiffness),
            _unknowns(table.points), np.repeat(-table.normal[:, None], count, axis=1),
            bound.entries, np.repeat(bound.shares[:, None], count, axis=1),
        )  # fmt: skip


def _unknowns(points: Integers) -> Integers:
    """Those of some points, (3, P)."""
    numbers: Integers = 3 * points.astype(np.int64) + np.arange(3)[:, None]
    return numbers


def _sums(target: Integers, share: Floats) -> tuple[Any, ...]:
    """Sums of shares of P sources, each with a column of targets."""
    source = np.tile(np.arange(target.shape[1]), target.shape[0])
    return gathering(target.ravel(), source, share.ravel())
