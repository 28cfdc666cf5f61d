"""One case from start to cold, step by step; no physics of its own.

`State` holds everything the future depends on. `next_event` reads from it what comes next, and
`advance` carries that out; neither keeps anything. A run is the two in turn, so it can stop,
resume or branch at any state.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from weldsim.errors import BalanceError, ConvergenceError
from weldsim.physics.arrays import Flags
from weldsim.physics.equilibrium import Equilibrium, accept, solve_equilibrium
from weldsim.physics.plasticity import SOFT_RANGE, InternalVariables, Properties
from weldsim.physics.quasi_newton import Kept, follow_equilibrium
from weldsim.schema.column import Readings
from weldsim.simulation.events import Event, next_event
from weldsim.simulation.frame import Frame, field_frame
from weldsim.simulation.heat_stage import heat_to_limit
from weldsim.simulation.model import Model, build_model
from weldsim.simulation.state import State
from weldsim.simulation.step_limit import check_arc_steps, check_steps_so_far

__all__ = [
    "Effort", "Event", "Frame", "Model", "State", "Step", "advance", "build_model", "field_frame",
    "heat_to_limit", "next_event", "simulate", "start_state",
]  # fmt: skip

MAX_HALVINGS = 6
# Of the tolerance in the `elastic` model: what bends a part is small there beside the cell forces
# (at 1e-6 the demo bar's tilt is off by 4e-4 under the first bead), and what is linear comes cheap.
ELASTIC_SHARE = 1e-2
BALANCE_LIMIT = 1e-3  # heat not accounted for over the heat supplied
BALANCE_FROM = 1.0  # J of heat moved, below which the balance is all rounding


class Effort(NamedTuple):
    """How hard a step was.

    Attributes
    ----------
    iterations : int
        Of the equilibrium.
    heat_iterations : int
        Of the heat.
    retries : int
        How often the step was halved.
    factorisations, back_substitutions : int
        Of the equilibrium.
    kept : Kept or None
        What the next step may begin with instead of a factorisation.
    """

    iterations: int = 0
    heat_iterations: int = 0
    retries: int = 0
    factorisations: int = 0
    back_substitutions: int = 0
    kept: Kept | None = None

    @classmethod
    def of(cls, found: Equilibrium, kept: Kept | None, heat_iterations: int = 0) -> Effort:
        """Effort of a step that found equilibrium.

        Parameters
        ----------
        found : Equilibrium
            Of the step.
        kept : Kept or None
            For the next one.
        heat_iterations : int
            Of the heat.

        Returns
        -------
        Effort
            Without retries.
        """
        return cls(
            found.iterations, heat_iterations, 0, found.factorisations, found.back_substitutions,
            kept,
        )  # fmt: skip


@dataclass(frozen=True)
class Step:
    """An accepted step and what was read from it.

    Attributes
    ----------
    state : State
        After the step.
    phase : str
        "weld NAME", "rest", "release" or "grip".
    gauges : Readings
        In SI.
    progress : float
        Rough share of the run that lies behind.
    effort : Effort
        How hard it was.
    """

    state: State
    phase: str
    gauges: Readings
    progress: float
    effort: Effort

    @property
    def time(self) -> float:
        """Since the run started. [s]"""
        return self.state.time

    @property
    def iterations(self) -> int:
        """Of the equilibrium."""
        return self.effort.iterations

    @property
    def heat_iterations(self) -> int:
        """Of the heat."""
        return self.effort.heat_iterations

    @property
    def retries(self) -> int:
        """How often the step was halved."""
        return self.effort.retries


def start_state(model: Model) -> State:
    """The part before the first arc.

    Parameters
    ----------
    model : Model
        Of the case.

    Returns
    -------
    State
        At preheat, without stress, no filler there but cold tacks.

    Raises
    ------
    CaseError
        If the arcs take more steps than a run may have.
    """
    check_arc_steps(model)
    mechanics, welds = model.mechanics, len(model.seams)
    cells, quadrature = mechanics.shape_counts
    temperature = np.full(model.heat.points.shape[0], model.case.surroundings.preheat)
    state = State(
        time=0.0,
        temperature=temperature,
        peak_temperature=temperature.copy(),
        displacement=np.zeros_like(mechanics.points),
        internal_variables=InternalVariables.virgin(cells, quadrature),
        stress=np.zeros((cells, quadrature, 6)),
        reached=np.full(welds, -np.inf),
        starts=np.full(welds, np.nan),
        stops=np.full(welds, np.nan),
        interpass=np.full(welds, np.nan),
        closed_clamps=(),
        supplied=0.0,
        lost=0.0,
        stored=0.0,
        rescale=np.array([1.0, 1.0]),
        steps=0,
        anchors=np.zeros((len(model.case.clamps), 6)),
        reaction=np.zeros_like(mechanics.points),
        inherent_strain=np.zeros((cells, quadrature)),
    )
    state = replace(state, closed_clamps=tuple(model.history.rules.changes(state)[1]))
    stored = model.stored(state)
    return replace(state, stored=stored, brought_heat=stored)


def advance(
    model: Model, state: State, event: Event, kept: Kept | None = None
) -> tuple[State, Effort]:
    """Carry an event out.

    Parameters
    ----------
    model : Model
        Of the case.
    state : State
        Before.
    event : Event
        As `next_event` gives it.
    kept : Kept, optional
        From the effort of the step before: saves factorisations, changes nothing beyond the
        tolerance.

    Returns
    -------
    state : State
        After. Trouble halves the step, always from the last accepted state, so its end may lie
        before that of the event.
    effort : Effort
        How hard it was.

    Raises
    ------
    ConvergenceError
        With step and time, when halving does not help either.
    BalanceError
        If heat in is not stored plus lost.
    """
    if event.kind in ("release", "grip"):
        return _move_clamps(model, state, kept)
    duration = event.duration
    for retry in range(MAX_HALVINGS):
        try:
            new, effort = _try_step(model, state, replace(event, duration=duration), kept)
            return new, effort._replace(retries=retry)
        except ConvergenceError as error:
            trouble, kept = error, None
            duration /= 2
    raise ConvergenceError(
        f"step {state.steps + 1} at {state.time:.4g} s ({event.kind}): {trouble}; "
        f"halving the step {MAX_HALVINGS} times to {duration:.2g} s did not help"
    )


def _try_step(model: Model, state: State, event: Event, kept: Kept | None) -> tuple[State, Effort]:
    """Heat, then equilibrium where it is due."""
    heated, heat_iterations = heat_to_limit(model, state, event)
    _check_balance(heated)
    heated = replace(heated, steps=state.steps + 1)
    heated = _shrunk(model, heated)
    if _equilibrium_waits(model, heated, event):
        waiting = state.steps_since_equilibrium + 1
        return replace(heated, steps_since_equilibrium=waiting), Effort(
            0, heat_iterations, kept=kept
        )
    found, properties, kept = _equilibrium_of(model, state, heated, kept)
    reset, anneal = _forgetting(model, state, heated)
    if model.shrinkage is not None:
        # what waits is set free of stress where it is, cold: see `_forgetting`
        properties = replace(properties, thermal_strain=np.zeros_like(properties.thermal_strain))
    new = _accepted(model, heated, found, properties, reset, anneal)
    return new, Effort.of(found, kept, heat_iterations)


def _check_balance(state: State) -> None:
    balance = state.energy_balance
    if balance.gap > BALANCE_LIMIT and state.supplied + state.lost > BALANCE_FROM:
        raise BalanceError(
            f"heat balance open by {balance.gap:.2%} of the heat supplied at {state.time:.4g} s"
        )


def _equilibrium_waits(model: Model, heated: State, event: Event) -> bool:
    """Whether a step of a pause may do without equilibrium."""
    every = model.stepping.rest_steps_per_equilibrium
    if event.kind != "rest" or heated.steps_since_equilibrium + 1 >= every:
        return False
    return not any(model.history.rules.changes(heated)) and next_event(model, heated) is not None


def _forgetting(model: Model, old: State, heated: State) -> tuple[Flags, Flags | None]:
    """Points that become free of stress where they are, and points that forget their hardening.

    In the `plastic` model filler that waits is soft and its stress is of no account, so that it is
    set free once, in the step in which the arc passes it; soft metal is at every step. The
    restrained-bar rule of the `elastic` model counts from cold metal and knows what melting does
    already, so there filler is set free at every step as long as it waits, cold, and starts with
    the step in which it joins.
    """
    carries = model.active_points(heated)
    if model.shrinkage is not None:
        return ~carries, None
    at_points = model.at_quadrature(heated.temperature)
    softening = model.material.softening_temperature
    joins = carries & ~model.active_points(old)
    return ((at_points >= softening + SOFT_RANGE) & carries) | joins, at_points >= softening


def _shrunk(model: Model, heated: State) -> State:
    """The state with the inherent strain of the `elastic` model brought up to its temperature."""
    if model.shrinkage is None:
        return heated
    at_points = model.at_quadrature(heated.temperature)
    properties = Properties.of(
        model.material, at_points, model.active_points(heated), False, model.discretisation.filler
    )
    peak = model.at_quadrature(heated.peak_temperature)
    internal_variables, strain = model.shrinkage.brought_up_to(heated, peak, properties)
    return replace(heated, internal_variables=internal_variables, inherent_strain=strain)


def _equilibrium_of(
    model: Model, old: State, heated: State, kept: Kept | None
) -> tuple[Equilibrium, Properties, Kept | None]:
    """Equilibrium at the new temperature, by Newton's method where a kept factor does not lead."""
    at_points = model.at_quadrature(heated.temperature)
    elastic = model.shrinkage is not None
    carries = model.active_points(heated if elastic else old)
    filler = model.discretisation.filler
    properties = Properties.of(model.material, at_points, carries, not elastic, filler)
    if elastic:
        properties = replace(properties, yield_stress=np.full_like(at_points, np.inf))
    fixed, springs = model.supports(heated.closed_clamps), model.springs(heated)
    tolerance = model.stepping.tolerance * (ELASTIC_SHARE if elastic else 1.0)
    mechanics = model.history.mechanics(heated.closed_clamps)
    card = mechanics.card
    if card is not None:
        on_card: tuple[Equilibrium, Any] = card.equilibrium(
            old.displacement, properties, heated.internal_variables, fixed, springs, tolerance, kept
        )
        return on_card[0], properties, on_card[1]
    try:
        found, kept = follow_equilibrium(
            mechanics, old.displacement, properties, heated.internal_variables, fixed,
            springs, tolerance, kept, elastic or not np.array_equal(heated.reached, old.reached),
        )  # fmt: skip
        return found, properties, kept
    except ConvergenceError:
        found = solve_equilibrium(
            mechanics, old.displacement, properties, heated.internal_variables, fixed,
            springs=springs, tolerance=tolerance,
        )  # fmt: skip
        return found, properties, None


def _accepted(
    model: Model,
    state: State,
    found: Equilibrium,
    properties: Properties,
    reset: Flags,
    anneal: Flags | None = None,
) -> State:
    """The state in the equilibrium found for it."""
    internal_variables, stress = accept(
        model.mechanics, found, properties, state.internal_variables, reset, anneal
    )
    return replace(
        state, displacement=found.displacement, internal_variables=internal_variables,
        stress=stress, reaction=found.reaction, steps_since_equilibrium=0,
    )  # fmt: skip


def _move_clamps(model: Model, state: State, kept: Kept | None) -> tuple[State, Effort]:
    """Clamps off and on: reactions of those that open go, and the part springs to a new place.

    A clamp that closes grips the part where it is. Without any, rigid motion is stopped by
    supports where the part was first held, so the gauges keep reading against the place the part
    was built in.
    """
    off, on = model.history.rules.changes(state)
    closed = tuple(n for n in (*state.closed_clamps, *on) if n not in off)
    anchors = model.history.clamping.anchored(state.anchors, state.displacement, on)
    free = _shrunk(
        model,
        replace(
            state, closed_clamps=closed, released=(*state.released, *off), anchors=anchors,
            steps=state.steps + 1,
        ),
    )  # fmt: skip
    found, properties, kept = _equilibrium_of(model, state, free, kept)
    none = np.zeros(found.stress.shape[:2], dtype=bool)
    return _accepted(model, free, found, properties, none), Effort.of(found, kept)


def simulate(model: Model, state: State | None = None, kept: Kept | None = None) -> Iterator[Step]:
    """Steps of a case until it is over.

    Parameters
    ----------
    model : Model
        Of the case.
    state : State, optional
        To go on from; the start when left out.
    kept : Kept, optional
        Of the effort of the step that led there.

    Yields
    ------
    Step
        Every accepted step.
    """
    state = start_state(model) if state is None else state
    while (event := next_event(model, state)) is not None:
        check_steps_so_far(state)
        state, effort = advance(model, state, event, kept)
        kept = effort.kept
        phase = event.kind if event.kind != "weld" else f"weld {model.case.welds[event.weld].name}"
        yield Step(state, phase, model.read(state), model.progress(state), effort)
