"""The law of one point, against closed forms: Hooke, von Mises, linear hardening, its own tangent.

Formulas: Simo and Hughes, Computational Inelasticity (1998), chapter 3 (J2 flow, radial return).
"""

import numpy as np
import pytest

from tests.metals import constant_metal
from weldsim.physics.plasticity import (
    INACTIVE_STIFFNESS,
    SOFT_RANGE,
    SOFT_STIFFNESS,
    Properties,
    von_mises,
)
from weldsim.physics.plasticity_kernels import stress_update

BULK, SHEAR, YIELD = 170e9, 80e9, 300e6  # Pa, about steel
SHEARS = np.array([1.0, 1.0, 1.0, 2.0, 2.0, 2.0])  # how often an entry counts in a product
NONE = (0.0,) * 6


def law(strain, yield_stress=YIELD, isotropic=0.0, kinematic=0.0, plastic=NONE, equivalent=0.0):
    """Stress (6,), plastic strain (6,), equivalent plastic strain, direction, tangent shares."""
    elastic = tuple(float(e - p) for e, p in zip(strain, plastic, strict=True))
    deviator, mean, plastic, equivalent, normal, theta, theta_bar = stress_update(
        elastic, BULK, SHEAR, yield_stress, isotropic, kinematic, tuple(plastic), equivalent
    )
    stress = np.array(deviator)
    stress[:3] += mean
    return stress, np.array(plastic), equivalent, np.array(normal), theta, theta_bar


def test_below_yield_it_is_hooke():
    """Sigma = K tr(eps) 1 + 2 G dev(eps)."""
    strain = np.array([5e-4, -2e-4, 1e-4, 2e-4, -1e-4, 3e-4])
    stress, plastic, equivalent, *_ = law(strain)
    mean = strain[:3].sum() / 3
    expected = 2 * SHEAR * (strain - mean * np.array([1, 1, 1, 0, 0, 0]))
    expected[:3] += 3 * BULK * mean
    assert stress == pytest.approx(expected, rel=1e-12)
    assert np.all(plastic == 0) and equivalent == 0


def test_without_hardening_shear_ends_at_yield_over_root_three():
    """Von Mises: pure shear yields at sigma_y / sqrt(3), however far it goes."""
    for gamma in (5e-3, 5e-2):
        stress = law((0, 0, 0, gamma / 2, 0, 0))[0]
        assert stress[3] == pytest.approx(YIELD / np.sqrt(3), rel=1e-12)


@pytest.mark.parametrize(("isotropic", "kinematic"), [(2e9, 0.0), (0.0, 2e9), (1.5e9, 0.5e9)])
def test_linear_hardening_in_shear(isotropic, kinematic):
    """Stress over plastic strain rises with H: sigma_eq = sigma_y + H eps_p, whichever way it
    hardens, and eps_p follows from gamma / sqrt(3) = sigma_eq / (3 G) + eps_p."""
    gamma = 2e-2
    hard = isotropic + kinematic
    expected = (gamma / np.sqrt(3) - YIELD / (3 * SHEAR)) / (1 + hard / (3 * SHEAR))
    stress, plastic, equivalent, *_ = law((0, 0, 0, gamma / 2, 0, 0), YIELD, isotropic, kinematic)
    assert equivalent == pytest.approx(expected, rel=1e-12)
    assert von_mises(stress) == pytest.approx(YIELD + hard * expected, rel=1e-12)
    assert plastic[3] == pytest.approx(np.sqrt(3) / 2 * expected, rel=1e-12)


def test_after_kinematic_hardening_it_yields_earlier_on_the_way_back():
    """Bauschinger: the elastic range stays 2 sigma_y wide, so that back from sigma_y + H eps_p it
    yields at H eps_p - sigma_y."""
    kinematic, gamma = 2e9, 2e-2
    stress, plastic, equivalent, *_ = law((0, 0, 0, gamma / 2, 0, 0), kinematic=kinematic)
    back = gamma / 2 - 1.001 * 2 * YIELD / np.sqrt(3) / (2 * SHEAR)
    ahead = law((0, 0, 0, back, 0, 0), YIELD, 0.0, kinematic, plastic, equivalent)
    assert ahead[2] > equivalent
    almost = gamma / 2 - 0.999 * 2 * YIELD / np.sqrt(3) / (2 * SHEAR)
    before = law((0, 0, 0, almost, 0, 0), YIELD, 0.0, kinematic, plastic, equivalent)
    assert before[2] == equivalent


def test_flow_keeps_the_volume_and_the_mean_stress():
    """J2: plastic strain has no trace, and the mean stress is K tr(eps), flow or not."""
    strain = np.array([2e-2, -1e-3, 5e-3, 8e-3, -4e-3, 6e-3])
    stress, plastic, equivalent, *_ = law(strain, isotropic=1e9)
    assert equivalent > 1e-3
    assert abs(plastic[:3].sum()) < 1e-15
    assert stress[:3].sum() / 3 == pytest.approx(BULK * strain[:3].sum(), rel=1e-12)


def test_without_a_yield_stress_nothing_flows():
    stress, plastic, equivalent, *_ = law((0, 0, 0, 0.5, 0, 0), np.inf)
    assert stress[3] == pytest.approx(2 * SHEAR * 0.5) and np.all(plastic == 0) and equivalent == 0


@pytest.mark.parametrize("size", [1e-4, 2e-2], ids=["elastic", "flowing"])
def test_the_tangent_is_the_derivative_of_the_stress(size):
    """K 1x1 + 2 G theta Idev - 2 G theta_bar n x n against central differences, step 1e-7: their
    error is of second order, far below 1e-5, and rounding is 1e-9 of the stiffness."""
    strain = size * np.array([1.0, -0.3, 0.2, 0.4, -0.2, 0.3])
    *_, normal, theta, theta_bar = law(strain, isotropic=1.5e9, kinematic=0.5e9)
    ahead = 1e-7 * np.array([0.3, 0.5, -0.2, 0.7, 0.1, -0.4])

    def at(strain):
        return law(strain, isotropic=1.5e9, kinematic=0.5e9)[0]

    change = (at(strain + ahead) - at(strain - ahead)) / 2
    one = np.array([1.0, 1, 1, 0, 0, 0])
    volume = ahead[:3].sum()
    tangent = BULK * volume * one + 2 * SHEAR * theta * (ahead - volume / 3 * one)
    tangent -= 2 * SHEAR * theta_bar * (normal * ahead * SHEARS).sum() * normal
    assert change == pytest.approx(tangent, abs=1e-5 * np.abs(tangent).max())


def test_properties_of_soft_and_of_inactive_metal():
    """Hard at the softening temperature, next to nothing `SOFT_RANGE` above; filler that waits
    only carries its points. E = 9 K G / (3 K + G), whatever Poisson's ratio."""
    metal = constant_metal(softening_temperature=1200.0, yield_stress=YIELD, poisson_ratio=0.25)
    temperature = np.array([[300.0, 1200.0, 1200.0 + SOFT_RANGE, 300.0]])
    active = np.array([[True, True, True, False]])
    found = Properties.of(metal, temperature, active)
    share = found.youngs_modulus / 210e9
    assert share[0] == pytest.approx([1.0, 1.0, SOFT_STIFFNESS, INACTIVE_STIFFNESS], rel=1e-12)
    assert found.yield_stress[0, 1] == pytest.approx(YIELD)
    assert np.isinf(found.yield_stress[0, 2:]).all()
