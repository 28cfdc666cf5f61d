"""Equilibrium on a kept factor: BFGS updates of a tangent factored some steps ago.

A factorisation costs as much as thirty to a hundred back-substitutions, and a residual next to
nothing. So the factor is kept, over several time steps, and what has changed since is learnt from
the steps taken: the inverse is updated by limited-memory BFGS (J. Nocedal and S. J. Wright,
Numerical Optimization, 2nd ed. 2006, algorithm 7.4; for finite elements H. Matthies and G. Strang,
Int. J. Num. Meth. Eng. 14 (1979) 1613-1626). It is factored anew when the residual stalls. What
counts as equilibrium is judged by the residual alone, so an answer is as good as one of Newton's.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.physics.arrays import Flags, Floats
from weldsim.physics.changed_zone import ChangedZone
from weldsim.physics.equilibrium import (
    FULL_STEP_WORK,
    LINE_SEARCH_WORK,
    Equilibrium,
    Problem,
    residuals_in_words,
)
from weldsim.physics.kept_factor import KeptFactor
from weldsim.physics.linear_solver import LinearSolver
from weldsim.physics.mechanics_model import MechanicsModel, Response
from weldsim.physics.plasticity import InternalVariables, Properties
from weldsim.physics.springs import Spring

PAIRS = 15  # latest steps the update is made of
PATIENCE = 12  # iterations a factor is given before it is asked whether it still serves
SLOW = 0.75  # mean factor of the residual over `SLOW_OVER` iterations at which it does not
SLOW_OVER = 5
LONG_STEP = 25  # iterations in one time step after which the next begins with a new factor
MAX_ITERATIONS = 160
LINE_SEARCH_TRIES = 5
ZONES_FROM = 6000  # unknowns; below, a factor costs no more than cutting a zone out
RATIO = 1.5  # of stiffness to that in the factor from which a cell counts as changed
MOST_CHANGED = 0.2  # share of the cells that may have changed; then a new factor comes cheaper
FLOW = 1e-7  # plastic strain in a step from which a cell flows
ZONE_SLOW = 0.5  # factor of the residual in an iteration above which the zone is renewed


class Kept(NamedTuple):
    """What one step hands to the next.

    Attributes
    ----------
    factor : KeptFactor
        Of the latest matrix that was factored.
    stiffness : ndarray, shape (C, Q)
        Shear modulus of the metal in it. [Pa]
    flowing : ndarray of bool, shape (C,)
        Cells with flow in the step.
    cut : ndarray of bool, shape (C,)
        Cells of the zone that was cut out.
    iterations : int
        The step took on the factor.
    zone : ChangedZone, optional
        That zone; made again from `cut` where it is missing.
    """

    factor: KeptFactor
    stiffness: Floats
    flowing: Flags
    cut: Flags
    iterations: int = 0
    zone: ChangedZone | None = None

    def to_arrays(self) -> dict[str, Floats]:
        """What a checkpoint keeps of it.

        Returns
        -------
        dict of str to ndarray
            For `from_arrays`.
        """
        return {
            **self.factor.to_arrays(), "stiffness": self.stiffness, "flowing": self.flowing,
            "cut": self.cut,
            "iterations": np.array(self.iterations),
        }  # fmt: skip

    @classmethod
    def from_arrays(
        cls, solver: LinearSolver, arrays: Mapping[str, Floats], springs: Sequence[Spring]
    ) -> Kept:
        """Made again from `to_arrays`, to the bit.

        Parameters
        ----------
        solver : LinearSolver
            Of the same mesh.
        arrays : mapping of str to ndarray
            As kept.
        springs : sequence of Spring
            Elastic clamps that are closed.

        Returns
        -------
        Kept
            For the next step.
        """
        factor = KeptFactor.from_arrays(solver, arrays, springs)
        flowing, cut = arrays["flowing"].astype(bool), arrays["cut"].astype(bool)
        return cls(factor, arrays["stiffness"], flowing, cut, int(arrays["iterations"]))


@dataclass
class _Update:
    """Inverse of the tangent as known now: a kept factor and the steps taken since."""

    factor: KeptFactor
    zone: ChangedZone | None = None
    pairs: deque[tuple[Floats, Floats, float]] = field(default_factory=lambda: deque(maxlen=PAIRS))
    back_substitutions: int = 0

    def direction(self, residual: Floats) -> Floats:
        """Step (3 N,) that would undo a residual (3 N,): the two-loop recursion."""
        q, shares = residual.copy(), []
        for step, change, inverse in reversed(self.pairs):
            share = inverse * float(step @ q)
            shares.append(share)
            q -= share * change
        self.back_substitutions += 1
        out = self._around(q)
        for (step, change, inverse), share in zip(self.pairs, reversed(shares), strict=True):
            out += (share - inverse * float(change @ out)) * step
        return out

    def _around(self, residual: Floats) -> Floats:
        """The kept factor between two solutions of the zone."""
        if self.zone is None:
            return self.factor.apply(residual)
        first, left = self.zone.before(residual)
        out = self.factor.apply(np.where(self.factor.held, 0.0, left))
        self.zone.after(out, first)
        return out

    def learn(self, step: Floats, change: Floats) -> None:
        """Take in how much a step changed the residual, unless it says nothing."""
        product = float(step @ change)
        if product > 1e-12 * float(np.linalg.norm(step) * np.linalg.norm(change)):
            self.pairs.append((step, change, 1.0 / product))


def follow_equilibrium(
    model: MechanicsModel,
    displacement: Floats,
    properties: Properties,
    internal_variables: InternalVariables,
    fixed: Flags,
    springs: Sequence[Spring],
    tolerance: float,
    kept: Kept | None = None,
    zones: bool = True,
) -> tuple[Equilibrium, Kept]:
    """Find the displacement in equilibrium, on the factor of an earlier step as long as it serves.

    Parameters
    ----------
    model : MechanicsModel
        Cells, solver, faces that may touch.
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
    kept : Kept, optional
        From the step before; after many iterations its factor is made anew at once.
    zones : bool
        Whether what has changed since is to be factored apart; it pays while an arc burns.

    Returns
    -------
    equilibrium : Equilibrium
        In equilibrium to `tolerance`.
    kept : Kept
        For the next step.

    Raises
    ------
    ConvergenceError
        With the residual history, when no equilibrium is found.
    """
    rest = np.zeros_like(displacement)
    problem = Problem(model, properties, internal_variables, fixed, rest, springs)
    search = _Search(problem, displacement, zones)
    search.begin(kept)
    while len(search.history) < MAX_ITERATIONS and np.isfinite(search.now.scale):
        if search.size() < tolerance:
            return search.found()
        if search.stalls():
            search.factor()
        search.look()
        search.step()
    raise ConvergenceError(
        f"no equilibrium in {len(search.history)} iterations; {residuals_in_words(search.history)}"
    )


class _Search:
    """A search under way: where it stands, what it has tried, and the update it goes by."""

    def __init__(self, problem: Problem, displacement: Floats, zones: bool) -> None:
        self.problem, self.u = problem, displacement.copy()
        self.held = problem.fixed.ravel()
        self.now = problem.evaluate(displacement, tangent=False)
        self.residual = np.zeros(0)
        self.history: list[float] = []
        self.zones = zones and self.held.size >= ZONES_FROM
        self.stiffness = problem.properties.shear
        self.flowing = np.zeros(len(self.stiffness), dtype=bool)
        self.zone: ChangedZone | None = None
        self.made = self.since = 0  # factors, and iterations since the last of them
        self.renew = 1  # iterations after which the zone may be renewed
        self.again = False  # whether the factor it began with had to be given up

    def begin(self, kept: Kept | None) -> None:
        """Take up the factor of the step before, or make one."""
        model, springs = self.problem.model, self.problem.springs
        if (
            kept is not None
            and kept.iterations <= LONG_STEP
            and (self.zones or not kept.cut.any())  # the factor alone is of cold metal
            and kept.factor.suits(model.solver, self.held, springs)
        ):
            self.update = _Update(kept.factor)
            self.stiffness, self.flowing = kept.stiffness, kept.flowing
            if self.zones and kept.zone is not None:
                self.zone = kept.zone
            elif kept.cut.any():  # of a run that is resumed
                self.zone = ChangedZone.of(model, kept.cut, self.held, springs)
            if not self.zones or self._changed().mean() <= MOST_CHANGED:
                self._cut()
                return
        elif kept is not None:
            self.flowing = kept.flowing
        law = cold = self.problem.properties
        if self.zones:
            cold = law.cold()
            self.stiffness = cold.shear
            if self._changed().mean() <= MOST_CHANGED:  # hot all over, it is far from cold
                law = cold
        self.update = _Update(self._factored(law))
        self.made = 1
        if law is cold:
            self._cut()

    def _factored(self, law: Properties) -> KeptFactor:
        """Factor of the tangent where it stands, of metal with a law."""
        tangent = replace(self.problem, properties=law).evaluate(self.u).tangent
        self.stiffness = law.shear
        solver, springs = self.problem.model.solver, self.problem.springs
        return KeptFactor.of(solver, tangent, self.held, springs)

    def factor(self) -> None:
        """Begin anew with the tangent of where it stands."""
        spent, law = self.update.back_substitutions, self.problem.properties
        self.update = _Update(self._factored(law), back_substitutions=spent)
        self.flowing = np.zeros_like(self.flowing)
        self.made, self.since, self.renew, self.again = self.made + 1, 0, 2, True

    def _changed(self) -> Flags:
        """Cells that are not as the kept factor has them."""
        ratio = self.problem.properties.shear / self.stiffness
        changed: Flags = (np.maximum(ratio, 1.0 / ratio) > RATIO).any(axis=1) | self.flowing
        return changed

    def _cut(self) -> None:
        """Cut out what has changed, unless the zone at hand holds nearly all of it; factor it."""
        problem, changed, zone = self.problem, self._changed(), self.zone
        self.update.zone = None
        if not self.zones or not changed.any() or changed.mean() > 2 * MOST_CHANGED:
            return
        if zone is None or not zone.serves(changed):
            self.zone = ChangedZone.of(problem.model, changed, self.held, problem.springs)
        self.update.zone = self.zone
        self._refresh()

    def _refresh(self) -> None:
        """Factor the zone as it is now."""
        if self.update.zone is not None:
            law, memory = self.problem.properties, self.problem.internal_variables
            self.update.zone.refresh(self.u, law, memory)

    def look(self) -> None:
        """Renew the zone after a step that gained little: it flows elsewhere by now."""
        if not self.zones or self.since < self.renew:
            return
        if self.history[-1] < ZONE_SLOW * self.history[-2]:
            return
        self.renew = 2 * self.since + 1
        flows = self._flows()
        self.flowing = np.logical_or(flows, self.flowing)
        self._cut()

    def _flows(self) -> Flags:
        """Cells with plastic flow in this step."""
        before = self.problem.internal_variables.equivalent_plastic_strain
        flows: Flags = np.asarray(self.now.equivalent_plastic_strain > before + FLOW)
        return np.asarray(flows.any(axis=1))

    def size(self) -> float:
        """Residual over the size of the cell forces, noted in the history."""
        self.residual = np.where(self.held, 0.0, -self.now.force.ravel())
        scale = self.problem.force_scale(self.now)
        self.history.append(float(np.linalg.norm(self.residual)) / scale)
        return self.history[-1]

    def stalls(self) -> bool:
        """Whether the factor has had its iterations and no longer serves."""
        if self.since < PATIENCE:
            return False
        return self.again or (self.history[-1] > SLOW**SLOW_OVER * self.history[-1 - SLOW_OVER])

    def step(self) -> None:
        """One step, its length found on the work of the residual; the update learns from it."""
        direction = self.update.direction(self.residual)
        if not float(direction @ self.residual) > 0.0:  # rounding; the factor alone leads downhill
            self.update.pairs.clear()
            direction = self.update.direction(self.residual)
        shaped = direction.reshape(self.u.shape)
        share, new = _searched(self.problem, self.u, shaped, self.residual)
        change = self.residual + np.where(self.held, 0.0, new.force.ravel())
        self.update.learn(share * direction, change)
        self.u, self.now = self.u + share * shaped, new
        self.since += 1

    def found(self) -> tuple[Equilibrium, Kept]:
        """The equilibrium, and what the next step may begin with."""
        found = self.problem.found(self.u, self.now, -self.now.force, self.history)
        spent = self.update.back_substitutions
        flows, zone = self._flows(), self.zone
        # a factor made on the way is of hot metal: a zone stands better on one of cold metal
        spell = (LONG_STEP + 1 if self.zones else 0) if self.again else self.since
        kept = Kept(
            self.update.factor, self.stiffness, flows,
            np.zeros_like(flows) if zone is None else zone.changed,
            spell, zone,
        )  # fmt: skip
        return replace(found, factorisations=self.made, back_substitutions=spent), kept


def _searched(
    problem: Problem, u: Floats, direction: Floats, residual: Floats
) -> tuple[float, Response]:
    """Share of a step to take, and the answer there: regula falsi on the residual's work."""
    start = float(direction.ravel() @ residual)
    new = problem.evaluate(u + direction, tangent=False)
    work = -float(np.vdot(direction, new.force))
    if abs(work) <= FULL_STEP_WORK * start:
        return 1.0, new
    low, low_work, high, high_work, share = 0.0, start, 1.0, work, 1.0
    for _ in range(LINE_SEARCH_TRIES):
        if low_work * high_work < 0:
            share = low + (high - low) * low_work / (low_work - high_work)
            share = min(max(share, low + 0.1 * (high - low)), high - 0.1 * (high - low))
        else:
            share = 0.5 * share
        new = problem.evaluate(u + share * direction, tangent=False)
        work = -float(np.vdot(direction, new.force))
        if abs(work) <= LINE_SEARCH_WORK * start:
            break
        if work > 0:
            low, low_work = share, work
        else:
            high, high_work = share, work
    return share, new
