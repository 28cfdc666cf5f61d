"""Clamps that slide, and a table: what they hold, and what they leave free."""

from dataclasses import replace

import numpy as np
import pytest

from tests.joints.test_deposit import TOES
from tests.joints.test_protocol import case_of
from weldsim.case.load import parse_case
from weldsim.errors import CaseError
from weldsim.physics.equilibrium import solve_equilibrium
from weldsim.physics.plasticity import Properties
from weldsim.simulation.events import Event
from weldsim.simulation.heat_stage import heat_through
from weldsim.simulation.steps import build_model, start_state

SLIDING = """
[[clamp]]
name = "toes"
at = ["side toes", "finish toes"]
slides = true
off = "cold"
"""
TABLE = """
[[clamp]]
name = "table"
kind = "table"
at = "underside"
conductance = "500 W/m2/K"
"""
RISE = 100.0  # K


def clamped(*clamps, **changes):
    text = case_of("deposit").source_text + "".join(clamps)
    return parse_case(text, "deposit.toml", {**TOES, **changes})


def warmed(case):
    """The plate warmed evenly, in equilibrium: displacement (N, 3), stress, reaction, model."""
    model = build_model(case, "sketch", threads=1)
    state = replace(start_state(model), closed_clamps=tuple(c.name for c in case.clamps))
    at = np.full(model.mechanics.weight.shape, state.temperature[0] + RISE)
    carries = np.ones_like(at, dtype=bool)
    law = replace(Properties.of(model.material, at, carries), yield_stress=np.full_like(at, np.inf))
    found = solve_equilibrium(
        model.history.mechanics(state.closed_clamps), state.displacement, law,
        state.internal_variables, model.supports(state.closed_clamps), tolerance=1e-9,
    )  # fmt: skip
    strain = float(law.thermal_strain.mean())
    return found, strain, model


def test_a_warm_plate_grows_freely_under_clamps_that_slide():
    """Closed form: as wide and long by the thermal strain, without stress or reaction."""
    found, strain, model = warmed(clamped(SLIDING))
    corners = [[0, -0.025, 0], [0.12, -0.025, 0], [0.12, 0.025, 0]]  # it may turn a little as well
    at = [int(np.linalg.norm(model.points - c, axis=1).argmin()) for c in corners]
    now = (model.points + found.displacement)[at]
    sides = np.linalg.norm(np.diff(now, axis=0), axis=1)
    assert sides == pytest.approx((1 + strain) * np.array([0.12, 0.05]), abs=2e-3 * strain * 0.05)
    assert np.abs(found.stress).max() < 1e-3 * 210e9 * strain
    toes = model.clamp_points("toes")
    np.testing.assert_allclose(found.displacement[toes, 2], 0.0, atol=1e-12)


def test_clamps_that_hold_all_directions_press_a_warm_plate():
    """The same clamps without sliding: their feet stay, so the plate between them is in stress."""
    found, strain, model = warmed(clamped(SLIDING, **{"clamp.toes.slides": False}))
    assert np.abs(found.displacement[model.clamp_points("toes")]).max() < 1e-12
    assert np.abs(found.stress).max() > 0.5 * 210e9 * strain


def test_a_plate_between_toes_and_table_is_pressed_and_all_forces_balance():
    """Warmed, it grows in height: the table pushes up, the toes down, and together nothing."""
    found, _, model = warmed(clamped(SLIDING, TABLE))
    up = found.reaction[model.clamp_points("table"), 2]
    down = found.reaction[model.clamp_points("toes"), 2]
    assert up.min() >= 0.0 and up.sum() > 1e3
    assert up.sum() == pytest.approx(-down.sum(), rel=1e-6)


def test_a_table_pushes_only_while_something_else_holds_the_part():
    model = build_model(clamped(SLIDING, TABLE), "sketch", threads=1)
    on, off = (model.history.mechanics(c) for c in (("toes", "table"), ("table",)))
    assert on.bound_table is not None and off.bound_table is None
    area = on.bound_table.table.stiffness.sum() * 0.5e-3 / 210e9
    assert area == pytest.approx(0.12 * 0.05, rel=0.02)  # of the underside; E of steel 210 GPa
    assert model.supports(("table",)).sum() == 6


@pytest.mark.parametrize(
    "clamps, said",
    [
        ((TABLE,), "a table only pushes"),
        ((SLIDING, TABLE, TABLE.replace('"table"\nat', '"table"\non = "9 s"\nat')), "already"),
        ((SLIDING, TABLE.replace("at =", 'on = "9 s"\nat =')), "from the start"),
        ((SLIDING, TABLE.replace("at =", "slides = true\nat =")), "a table has none"),
        ((SLIDING, TABLE.replace("at =", 'stiffness = "5 kN/mm"\nat =')), "a table has none"),
    ],
)
def test_a_table_that_cannot_be_is_refused(clamps, said):
    clamps = [c.replace('name = "table"', f'name = "table{n}"') for n, c in enumerate(clamps)]
    with pytest.raises(CaseError, match="clamp") as error:
        clamped(*clamps)
    assert said in str(error.value)


def test_clamps_slide_along_one_plane():
    ends = SLIDING.replace('["side toes", "finish toes"]', '["side toes", "start end"]')
    with pytest.raises(CaseError, match="not flat across one"):
        build_model(clamped(ends), "sketch", threads=1)
    other = SLIDING.replace('toes"\nat', 'ends"\nat').replace(
        '["side toes", "finish toes"]', '["start end"]'
    )
    with pytest.raises(CaseError, match="along different planes"):
        build_model(clamped(SLIDING, other), "sketch", threads=1)


# clamps with a temperature of their own
def rested(case, seconds, steps=40):
    """State after waiting without an arc, and its model."""
    model = build_model(case, "sketch", threads=1)
    state = start_state(model)
    for _ in range(steps):
        state = heat_through(model, state, Event("rest", seconds / steps))[0]
    return state, model


def test_a_plate_on_a_warm_table_comes_to_its_temperature_as_a_lumped_body():
    """Closed form: T = T_table - (T_table - T_0) exp(-h t / (rho c d)); Biot number 0.05.

    Backward Euler of 40 steps is off by half a step over the time of warming, 1 %; c of carbon
    steel rises by 4 % from 20 to 60 degC (EN 1993-1-2), and Biot/3 is what is neglected.
    """
    warm = TABLE.replace("at =", 'temperature = "60 degC"\noff = "1 h"\nat =')
    case = clamped(
        SLIDING.replace('"cold"', '"1 h"'), warm,
        **{"surroundings.film_coefficient": "0 W/m2/K", "surroundings.emissivity": 0.0},
    )  # fmt: skip
    seconds = 60.0
    state, model = rested(case, seconds)
    plate = np.unique(model.part.lattice.heat_cells[np.isin(
        model.part.heat_parent, model.part.regions["part"])])  # fmt: skip
    rho_c = 7850.0 * 0.5 * (440.0 + 462.0)  # J/m3/K, EN 1993-1-2 3.2.1 and 3.4.1.2 at 20, 60 degC
    wanted = 1 - np.exp(-500.0 * seconds / (rho_c * 0.008))
    found = (state.temperature[plate].mean() - 293.15) / 40.0
    assert found == pytest.approx(wanted, rel=0.05)
    assert state.energy_balance.gap < 1e-6 and state.lost < 0


def test_a_table_warms_up_as_it_is_told_to():
    """After long at its last temperature the plate is there too."""
    rising = '[["0 s", "20 degC"], ["600 s", "50 degC"]]'
    warm = TABLE.replace("at =", f'temperature = {rising}\noff = "5 h"\nat =')
    case = clamped(SLIDING.replace('"cold"', '"5 h"'), warm)
    assert case.clamps[1].temperatures == ((0.0, 293.15), (600.0, 323.15))
    state, _ = rested(case, 600.0)
    before = state.temperature.max()
    assert before < 323.15  # it lags
    still, _ = rested(clamped(SLIDING.replace('"cold"', '"5 h"'),
                              TABLE.replace("at =", 'off = "5 h"\nat =')), 600.0)  # fmt: skip
    assert still.temperature.max() == pytest.approx(293.15, abs=0.01)


@pytest.mark.parametrize(
    "value, said",
    [
        ('"60 degC"', "never gets cold"),
        ('"60 mm"', "not a temperature"),
        ('[["9 s", "20 degC"], ["5 s", "20 degC"]]', "times that do not rise"),
        ('[["9 s"]]', "write"),
        ("[]", "write"),
    ],
)
def test_a_temperature_of_a_clamp_that_cannot_be_is_refused(value, said):
    with pytest.raises(CaseError) as error:
        clamped(SLIDING, TABLE.replace("at =", f"temperature = {value}\nat ="))
    assert said in str(error.value)
