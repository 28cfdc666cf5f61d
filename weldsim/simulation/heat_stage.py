"""Temperature part of a step: filler joins, then implicit heat steps under the arc or without."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from weldsim.physics.heat_conduction import heat_step
from weldsim.physics.heat_system import HeatSystem
from weldsim.physics.surface_exchange import SurfaceExchange
from weldsim.simulation.events import Event
from weldsim.simulation.model import Model
from weldsim.simulation.start_rules import RULE_BAND
from weldsim.simulation.state import State
from weldsim.simulation.step_limit import check_rescale

MAX_TRIES = 8  # lengths tried for a pause that is to end at a temperature


def heat_through(model: Model, state: State, event: Event) -> tuple[State, int]:
    """Temperature after an event, displacement and stress left as they were.

    Parameters
    ----------
    model : Model
        Of the case.
    state : State
        Before.
    event : Event
        A weld or a rest.

    Returns
    -------
    state : State
        After.
    iterations : int
        Systems solved.

    Raises
    ------
    ConvergenceError
        If a heat step does not converge.
    MaterialError
        If the temperature leaves the range of a material that may not be extended.
    """
    new = _arc_moved(model, state, event)
    exchange = _exchange(model, new, event)
    new = _filler_joined(model, state, new, exchange)
    active = model.active_cells(new)
    dt = event.duration / model.stepping.heat_substeps
    temperature, peak, rescale = new.temperature, new.peak_temperature, new.rescale
    supplied, lost, iterations = new.supplied, new.lost, 0
    step = model.heat.mesh.card.step if model.heat.mesh.card else heat_step
    system = HeatSystem(model.heat.mesh.solver)
    for k in range(model.stepping.heat_substeps):
        power = np.zeros_like(temperature)
        if event.kind == "weld":
            begin = state.time - new.starts[event.weld] + k * dt
            power, factor = model.history.arc_power(event.weld, active, begin, begin + dt)
            check_rescale(model, event.weld, factor)
            rescale = np.array([min(rescale[0], factor), max(rescale[1], factor)])
        now = state.time + (k + 1) * dt
        warmth = model.history.warmth(active, new.closed_clamps, now)
        brought = power if warmth is None else power + warmth
        temperature, out, tries = step(
            model.heat, temperature, exchange, active, brought, dt, system=system
        )
        out -= 0.0 if warmth is None else float(warmth.sum()) * dt
        # tables end where a material says so; beyond that nothing is read off them in silence
        model.material.check_range(temperature.min(), temperature.max())
        supplied += power.sum() * dt
        lost += out
        iterations += tries
        peak = np.maximum(peak, np.where(exchange.active, temperature, 0.0))
    new = replace(
        new, temperature=temperature, peak_temperature=peak, supplied=float(supplied), lost=lost,
        rescale=rescale, stored=model.heat.stored(temperature, exchange),
    )  # fmt: skip
    return new, iterations


def _arc_moved(model: Model, state: State, event: Event) -> State:
    """The state with clock and arc at the end of the event."""
    end, weld = state.time + event.duration, event.weld
    if event.kind != "weld":
        return replace(state, time=end)
    starts, stops = state.starts.copy(), state.stops.copy()
    reached, interpass = state.reached.copy(), state.interpass.copy()
    source = model.sources[weld]
    if np.isnan(starts[weld]):
        starts[weld] = state.time
        interpass[weld] = model.history.rules.base_temperature(state.temperature, weld)
    gone = end - starts[weld]
    reached[weld] = source.place(gone)
    if gone >= source.duration * (1 - 1e-9):
        reached[weld], stops[weld] = np.inf, end
    return replace(
        state, time=end, starts=starts, stops=stops, reached=reached, interpass=interpass
    )


def _exchange(model: Model, new: State, event: Event) -> SurfaceExchange:
    """Where heat leaves during the event; between passes the part may be cooled by force."""
    exchange = model.history.exchange(model.active_cells(new), new.closed_clamps)
    forced = model.case.cooling_film_coefficient
    if forced is not None and event.kind == "rest" and np.any(np.isnan(new.starts)):
        return replace(exchange, film_coefficient=forced)
    return exchange


def _filler_joined(model: Model, old: State, new: State, exchange: SurfaceExchange) -> State:
    """The state with filler of the event at ambient temperature, and its heat in the books."""
    before = model.active_cells(old)
    if np.array_equal(before, model.active_cells(new)):
        return new
    was = model.history.exchange(before, old.closed_clamps)
    temperature, brought = model.heat.activate(old.temperature, was, exchange)
    return replace(new, temperature=temperature, brought_heat=old.brought_heat + brought)


def heat_to_limit(model: Model, state: State, event: Event) -> tuple[State, int]:
    """As `heat_through`; a pause ends where its temperature rule comes true.

    Parameters
    ----------
    model : Model
        Of the case.
    state : State
        Before.
    event : Event
        A weld or a rest.

    Returns
    -------
    state : State
        After, at the latest at the end of the event.
    iterations : int
        Systems solved.

    Notes
    -----
    Regula falsi on the length of the step, to within `RULE_BAND` of the limit.
    """
    heated, iterations = heat_through(model, state, event)
    watch = model.history.rules.watched(state) if event.kind == "rest" else None
    if watch is None or watch.temperature(state) <= watch.limit:
        return heated, iterations
    short, above = 0.0, watch.temperature(state)
    long, below = event.duration, watch.temperature(heated)
    for _ in range(MAX_TRIES):
        if below >= watch.limit - RULE_BAND:
            break
        middle = short + (long - short) * (above - watch.limit) / (above - below)
        tried, tries = heat_through(model, state, replace(event, duration=middle))
        iterations += tries
        value = watch.temperature(tried)
        if value > watch.limit:
            short, above = middle, value
        else:
            long, below, heated = middle, value, tried
    return heated, iterations
