"""Equilibrium on the card: a kept factor and its update, made anew as often as that is the faster.

The method is that of `quasi_newton`. With a patience of zero every iteration has its own factor,
which is Newton's method with a line search: the faster way on a card for parts of up to
`NEWTON_BELOW` unknowns (benchmarks/README.md).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from typing import Any

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.physics.arrays import Flags, Floats
from weldsim.physics.equilibrium import (
    FORCE_SCALE_STRAIN,
    FULL_STEP_WORK,
    LINE_SEARCH_WORK,
    MAX_ITERATIONS,
    Equilibrium,
    residuals_in_words,
)
from weldsim.physics.gpu.card import array_module, on_card, on_host
from weldsim.physics.gpu.mechanics import CardMechanics, CardSpring
from weldsim.physics.gpu.update import CardFactor, Update
from weldsim.physics.mechanics_model import MechanicsModel
from weldsim.physics.plasticity import InternalVariables, Properties
from weldsim.physics.springs import Spring
from weldsim.physics.table import BoundTable, Table

PATIENCE = 12  # iterations a factor is given before it is asked whether it still serves
NEWTON_BELOW = 60_000  # unknowns up to which a factor is so cheap that every iteration has its own
SLOW = 0.75  # mean factor of the residual over `SLOW_OVER` iterations at which it does not
SLOW_OVER = 5
LONG_STEP = 25  # iterations in one time step after which the next begins with a new factor
MOST_ITERATIONS = 160
LINE_SEARCH_TRIES = 5


class Card:
    """Everything of a part's mechanics that lies on the card.

    Parameters
    ----------
    model : MechanicsModel
        Of the part.
    """

    def __init__(self, model: MechanicsModel) -> None:
        self.mechanics = CardMechanics(model.pattern, model.grad, model.weight, model.bound_contact)
        self.table: Table | None = None
        self._area = model.face_area
        self._points = model.points.shape
        self._update: Update | None = None

    def resting(self, bound_table: BoundTable) -> Card:
        """The same part on a table.

        Parameters
        ----------
        bound_table : BoundTable
            That pushes on some of its points.

        Returns
        -------
        Card
            Sharing buffers and solver with this one, so that a factor of the one serves the other.
        """
        out = copy(self)
        out.mechanics, out.table = self.mechanics.resting(bound_table), bound_table.table
        return out

    @property
    def solver_name(self) -> str:
        """Of the library that factors."""
        return self.mechanics.solver.name

    def kept_from(self, arrays: Mapping[str, Floats], springs: Sequence[Spring]) -> CardFactor:
        """What a checkpoint kept for the next step.

        Parameters
        ----------
        arrays : mapping of str to ndarray
            As `CardFactor.to_arrays` gave them.
        springs : sequence of Spring
            Elastic clamps that are closed.

        Returns
        -------
        CardFactor
            For `follow`.
        """
        return CardFactor.from_arrays(self.mechanics.solver, arrays, springs)

    def follow(
        self,
        displacement: Floats,
        properties: Properties,
        internal_variables: InternalVariables,
        fixed: Flags,
        springs: Sequence[Spring],
        tolerance: float,
        kept: CardFactor | None = None,
        patience: int = PATIENCE,
    ) -> tuple[Equilibrium, CardFactor]:
        """Find the displacement in equilibrium; see `quasi_newton.follow_equilibrium`.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            Where to start. [m]
        properties : Properties
            At the end of the step.
        internal_variables : InternalVariables
            At its start.
        fixed : ndarray of bool, shape (N, 3)
            Unknowns that are held where they are.
        springs : sequence of Spring
            Elastic clamps that are closed.
        tolerance : float
            Residual force over the size of the cell forces that counts as equilibrium.
        kept : CardFactor, optional
            From the step before.
        patience : int
            Iterations a factor is given; 0 for Newton's method.

        Returns
        -------
        equilibrium : Equilibrium
            On the host.
        kept : CardFactor
            For the next step.

        Raises
        ------
        ConvergenceError
            With the residual history, when no equilibrium is found.
        """
        self.mechanics.load(properties, internal_variables)
        at_rest = float(np.linalg.norm(properties.bulk.max(axis=1) * self._area))
        search = _Search(self, displacement, fixed, springs, FORCE_SCALE_STRAIN * at_rest)
        search.begin(kept if patience else None)
        most = MOST_ITERATIONS if patience else MAX_ITERATIONS
        while len(search.history) < most and search.finite:
            if search.size() < tolerance:
                return search.found(self._points)
            if search.stalls(patience):
                search.factor()
            search.step()
        raise ConvergenceError(
            f"no equilibrium in {len(search.history)} iterations; "
            f"{residuals_in_words(search.history)}"
        )

    def equilibrium(
        self,
        displacement: Floats,
        properties: Properties,
        internal_variables: InternalVariables,
        fixed: Flags,
        springs: Sequence[Spring],
        tolerance: float,
        kept: CardFactor | None = None,
    ) -> tuple[Equilibrium, CardFactor | None]:
        """As `follow`, the way that is faster for a part of this size; if it fails, the other.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            Where to start. [m]
        properties : Properties
            At the end of the step.
        internal_variables : InternalVariables
            At its start.
        fixed : ndarray of bool, shape (N, 3)
            Unknowns that are held where they are.
        springs : sequence of Spring
            Elastic clamps that are closed.
        tolerance : float
            Residual force over the size of the cell forces that counts as equilibrium.
        kept : CardFactor, optional
            From the step before.

        Returns
        -------
        equilibrium : Equilibrium
            On the host.
        kept : CardFactor or None
            For the next step.

        Raises
        ------
        ConvergenceError
            With the residual history, when no equilibrium is found.
        """
        given = displacement, properties, internal_variables, fixed, springs, tolerance
        ways = (0, PATIENCE) if self.mechanics.pattern.size < NEWTON_BELOW else (PATIENCE, 0)
        try:
            found, factor = self.follow(*given, kept, ways[0])
            return found, factor if ways[0] else None  # Newton's method makes its own
        except ConvergenceError:
            return self.follow(*given, None, ways[1])[0], None

    def update_of(self, factor: CardFactor) -> Update:
        """The update's memory, one for all steps.

        Parameters
        ----------
        factor : CardFactor
            To begin with.

        Returns
        -------
        Update
            Without pairs.
        """
        if self._update is None:
            self._update = Update(factor, self.mechanics.pattern.size)
        self._update.begin(factor)
        self._update.back_substitutions = 0
        return self._update


class _Search:
    """A search under way: where it stands, and the update it goes by."""

    def __init__(
        self,
        card: Card,
        displacement: Floats,
        fixed: Flags,
        springs: Sequence[Spring],
        least: float,
    ) -> None:
        self.card, self.mechanics, self.springs, self.least = card, card.mechanics, springs, least
        self.on_card = [CardSpring.of(s) for s in springs]
        self.held = fixed.ravel().copy()
        self.free = on_card(~self.held)
        self.u = on_card(displacement).reshape(-1)
        self.force = self.mechanics.evaluate(self.u, self.on_card)
        self.squared = self.mechanics.squared_cell_forces
        self.residual: Any = None
        self.history: list[float] = []
        self.finite = True
        self.made = self.since = 0
        self.again = False

    def begin(self, kept: CardFactor | None) -> None:
        """Take up the factor of the step before, or make one."""
        solver = self.mechanics.solver
        if (
            kept is not None
            and kept.iterations <= LONG_STEP
            and kept.suits(solver, self.held, self.springs)
        ):
            self.update = self.card.update_of(kept)
            return
        self.update = self.card.update_of(self._factored())
        self.made = 1

    def _factored(self) -> CardFactor:
        self.mechanics.evaluate(self.u, self.on_card, tangent=True)
        return CardFactor.of(self.mechanics, self.held, self.springs)

    def factor(self) -> None:
        """Begin anew with the tangent of where it stands."""
        if self.since == 0 and self.made:
            return
        self.update.begin(self._factored())
        self.made, self.since, self.again = self.made + 1, 0, True

    def size(self) -> float:
        """Residual over the size of the cell forces, noted in the history."""
        xp = array_module()
        self.residual = -self.force * self.free
        squares = on_host(xp.stack([self.residual @ self.residual, self.squared]))
        left, scale = np.sqrt(squares)
        self.finite = bool(np.isfinite(scale))
        self.history.append(float(left / max(scale, self.least)))
        return self.history[-1]

    def stalls(self, patience: int) -> bool:
        """Whether the factor has had its iterations and no longer serves."""
        if self.since < patience:
            return False
        if patience == 0 or self.again:
            return True
        over = min(SLOW_OVER, len(self.history) - 1)
        return self.history[-1] > SLOW**over * self.history[-1 - over]

    def step(self) -> None:
        """One step, its length found on the work of the residual; the update learns from it."""
        direction = self.update.direction(self.residual)
        start, work, force = self._tried(direction)
        if not start > 0.0:  # rounding; the factor alone leads downhill
            self.update.forget()
            direction = self.update.direction(self.residual)
            start, work, force = self._tried(direction)
        share, force = self._searched(direction, start, work, force)
        taken = direction if share == 1.0 else share * direction
        self.update.learn(taken, self.residual + force * self.free)
        self.u = self.u + taken
        self.force, self.squared = force, self.mechanics.squared_cell_forces
        self.since += 1

    def _tried(self, direction: Any) -> tuple[float, float, Any]:
        """Work of the residual before and after a whole step, and the force there."""
        force = self.mechanics.evaluate(self.u + direction, self.on_card)
        both = array_module().stack([direction @ self.residual, direction @ force])
        start, after = on_host(both)
        return float(start), -float(after), force

    def _searched(self, direction: Any, start: float, work: float, force: Any) -> tuple[float, Any]:
        """Share of a step to take, and the force there: regula falsi on the residual's work."""
        if abs(work) <= FULL_STEP_WORK * start:
            return 1.0, force
        low, low_work, high, high_work, share = 0.0, start, 1.0, work, 1.0
        for _ in range(LINE_SEARCH_TRIES):
            if low_work * high_work < 0:
                share = low + (high - low) * low_work / (low_work - high_work)
                share = min(max(share, low + 0.1 * (high - low)), high - 0.1 * (high - low))
            else:
                share = 0.5 * share
            force = self.mechanics.evaluate(self.u + share * direction, self.on_card)
            work = -float(direction @ force)
            if abs(work) <= LINE_SEARCH_WORK * start:
                break
            if work > 0:
                low, low_work = share, work
            else:
                high, high_work = share, work
        return share, force

    def found(self, shape: tuple[int, ...]) -> tuple[Equilibrium, CardFactor]:
        """The equilibrium on the host, and what the next step may begin with."""
        stress, plastic, equivalent = self.mechanics.answer()
        u = on_host(self.u).reshape(shape)
        force = on_host(self.force)
        reaction = np.where(self.held, force, 0.0).reshape(shape)
        for s in self.springs:
            reaction[s.points] += s.force(u)
        if (table := self.card.table) is not None:
            reaction[table.points] += table.push(u)
        found = Equilibrium(
            u, stress, plastic, equivalent, reaction, len(self.history) - 1, tuple(self.history),
            self.made, self.update.back_substitutions,
        )  # fmt: skip
        return found, self.update.factor.kept(0 if self.again else self.since)
