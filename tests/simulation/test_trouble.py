"""Steps that do not converge are halved, and a balance that does not close stops the run."""

from dataclasses import replace

import numpy as np
import pytest

from tests.places import CASES
from tests.studies.small import small_plan
from weldsim.case.load import load_case
from weldsim.errors import BalanceError, ConvergenceError
from weldsim.simulation import steps
from weldsim.simulation.events import next_event
from weldsim.simulation.model import build_model


@pytest.fixture(scope="module")
def model():
    return build_model(load_case(CASES / "pivot_arm_one_bead.toml"), "sketch", threads=1)


def failing(times):
    """The heat of a step, which does not converge so many times."""
    heat, left = steps.heat_to_limit, [times]

    def fail(model, state, event):
        if left[0] > 0:
            left[0] -= 1
            raise ConvergenceError("no heat")
        return heat(model, state, event)

    return fail


def test_a_step_is_halved_until_it_converges(model, monkeypatch):
    state = steps.start_state(model)
    event = next_event(model, state)
    monkeypatch.setattr(steps, "heat_to_limit", failing(2))
    found, effort = steps.advance(model, state, event)
    assert effort.retries == 2
    assert found.time == pytest.approx(event.duration / 4)
    assert found.steps == 1


def test_halving_has_an_end(model, monkeypatch):
    """Six halvings of the duration: 1/64, as the message says."""
    state = steps.start_state(model)
    event = next_event(model, state)
    monkeypatch.setattr(steps, "heat_to_limit", failing(99))
    with pytest.raises(ConvergenceError, match=r"step 1 at 0 s \(weld\): no heat") as caught:
        steps.advance(model, state, event)
    assert f"halving the step 6 times to {event.duration / 64:.2g} s" in str(caught.value)


def test_heat_that_is_not_accounted_for_stops_the_run(model, monkeypatch):
    """A hundredth of what was supplied is ten times what a balance may be open by."""
    heat = steps.heat_to_limit

    def leak(model, state, event):
        found, count = heat(model, state, event)
        return replace(found, lost=found.lost + 0.01 * found.supplied), count

    state = steps.start_state(model)
    monkeypatch.setattr(steps, "heat_to_limit", leak)
    with pytest.raises(BalanceError, match="heat balance open by"):
        steps.advance(model, state, next_event(model, state))


def test_where_a_kept_factor_does_not_lead_newtons_method_does(model, monkeypatch):
    """Both ways end at the same place, to what the tolerance of the equilibrium leaves."""

    def lost(*args, **named):
        raise ConvergenceError("no way")

    state = steps.start_state(model)
    event = next_event(model, state)
    usual, _ = steps.advance(model, state, event)
    monkeypatch.setattr(steps, "follow_equilibrium", lost)
    found, effort = steps.advance(model, state, event)
    assert effort.kept is None and effort.retries == 0
    size = np.abs(usual.displacement).max()
    assert size > 1e-7
    np.testing.assert_allclose(found.displacement, usual.displacement, atol=1e-3 * size)


def test_a_step_says_how_hard_it_was(model):
    step = next(steps.simulate(model))
    assert (step.time, step.retries) == (step.state.time, step.effort.retries)
    assert step.iterations == step.effort.iterations > 0
    assert step.heat_iterations == step.effort.heat_iterations > 0
    assert 0.0 < step.progress < 1.0 and step.phase.startswith("weld ")


@pytest.mark.slow
def test_what_clamps_push_with_is_gone_when_they_open():
    """Statics: what holds a part at rest adds up to no force, and a free part has none at all."""
    case = small_plan().case.with_changes({"clamp.bed.off": "cold"})
    small = build_model(case, "sketch", threads=1)
    *_, before, after = steps.simulate(small)
    assert after.phase == "release" and before.state.closed_clamps == ("bed",)
    held, free = (np.linalg.norm(s.state.reaction, axis=1) for s in (before, after))
    assert held.max() > 1.0  # N
    assert np.abs(before.state.reaction.sum(axis=0)).max() < 1e-4 * held.sum()
    assert free.sum() < 1e-4 * held.sum()
    assert after.state.closed_clamps == () and after.state.released == ("bed",)
    assert after.time == before.time  # it springs, and no time passes
