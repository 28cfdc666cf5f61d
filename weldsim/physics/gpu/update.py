"""A factor kept on the card and the steps taken since: the inverse of the tangent as known now.

Limited-memory BFGS as in `quasi_newton`; the products of all pairs are kept on the host, so that
the two-loop recursion is four products with all pairs at once instead of sixty with one each.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from weldsim.physics.arrays import Flags, Floats
from weldsim.physics.gpu.card import array_module, on_card, on_host
from weldsim.physics.gpu.cudss import CardSolver
from weldsim.physics.gpu.mechanics import CardMechanics
from weldsim.physics.springs import DIAGONAL_SHARE, Spring

PAIRS = 15  # latest steps the update is made of


class _Correction(NamedTuple):
    """What springs change of solutions without them (Woodbury), see `springs`."""

    low: Any
    change: Any
    through: Any
    small: Any

    def of_step(self, step: Any) -> Any:
        return step - self.through.T @ (self.small @ (self.low @ step))


@dataclass
class CardFactor:
    """A tangent whose factor the card holds, or can make again from its values.

    Attributes
    ----------
    solver : CardSolver
        Of the tangent's pattern.
    values : array, shape (nnz,)
        Of the tangent, held unknowns cut out and springs on its diagonal. [N/m]
    held : ndarray of bool, shape (3 N,)
        Unknowns that were held.
    springs : tuple of Spring
        Elastic clamps that were closed.
    shares : tuple of float
        What each of them has on the diagonal. [N/m]
    iterations : int
        The last step took on it.
    """

    solver: CardSolver
    values: Any
    held: Flags
    springs: tuple[Spring, ...] = ()
    shares: tuple[float, ...] = ()
    iterations: int = 0
    _made: int = -1
    _correction: _Correction | None = field(default=None, repr=False)

    @classmethod
    def of(cls, mechanics: CardMechanics, held: Flags, springs: Sequence[Spring]) -> CardFactor:
        """Factor the tangent that the last pass left.

        Parameters
        ----------
        mechanics : CardMechanics
            After a pass with tangent.
        held : ndarray of bool, shape (3 N,)
            Unknowns that are held.
        springs : sequence of Spring
            Elastic clamps that are closed.

        Returns
        -------
        CardFactor
            Of the tangent with its springs.

        Raises
        ------
        ConvergenceError
            If it is singular.
        """
        xp, solver, shares = array_module(), mechanics.solver, []
        for s in springs:
            unknowns = on_card(s.unknowns)
            usual = float(xp.median(solver.own[unknowns]))
            share = min(s.stiffness[:3].max() / len(s.points), DIAGONAL_SHARE * usual)
            solver.add_to_diagonal(share, unknowns)
            shares.append(float(share))
        solver.hold(on_card(held))
        out = cls(solver, None, held, tuple(springs), tuple(shares))
        out._factor()
        return out

    def suits(self, solver: CardSolver, held: Flags, springs: Sequence[Spring]) -> bool:
        """Whether it is of the same solver, with the same unknowns held by the same clamps.

        Parameters
        ----------
        solver : CardSolver
            Of the system to be solved.
        held : ndarray of bool, shape (3 N,)
            Its held unknowns.
        springs : sequence of Spring
            Its elastic clamps; where they are slack does not matter.

        Returns
        -------
        bool
            Whether it may stand for that system's own factor.
        """
        if solver is not self.solver or len(springs) != len(self.springs):
            return False
        if self.values is None and solver.factored != self._made:
            return False  # another branch has used the card since
        alike = all(
            np.array_equal(a.points, b.points) and np.array_equal(a.stiffness, b.stiffness)
            for a, b in zip(springs, self.springs, strict=True)
        )
        return alike and np.array_equal(held, self.held)

    def apply(self, rhs: Any) -> Any:
        """Back-substitute.

        Parameters
        ----------
        rhs : array, shape (3 N,)
            Zero at the held unknowns. [N]

        Returns
        -------
        array, shape (3 N,)
            [m]

        Raises
        ------
        ConvergenceError
            If the matrix turns out to be singular.
        """
        if self._made != self.solver.factored:
            self.solver.data[...] = self.values
            self._factor()
        step = self.solver.solve(rhs)
        return step if self._correction is None else self._correction.of_step(step)

    def _factor(self) -> None:
        self.solver.factor()
        self._made, self._correction = self.solver.factored, None
        if self.springs:
            self._correction = self._corrected()

    def _corrected(self) -> _Correction:
        """Springs less what the diagonal holds of them."""
        xp = array_module()
        low = np.zeros((6 * len(self.springs), self.held.size))
        change = np.empty(6 * len(self.springs))
        for k, (s, share) in enumerate(zip(self.springs, self.shares, strict=True)):
            low[6 * k : 6 * k + 6, s.unknowns] = s.mean
            own = share / np.maximum((s.mean**2).sum(axis=1), 1e-300)
            change[6 * k : 6 * k + 6] = s.stiffness - own
        low[:, self.held] = 0.0
        rows = on_card(low)
        through = xp.stack([self.solver.solve(row).copy() for row in rows])
        coupled = np.eye(len(change)) + change[:, None] * on_host(rows @ through.T)
        small = np.linalg.solve(coupled, np.diag(change))
        return _Correction(rows, change, through, on_card(small))

    def kept(self, iterations: int) -> CardFactor:
        """The same for the next step.

        Parameters
        ----------
        iterations : int
            This step took on it.

        Returns
        -------
        CardFactor
            With its values on the card copied once, so that it outlives other factors.
        """
        if self.values is None and self._made == self.solver.factored:
            self.values = self.solver.data.copy()
        self.iterations = iterations
        return self

    def to_arrays(self) -> dict[str, np.ndarray]:
        """What a checkpoint keeps of it.

        Returns
        -------
        dict of str to ndarray
            For `from_arrays`.
        """
        return {
            "values": on_host(self.values), "held": self.held, "shares": np.array(self.shares),
            "iterations": np.array(self.iterations),
        }  # fmt: skip

    @classmethod
    def from_arrays(
        cls, solver: CardSolver, arrays: Mapping[str, np.ndarray], springs: Sequence[Spring]
    ) -> CardFactor:
        """Made again from `to_arrays`.

        Parameters
        ----------
        solver : CardSolver
            Of the same mesh.
        arrays : mapping of str to ndarray
            As kept.
        springs : sequence of Spring
            Elastic clamps that were closed.

        Returns
        -------
        CardFactor
            Factored when it is first used.
        """
        shares = tuple(float(s) for s in arrays["shares"])
        return cls(
            solver, on_card(arrays["values"]), arrays["held"], tuple(springs), shares,
            int(arrays["iterations"]),
        )  # fmt: skip


class Update:
    """The inverse as known now.

    Parameters
    ----------
    factor : CardFactor
        To begin with.
    size : int
        Unknowns.

    Attributes
    ----------
    back_substitutions : int
        So far.
    """

    def __init__(self, factor: CardFactor, size: int) -> None:
        xp = array_module()
        self.factor, self.back_substitutions = factor, 0
        self._steps, self._changes = xp.zeros((PAIRS, size)), xp.zeros((PAIRS, size))
        self._products: Floats = np.zeros((PAIRS, PAIRS))  # of step i and change j
        self._order: list[int] = []  # rows, the oldest pair first

    def begin(self, factor: CardFactor) -> None:
        """Go on with another factor.

        Parameters
        ----------
        factor : CardFactor
            Of where the search stands.
        """
        self.factor = factor
        self.forget()

    def forget(self) -> None:
        """Drop the pairs."""
        self._order.clear()

    def direction(self, residual: Any) -> Any:
        """Step that would undo a residual.

        Parameters
        ----------
        residual : array, shape (3 N,)
            Zero at the held unknowns. [N]

        Returns
        -------
        array, shape (3 N,)
            [m]
        """
        self.back_substitutions += 1
        if not self._order:
            return self.factor.apply(residual)
        products, order = self._products, self._order
        along: Floats = on_host(self._steps @ residual)
        share = np.zeros(PAIRS)
        for k, i in enumerate(reversed(order)):
            newer = order[len(order) - k :]
            share[i] = (along[i] - products[i, newer] @ share[newer]) / products[i, i]
        out = self.factor.apply(residual - on_card(share) @ self._changes)
        along = on_host(self._changes @ out)
        more = np.zeros(PAIRS)
        for k, i in enumerate(order):
            older = order[:k]
            more[i] = share[i] - (along[i] + more[older] @ products[older, i]) / products[i, i]
        return out + on_card(more) @ self._steps

    def learn(self, step: Any, change: Any) -> None:
        """Take in how much a step changed the residual, unless it says nothing.

        Parameters
        ----------
        step, change : array, shape (3 N,)
            [m, N]
        """
        xp = array_module()
        row = self._order.pop(0) if len(self._order) == PAIRS else self._free()
        self._steps[row], self._changes[row] = step, change
        both = on_host(xp.stack([self._changes @ step, self._steps @ change]))
        if both[0, row] > 0.0:
            self._products[row], self._products[:, row] = both[0], both[1]
            self._order.append(row)

    def _free(self) -> int:
        return next(k for k in range(PAIRS) if k not in self._order)
