"""Steps are handed to a card where a model has one, and run.json says so.

The card here is the processor behind a card's two calls, so the readings have to be the same to
the bit.
"""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from tests.places import ROOT
from weldsim.case.load import load_case
from weldsim.physics.heat_conduction import heat_step
from weldsim.physics.quasi_newton import follow_equilibrium
from weldsim.runs.manifest import solver_record
from weldsim.simulation.model import Model
from weldsim.simulation.steps import build_model, simulate

STEPS = 3


class OnProcessor:
    """A card's calls, answered by the processor and counted."""

    solver_name = "none"

    def __init__(self, model):
        self.model, self.heated, self.balanced = model, 0, 0

    def step(self, heat, *given, system=None):
        self.heated += 1
        return heat_step(replace(heat, mesh=self.model.heat.mesh), *given, system=system)

    def equilibrium(self, *given):
        self.balanced += 1
        return follow_equilibrium(self.model.mechanics, *given)


@pytest.fixture(scope="module")
def model():
    case = load_case(ROOT / "cases" / "pivot_arm_one_bead.toml", {"solve.end": "20 s"})
    return build_model(case, "sketch", device="cpu")


def first_steps(model):
    return [step for _, step in zip(range(STEPS), simulate(model), strict=False)]


def test_a_card_takes_the_steps(model):
    card, own = OnProcessor(model), model.discretisation
    there = replace(
        own,
        heat_mesh=replace(own.heat_mesh, card=card),
        mechanics=replace(own.mechanics, card=card),
    )
    on_card = Model.of(model.case, there, model.stepping)
    handed, kept = first_steps(on_card), first_steps(model)
    assert card.balanced == STEPS and card.heated >= STEPS
    for one, two in zip(handed, kept, strict=True):
        assert one.time == two.time and dict(one.gauges) == dict(two.gauges)


def test_the_device_is_recorded(model, monkeypatch):
    monkeypatch.setenv("WELDSIM_DEVICE", "cpu")
    found = solver_record(model)
    assert found["device"] == "cpu" and found["device_reason"] == "asked for"
    monkeypatch.setenv("NUMBA_ENABLE_CUDASIM", "1")
    found = solver_record(SimpleNamespace(mechanics=SimpleNamespace(card=OnProcessor(model))))
    assert found == {
        "device": "gpu", "solver": "none", "instructions": "", "device_reason": "simulator"
    }  # fmt: skip
