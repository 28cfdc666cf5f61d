"""Pauses: a cold part may wait for years, and one that hardly cools takes no more steps."""

from dataclasses import replace

import numpy as np
import pytest

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.simulation.events import next_event
from weldsim.simulation.heat_stage import heat_to_limit
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import start_state

BAR = CASES / "pivot_arm_one_bead.toml"


def heated(model, most=5000):
    """States from the start to the end of a case, the heat alone."""
    state = start_state(model)
    yield state, None
    for _ in range(most):
        event = next_event(model, state)
        if event is None:
            return
        state = replace(heat_to_limit(model, state, event)[0], steps=state.steps + 1)
        yield state, event
    raise AssertionError(f"more than {most} steps")


def test_a_cold_part_waits_for_years_in_few_steps():
    case = load_case(BAR, ['weld.A.start="1e9 s"', "solve.end=1.0000001e9 s"])
    states = list(heated(build_model(case, "sketch", threads=1), most=400))
    started = [s for s, event in states if event is not None and event.kind == "weld"]
    assert np.nanmin(started[0].starts) == pytest.approx(1e9, abs=1e-3)
    # a share of 0.4 of the time gone: ln(1e9 s / 4 s) / ln(1.4) = 57 steps, by hand
    assert len(states) - len(started) < 100


def test_a_part_that_hardly_cools_does_so_in_few_steps_and_at_the_right_rate():
    """Lumped body, exp(-t/tau) with tau = rho c V / (h A) (Incropera and DeWitt, Fundamentals of
    Heat and Mass Transfer, section 5.1): Bi = h L/k is 1e-6. From 20 to 4 K above the air;
    backward Euler with steps of 2 % of tau is off by 1 %, the slope of c(T) by less."""
    changes = [
        "surroundings.film_coefficient=1e-3 W/m2/K", "surroundings.emissivity=0",
        "clamping.conductance=0 W/m2/K", "solve.end=cold",
    ]  # fmt: skip
    model = build_model(load_case(BAR, changes), "sketch", threads=1)
    times, rises = [], []
    for state, event in heated(model, most=1500):
        if event is not None and event.kind == "rest":
            times.append(state.time)
            rises.append(float(np.mean(state.temperature) - model.case.surroundings.ambient))
    exchange = model.history.exchange(model.active_cells(state), state.closed_clamps)
    rise = model.heat.ambient_temperature + np.array([4.0, 20.0])
    content = [model.heat.stored(np.full_like(state.temperature, t), exchange) for t in rise]
    capacity = (content[1] - content[0]) / 16.0  # J/K, between the two
    tau = capacity / (1e-3 * exchange.film_area.sum())
    falls = np.interp(np.log([20.0, 4.0]), np.log(rises[::-1]), times[::-1])
    assert falls[1] - falls[0] == pytest.approx(tau * np.log(5.0), rel=0.02)
    assert tau > 3e6 and len(times) < 1000  # 120 s each would be 100,000
