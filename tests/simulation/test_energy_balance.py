"""The heat balance closes in any workshop, however warm or cold."""

import pytest

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.simulation.events import next_event
from weldsim.simulation.heat_stage import heat_to_limit
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import start_state


@pytest.mark.parametrize("degrees", [5, 40])
def test_filler_that_joins_warm_or_cold_opens_no_gap(degrees):
    """First law, step by step until the bead has cooled a while: what the arc supplies is stored
    or lost. Each heat step is solved to 1e-6 of the power in it, so the sum is good to about that;
    without the filler's own heat 40 degC left a gap of 2e-3."""
    room = f"{degrees} degC"
    case = load_case(
        CASES / "pivot_arm_one_bead.toml",
        {"surroundings.ambient": room, "surroundings.preheat": room, "solve.end": "60 s"},
    )
    model = build_model(case, "coarse", threads=1)
    state = start_state(model)
    while (event := next_event(model, state)) is not None:
        state, _ = heat_to_limit(model, state, event)
    assert state.supplied == pytest.approx(
        case.welds[0].arc.power * case.welds[0].duration, rel=1e-9
    )
    assert state.energy_balance.gap < 3e-6
