"""The `elastic` model keeps to the restrained-bar solution it is built on."""

from __future__ import annotations

import numpy as np
import pytest

from tests.places import ROOT
from tests.verification.mech_tools import mises
from weldsim.case.load import load_case
from weldsim.simulation.steps import build_model, simulate

CASE = ROOT / "cases" / "pivot_arm_one_bead.toml"


@pytest.mark.slow
def test_no_shrinkage_beyond_the_restrained_bar():
    """Cold after a bead: inherent strain and stress stay within what a restrained bar can hold.

    A bar between walls ends with the plastic strain -sy/E (Satoh test), so no point's inherent
    strain passes its yield strain by more than what cooled metal still expands; the
    stress is at most sy / (1 - 2 nu) even where all directions are held, and the melted metal,
    which solidifies without stress, is no exception.
    """
    case = load_case(CASE, ("solve.model=elastic",))
    model = build_model(case, "coarse")
    *_, last = simulate(model)
    state = last.state
    melted = model.at_quadrature(state.peak_temperature) > model.material.liquidus
    metal = np.zeros((len(melted), 1), dtype=bool)
    metal[model.part.regions["part"]] = True
    base = metal & melted
    assert base.any()
    yield_strain = 355e6 / 210e9
    inherent = state.internal_variables.plastic_strain + state.internal_variables.reference_strain
    assert np.abs(inherent[base]).max() < 1.1 * yield_strain
    weld = ~metal | melted
    assert mises(state.stress)[weld].mean() < 355e6 / (1 - 0.3)
