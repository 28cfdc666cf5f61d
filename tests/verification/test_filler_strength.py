"""Filler that is stronger than the parts: two bars side by side in closed form, and one deposit.

Elementary strength of materials: bars between the same two rigid walls are strained alike, each
carries E times its strain until it yields and then its yield stress, and all unload elastically.
"""

import numpy as np
import pytest
import skfem

from tests.joints.test_protocol import case_of
from tests.metals import constant_metal
from tests.verification.mech_tools import body_of, solve
from weldsim.materials.adjusted import filler_metal
from weldsim.physics.equilibrium import accept
from weldsim.physics.plasticity import Filler, Properties
from weldsim.schema.records import MetalFactors
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import simulate

E, SY, FACTOR = 210e9, 300e6, 1.4


def two_bars():
    """Two cubes that do not touch, as bars along x between rigid walls, free across."""
    one = skfem.MeshHex()
    body = body_of(one + one.translated((0.0, 2.0, 0.0)), "brick8")
    fixed = np.zeros_like(body.points, bool)
    fixed[body.on(0, 0.0) | body.on(0, 1.0), 0] = True
    for axis, places in ((1, (0.0, 2.0)), (2, (0.0,))):
        for place in places:
            fixed[body.on(axis, place), axis] = True
    return body, fixed


@pytest.mark.parametrize("strain", [1.0e-3, 1.7e-3, 4.0e-3])  # both elastic; one flows; both do
def test_two_bars_of_which_one_is_filler(strain):
    """Pulled, then let go until their forces cancel: each keeps what it lies off the mean."""
    body, fixed = two_bars()
    metal = constant_metal(yield_stress=SY)
    strong = filler_metal(metal, MetalFactors(filler_yield_factor=FACTOR))
    cold = np.full(body.model.shape_counts, 293.15)
    laid = int(np.argmax(body.at[:, 0, 1]))  # the cube at y = 2
    law = Properties.of(metal, cold, filler=Filler(np.array([laid]), strong))
    order = [1 - laid, laid]
    pulled = np.array([min(E * strain, SY), min(E * strain, FACTOR * SY)])
    memory, u = body.virgin(), body.still()
    none = np.zeros(body.model.shape_counts, dtype=bool)
    for stretch, wanted in ((strain, pulled), (strain - pulled.mean() / E, pulled - pulled.mean())):
        at = body.still()
        at[body.on(0, 1.0), 0] = stretch
        found = solve(body, law, fixed, u, memory, prescribed=at)
        memory, _ = accept(body.model, found, law, memory, none)
        u = found.displacement
        assert found.stress[order, :, 0] == pytest.approx(
            np.repeat(wanted[:, None], found.stress.shape[1], axis=1), abs=1e-5 * SY
        )


def test_filler_is_all_that_is_laid_and_nothing_else_of_the_metal_changes():
    """EN 1993-1-2 curves: first yield and the stress at 2 % strain are multiplied, hot as cold."""
    case = case_of("deposit").with_changes({"solve.grade": "sketch"})
    assert build_model(case, threads=1).discretisation.filler is None
    model = build_model(case.with_changes({"metal.filler_yield_factor": FACTOR}), threads=1)
    filler = model.discretisation.filler
    laid = np.concatenate([c for n, c in model.part.regions.items() if n.startswith("fill")])
    assert sorted(filler.cells) == sorted(laid)
    t = np.linspace(293.15, 1273.15, 50)
    own, parts = filler.material, model.material
    assert own.yield_stress(t) == pytest.approx(FACTOR * parts.yield_stress(t), rel=1e-12)
    for name in ("youngs_modulus", "thermal_strain", "conductivity", "enthalpy"):
        assert np.array_equal(getattr(own, name)(t), getattr(parts, name)(t))
    plastic = 0.02 - FACTOR * 355e6 / 210e9  # at 20 °C both strengths are 355 MPa
    cold = own.yield_stress(293.15) + own.hardening_modulus(293.15) * plastic
    assert cold == pytest.approx(FACTOR * 355e6)


def pull(factor):
    """Mean stress along the beads of the starter, when cold. [Pa]"""
    case = case_of("deposit").with_changes(
        {"solve.grade": "sketch", "part.at_once": 1, "metal.filler_yield_factor": factor}
    )
    model = build_model(case, threads=1)
    state = list(simulate(model))[-1].state
    laid = np.concatenate([c for n, c in model.part.regions.items() if n.startswith("fill")])
    return state.stress[laid, :, 0].mean()


@pytest.mark.slow
def test_stronger_filler_is_left_with_more_pull():
    """Common practice: stress along a weld is left near the yield stress of the weld metal itself.

    So in beads half as strong again more of it is left, by no more than their strength rose.
    """
    assert 1.0 < pull(1.5) / pull(1.0) < 1.5
