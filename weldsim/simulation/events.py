"""What comes next in a case, read from its state."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.simulation.model import Model
from weldsim.simulation.state import State
from weldsim.simulation.stepping import LONGEST_REST

# Longest step over the time in which the part would lose all its heat at the present rate: backward
# Euler is off by half of it in the time of cooling. Walls of 3 mm in still air: 15 s, so it counts
# for well insulated parts alone.
COOLING_SHARE = 0.02


@dataclass(frozen=True)
class Event:
    """What happens in one step.

    Attributes
    ----------
    kind : {"weld", "rest", "release", "grip"}
        An arc burns, nothing burns, clamps come off or on.
    duration : float
        [s]
    weld : int
        Number of the weld whose arc burns, else -1.
    """

    kind: str
    duration: float = 0.0
    weld: int = -1


def next_event(model: Model, state: State) -> Event | None:
    """What comes next.

    Parameters
    ----------
    model : Model
        Of the case.
    state : State
        Now.

    Returns
    -------
    Event or None
        None when the case is over.
    """
    rules, end = model.history.rules, model.case.solve.end
    off, on = rules.changes(state)
    if off or on:
        return Event("release" if off else "grip")
    limit = rules.next_change(state) - state.time  # how long a step may be at most
    if not isinstance(end, str):  # a stated end holds whatever is still to be welded
        if state.time >= end - 1e-9:
            return None
        limit = min(limit, end - state.time)
    burning = np.flatnonzero(~np.isnan(state.starts) & np.isnan(state.stops))
    if burning.size:
        return _weld_event(model, state, int(burning[0]), limit)
    waiting = np.flatnonzero(np.isnan(state.starts))
    if waiting.size:
        weld = int(waiting[0])
        due = rules.due(state, weld)
        if due <= state.time + 1e-9:
            return _weld_event(model, state, weld, limit)
        longest = model.stepping.longest_rest
        return Event("rest", min(_rest_step(model, state, longest), due - state.time, limit))
    if isinstance(end, str) and state.temperature.max() <= rules.cold:
        return None
    return Event("rest", min(_rest_step(model, state, model.stepping.longest_last_rest), limit))


def _weld_event(model: Model, state: State, weld: int, limit: float) -> Event:
    """Next stretch of a bead: equal steps over its length, cut where a clamp comes off."""
    duration = model.sources[weld].duration
    count = max(1, int(np.ceil(duration / model.torch_time(weld) - 1e-9)))
    step = duration / count
    gone = 0.0 if np.isnan(state.starts[weld]) else state.time - state.starts[weld]
    ahead = (np.floor(gone / step + 1e-6) + 1) * step - gone
    return Event("weld", float(min(ahead, limit)), weld)


def _rest_step(model: Model, state: State, longest: float) -> float:
    """Step of a pause: a share of the time since the arc stopped, never under a torch step. [s]

    Above the usual longest step it grows with the cooling: a cold part may wait for weeks, and one
    that hardly loses heat takes as many steps as any other.
    """
    done = np.flatnonzero(~np.isnan(state.stops))
    last = int(done[np.argmax(state.stops[done])]) if done.size else 0
    since = state.time - (state.stops[last] if done.size else 0.0)
    shortest = model.torch_time(last) if model.sources else LONGEST_REST
    wanted = max(model.stepping.rest_growth * since, shortest)
    if wanted > longest:
        longest = max(longest, _cooling_step(model, state))
    return float(min(wanted, longest))


def _cooling_step(model: Model, state: State) -> float:
    """Longest step for how fast the part cools, without bound once it is cold. [s]"""
    heat, rules = model.heat, model.history.rules
    if np.abs(state.temperature - rules.ambient).max() <= rules.cold - rules.ambient:
        return float(np.inf)
    exchange = model.history.exchange(model.active_cells(state), state.closed_clamps)
    ambient = np.full_like(state.temperature, heat.ambient_temperature)
    excess = heat.stored(state.temperature, exchange) - heat.stored(ambient, exchange)
    loss = float(heat.loss(state.temperature, exchange)[0].sum())
    return COOLING_SHARE * excess / loss if loss > 0 < excess else 0.0
