"""One case from start to cold, step by step: rows 3 to 8 in order, no physics of its own.

`State` holds everything the future depends on. `next_event` reads from it what comes next, and
`advance` carries that out; neither keeps anything. A run is the two in turn, so it can stop,
resume or branch at any state.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from weldsim.errors import BalanceError, ConvergenceError
from weldsim.physics.heat_conduction import heat_step
from weldsim.physics.mechanics import (
    SOFT_RANGE,
    Equilibrium,
    InternalVariables,
    Properties,
    accept,
    solve_equilibrium,
)
from weldsim.schema.column import Readings
from weldsim.simulation.model import COLD, Frame, Model, build_model, field_frame
from weldsim.simulation.state import State

__all__ = [
    "Frame", "Model", "State", "Step", "advance", "build_model", "field_frame", "next_event",
    "simulate", "start_state",
]  # fmt: skip

MAX_HALVINGS = 6
LONGEST_REST = 120.0  # s
RULE_BAND = 0.5  # K by which a temperature rule may be overshot
BALANCE_LIMIT = 1e-3  # heat not accounted for over the heat supplied


@dataclass(frozen=True)
class Event:
    """What happens in one step: kind `weld`, `rest`, `release` or `grip`, and its length. [s]"""

    kind: str
    duration: float = 0.0
    weld: int = -1


@dataclass(frozen=True)
class Step:
    """An accepted step and what was read from it."""

    state: State
    phase: str
    gauges: Readings
    progress: float
    iterations: int
    heat_iterations: int
    retries: int

    @property
    def time(self) -> float:
        return self.state.time


def start_state(model: Model) -> State:
    """The part before the first arc: at preheat, without stress, nothing laid."""
    surroundings = model.case.surroundings
    points = model.heat.points.shape[0]
    cells, quadrature = model.mechanics.shape_counts
    temperature = np.full(points, surroundings.preheat)
    reached = np.full(len(model.seams), -np.inf)
    state = State(
        time=0.0,
        temperature=temperature,
        peak_temperature=temperature.copy(),
        displacement=np.zeros_like(model.mechanics.points),
        internal_variables=InternalVariables.virgin(cells, quadrature),
        stress=np.zeros((cells, quadrature, 6)),
        reached=reached,
        starts=np.full(len(model.seams), np.nan),
        stops=np.full(len(model.seams), np.nan),
        interpass=np.full(len(model.seams), np.nan),
        closed_clamps=(),
        supplied=0.0,
        lost=0.0,
        stored=0.0,
        rescale=np.array([1.0, 1.0]),
        steps=0,
        anchors=np.zeros((len(model.case.clamps), 6)),
        reaction=np.zeros_like(model.mechanics.points),
    )
    state = replace(state, closed_clamps=tuple(model.changes(state)[1]))
    return replace(state, stored=model.stored(state), start_heat=model.stored(state))


def next_event(model: Model, state: State) -> Event | None:
    """What comes next; None when the case is over. Pure."""
    case = model.case
    off, on = model.changes(state)
    if off or on:
        return Event("release" if off else "grip")
    limit = model.next_change(state) - state.time  # how long a step may be at most
    if case.solve.end != "cold":  # a stated end holds whatever is still to be welded
        if state.time >= case.solve.end - 1e-9:
            return None
        limit = min(limit, case.solve.end - state.time)
    burning = np.flatnonzero(~np.isnan(state.starts) & np.isnan(state.stops))
    if burning.size:
        return _weld_event(model, state, int(burning[0]), limit)
    waiting = np.flatnonzero(np.isnan(state.starts))
    if waiting.size:
        weld = int(waiting[0])
        due = model.due(state, weld)
        if due <= state.time + 1e-9:
            return _weld_event(model, state, weld, limit)
        return Event("rest", min(_rest_step(model, state), due - state.time, limit))
    if state.temperature.max() <= case.surroundings.ambient + COLD and case.solve.end == "cold":
        return None
    return Event("rest", min(_rest_step(model, state), limit))


def _weld_event(model: Model, state: State, weld: int, limit: float) -> Event:
    """Next stretch of a bead: equal steps over its length, cut where a clamp comes off."""
    duration = model.sources[weld].duration
    count = max(1, int(np.ceil(duration / model.torch_time(weld) - 1e-9)))
    step = duration / count
    gone = 0.0 if np.isnan(state.starts[weld]) else state.time - state.starts[weld]
    ahead = (np.floor(gone / step + 1e-6) + 1) * step - gone
    return Event("weld", min(ahead, limit), weld)


def _rest_step(model: Model, state: State) -> float:
    """Step of a pause: a share of the time since the arc stopped, never under a torch step."""
    done = np.flatnonzero(~np.isnan(state.stops))
    last = int(done[np.argmax(state.stops[done])]) if done.size else 0
    since = state.time - (state.stops[last] if done.size else 0.0)
    shortest = model.torch_time(last) if model.sources else LONGEST_REST
    return float(np.clip(model.grade.rest_growth * since, shortest, LONGEST_REST))


def advance(model: Model, state: State, event: Event) -> tuple[State, dict]:
    """State after an event, and how hard it was: iterations, heat_iterations, retries.

    Trouble halves the step, always from the last accepted state.

    Raises
    ------
    ConvergenceError
        With step and time, when halving does not help either.
    BalanceError
        If heat in is not stored plus lost.
    """
    if event.kind in ("release", "grip"):
        return _release(model, state)
    duration = event.duration
    for retry in range(MAX_HALVINGS):
        try:
            new, effort = _try_step(model, state, replace(event, duration=duration))
            effort["retries"] = retry
            return new, effort
        except ConvergenceError as error:
            trouble = error
            duration /= 2
    raise ConvergenceError(
        f"step {state.steps + 1} at {state.time:.4g} s ({event.kind}): {trouble}; "
        f"halving the step {MAX_HALVINGS} times to {duration:.2g} s did not help"
    )


def _try_step(model: Model, state: State, event: Event) -> tuple[State, dict]:
    heated, heat_iterations = heat_to_limit(model, state, event)
    found, properties = equilibrium_of(model, state, heated)
    at_points = model.at_quadrature(heated.temperature)
    softening = model.material.softening_temperature
    # filler follows the part as a soft skin until the step in which the arc passes it
    carries = model.active_points(heated)
    joins = carries & ~model.active_points(state)
    reset = ((at_points >= softening + SOFT_RANGE) & carries) | joins
    anneal = at_points >= softening
    if model.case.solve.model == "elastic":
        # The restrained-bar rule counts from cold metal and knows what melting does already, so
        # filler waits cold and free of stress and starts with the step in which it joins.
        reset = ~carries
        anneal = None
        properties = replace(properties, thermal_strain=np.zeros_like(at_points))
    internal_variables, stress = accept(
        model.mechanics, found, properties, heated.internal_variables, reset, anneal
    )
    new = replace(
        heated, displacement=found.displacement, internal_variables=internal_variables, stress=stress,
        steps=state.steps + 1, reaction=found.reaction,
    )  # fmt: skip
    gap = new.energy_balance.gap
    if gap > BALANCE_LIMIT and new.supplied + new.lost > 1.0:
        raise BalanceError(
            f"heat balance open by {gap:.2%} of the heat supplied at {new.time:.4g} s"
        )
    return new, {"iterations": found.iterations, "heat_iterations": heat_iterations}


def _heat(model: Model, state: State, event: Event) -> tuple[State, int]:
    """Temperature part of a step: filler joins, then `heat_substeps` implicit steps."""
    end = state.time + event.duration
    starts, stops, reached = state.starts.copy(), state.stops.copy(), state.reached.copy()
    interpass, weld = state.interpass.copy(), event.weld
    if event.kind == "weld":
        source = model.sources[weld]
        if np.isnan(starts[weld]):
            starts[weld] = state.time
            interpass[weld] = model.base_temperature(state, weld)
        gone = end - starts[weld]
        reached[weld] = source.place(gone)
        if gone >= source.duration * (1 - 1e-9):
            reached[weld], stops[weld] = np.inf, end
    new = replace(state, time=end, starts=starts, stops=stops, reached=reached, interpass=interpass)
    active = model.active_cells(new)
    exchange = model.exchange(active, state.closed_clamps)
    film_coefficient = model.case.cooling_film_coefficient
    if film_coefficient is not None and event.kind == "rest" and np.any(np.isnan(starts)):
        exchange = replace(
            exchange, film_coefficient=film_coefficient
        )  # forced cooling between passes
    temperature = state.temperature
    if not np.array_equal(active, model.active_cells(state)):
        temperature = model.heat.lay(
            temperature, model.exchange(model.active_cells(state), state.closed_clamps), exchange
        )
    dt = event.duration / model.grade.heat_substeps
    supplied, lost, iterations = state.supplied, state.lost, 0
    peak, rescale = state.peak_temperature, state.rescale
    for k in range(model.grade.heat_substeps):
        power = np.zeros_like(temperature)
        if event.kind == "weld":
            begin = state.time - starts[weld] + k * dt
            power, factor = model.arc_power(weld, active, begin, begin + dt)
            rescale = np.array([min(rescale[0], factor), max(rescale[1], factor)])
        temperature, out, tries = heat_step(model.heat, temperature, exchange, active, power, dt)
        # tables end where a material says so; beyond that nothing is read off them in silence
        model.material.check_range(temperature.min(), temperature.max())
        supplied += power.sum() * dt
        lost += out
        iterations += tries
        peak = np.maximum(peak, np.where(exchange.active, temperature, 0.0))
    new = replace(
        new, temperature=temperature, peak_temperature=peak, supplied=supplied, lost=lost,
        rescale=rescale,
    )  # fmt: skip
    return replace(new, stored=model.heat.stored(temperature, exchange)), iterations


def heat_to_limit(model: Model, state: State, event: Event) -> tuple[State, int]:
    """Temperature part of a step; a pause ends where its temperature rule comes true.

    Regula falsi on the length of the step, to within `RULE_BAND` of the limit.
    """
    heated, iterations = _heat(model, state, event)
    watch = model.watched(state) if event.kind == "rest" else None
    if watch is None or watch(state) <= watch(None):
        return heated, iterations
    limit = watch(None)
    short, above = 0.0, watch(state)
    long, below = event.duration, watch(heated)
    for _ in range(8):
        if below >= limit - RULE_BAND:
            break
        middle = short + (long - short) * (above - limit) / (above - below)
        tried, tries = _heat(model, state, replace(event, duration=middle))
        iterations += tries
        value = watch(tried)
        if value > limit:
            short, above = middle, value
        else:
            long, below, heated = middle, value, tried
    return heated, iterations


def equilibrium_of(model: Model, old: State, heated: State) -> tuple[Equilibrium, Properties]:
    """Equilibrium at the new temperature."""
    at_points = model.at_quadrature(heated.temperature)
    elastic = model.case.solve.model == "elastic"
    joined = model.active_points(heated if elastic else old)
    properties = Properties.of(model.material, at_points, joined, softens=not elastic)
    fixed = model.supports(heated.closed_clamps)
    internal_variables = heated.internal_variables
    if elastic:
        internal_variables = model.shrink(heated, at_points, properties)
        properties = replace(properties, yield_stress=np.full_like(at_points, np.inf))
    rough = model.grade.balance is not None and not elastic
    for roughly in (True, False) if rough else (False,):
        try:
            found = solve_equilibrium(
                model.mechanics, old.displacement, properties, internal_variables, fixed,
                springs=model.springs(heated), tolerance=model.grade.balance, rough=roughly,
            )  # fmt: skip
            break
        except ConvergenceError:
            if not roughly:
                raise
    return found, properties


def _release(model: Model, state: State) -> tuple[State, dict]:
    """Clamps off and on: reactions of those that open go, and the part springs to a new place.

    A clamp that closes grips the part where it is. Without any, rigid motion is stopped by
    supports where the part was first held, so the gauges keep reading against the place the part
    was built in.
    """
    off, on = model.changes(state)
    closed_clamps = tuple(n for n in (*state.closed_clamps, *on) if n not in off)
    free = replace(
        state, closed_clamps=closed_clamps, released=(*state.released, *off),
        anchors=model.anchors(state, on),
    )  # fmt: skip
    found, properties = equilibrium_of(model, state, free)
    none = np.zeros(found.stress.shape[:2], dtype=bool)
    internal_variables, stress = accept(
        model.mechanics, found, properties, free.internal_variables, none
    )
    new = replace(
        free, displacement=found.displacement, internal_variables=internal_variables, stress=stress,
        steps=state.steps + 1, reaction=found.reaction,
    )  # fmt: skip
    return new, {"iterations": found.iterations, "heat_iterations": 0, "retries": 0}


def simulate(model: Model, state: State | None = None) -> Iterator[Step]:
    """Steps of a case from a state (from the start when left out) until it is over."""
    state = start_state(model) if state is None else state
    while (event := next_event(model, state)) is not None:
        state, effort = advance(model, state, event)
        phase = event.kind if event.kind != "weld" else f"weld {model.case.welds[event.weld].name}"
        yield Step(
            state, phase, model.read(state), model.progress(state), effort["iterations"],
            effort["heat_iterations"], effort["retries"],
        )  # fmt: skip
