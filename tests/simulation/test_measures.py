"""Measures of a state, on fields that are made by hand so that the answer is known."""

from dataclasses import replace

import numpy as np
import pytest

from tests.places import ROOT
from weldsim.case.load import load_case
from weldsim.simulation.measures import PartingWatch, boiling_temperature, largest_rotation
from weldsim.simulation.steps import build_model, start_state


@pytest.fixture(scope="module")
def bar():
    model = build_model(load_case(ROOT / "cases" / "pivot_arm_one_bead.toml"), "sketch")
    return model, start_state(model)


def turned(model, state, angle):
    """Displacement of a small turn about z."""
    x, y, _ = model.points.T
    return replace(state, displacement=angle * np.stack([-y, x, np.zeros_like(x)], axis=1))


def test_a_part_that_turns_as_a_whole_turns_by_that_angle(bar):
    model, state = bar
    assert largest_rotation(model, turned(model, state, 0.03)) == pytest.approx(0.03, rel=1e-9)


def test_filler_and_the_weld_zone_do_not_speak_for_the_part(bar):
    """The bead shears by a tenth, and metal that was soft by as much: the part has not turned."""
    model, state = bar
    still = turned(model, state, 0.002)
    x, y, _ = model.points.T
    zone = (np.abs(x - 0.08) < 0.008) & (y > 0)
    still.displacement[zone, 0] += 0.1 * y[zone]
    lattice = model.part.lattice.points
    hot = np.abs(lattice[:, 0] - 0.075) < 0.02
    peak = np.where(hot, 1400.0, 300.0)  # K, hot but short of the softening temperature
    still = replace(still, peak_temperature=peak, reached=np.full_like(state.reached, np.inf))
    assert peak.max() < model.material.softening_temperature
    assert largest_rotation(model, still) == pytest.approx(0.002, rel=1e-6)


def heated(model, state, liquid):
    points = model.part.lattice.points
    return replace(state, temperature=np.where(liquid(*points.T), 2000.0, 300.0))


@pytest.mark.parametrize(
    "liquid, parts",
    [
        (lambda x, y, z: np.abs(x - 0.08) < 0.006, True),  # right across
        (lambda x, y, z: (np.abs(x - 0.08) < 0.006) & (y > -0.002), False),  # the back holds
        (lambda x, y, z: (np.abs(x - 0.08) < 0.006) & (z > -0.012), False),  # the lower edge holds
        (lambda x, y, z: (x > 0.07) & (x < 0.12) & (z < 0.01), False),
        (lambda x, y, z: x > -1.0, True),  # nothing holds
        (lambda x, y, z: x > 1.0, False),
    ],
)  # fmt: skip
def test_a_part_parts_where_a_whole_cross_section_is_liquid(bar, liquid, parts):
    model, state = bar
    assert PartingWatch(model).parts(heated(model, state, liquid)) is parts


def test_metal_boils_where_handbooks_say(bar):
    """Iron at 2861 degC, aluminium at 2519 degC (CRC Handbook of Chemistry and Physics)."""
    aluminium = build_model(load_case(ROOT / "cases" / "pivot_arm_aluminium.toml"), "sketch")
    assert boiling_temperature(bar[0]) - 273.15 == pytest.approx(2861.0, abs=1.0)
    assert boiling_temperature(aluminium) - 273.15 == pytest.approx(2519.0, abs=1.0)
