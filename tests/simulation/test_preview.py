"""Previews against full runs: right in sign, on a bar that is heated through as well."""

import pytest

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.simulation.preview import equilibrium_states, preview_model
from weldsim.simulation.steps import build_model, simulate


@pytest.mark.slow
def test_a_quick_look_bends_a_heated_bar_to_the_side_a_run_does():
    """Two beads of 1.75 kJ/mm on a 45 x 8 mm bar: travel and side (common practice: it lifts with
    an arc that travels up, and ends toward the beads). Signs of grade quick, as in README, and
    travel within a third: the mesh is the coarsest there is."""
    case = load_case(CASES / "pivot_arm.toml")
    model = preview_model(case)
    *_, (state, _) = equilibrium_states(model)
    look = model.read(state).display()
    *_, last = simulate(build_model(case, "quick"))
    run = last.gauges.display()
    for column in ("pointer_up_mrad", "pointer_right_mrad"):
        assert look[column] * run[column] > 0
    assert look["pointer_up_mrad"] == pytest.approx(run["pointer_up_mrad"], rel=0.33)


@pytest.mark.slow
@pytest.mark.parametrize("order, column, sign", [("front:+x", "right", 1), ("left:+y", "up", 1)])
def test_a_preview_leans_a_stub_toward_its_weld(order, column, sign):
    """A fillet shrinks and pulls the tube to its side (common practice): toward +y, right on the
    target, for the front, and toward +x, up on it, for the left."""
    model = preview_model(load_case(CASES / "mast_stub.toml", [f'schedule.order=["{order}"]']))
    *_, (state, _) = equilibrium_states(model)
    reading = model.read(state)
    other = {"up": "right", "right": "up"}[column]
    assert sign * reading["pointer", column] > abs(reading["pointer", other])
