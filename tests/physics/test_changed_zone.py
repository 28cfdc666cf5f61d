"""A factor of a changed zone around a kept factor: against SciPy, Newton's method, closed forms."""

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.sparse.linalg import spsolve

from tests.verification.mech_tools import box, elastic
from weldsim.physics import quasi_newton
from weldsim.physics.changed_zone import ChangedZone
from weldsim.physics.equilibrium import solve_equilibrium
from weldsim.physics.quasi_newton import follow_equilibrium
from weldsim.physics.rigid_motion import mean_motion
from weldsim.physics.springs import Spring

E, NU, YIELD, HARDENING = 210e3, 0.3, 250.0, 2e3  # N/mm2


@pytest.fixture(scope="module")
def bar():
    """A bar of 12 x 2 x 2 mm along x."""
    return box(12, 2, 2)


@pytest.fixture
def zones(monkeypatch):
    """Zones on bodies of any size."""
    monkeypatch.setattr(quasi_newton, "ZONES_FROM", 0)


def full(pattern, data):
    """A symmetric matrix for SciPy."""
    upper = sp.csr_matrix((data, pattern.indices, pattern.indptr), shape=2 * (pattern.size,))
    return (upper + upper.T - sp.diags(upper.diagonal())).tocsc()


def held_at_one_end(body):
    fixed = np.zeros_like(body.points, dtype=bool)
    fixed[body.on(0, 0.0)] = True
    return fixed


def test_a_zone_solves_for_its_own_unknowns(bar):
    """What is left of a residual inside the zone after the zone's own step is nothing, and the step
    is SciPy's for the same rows and columns of the whole tangent."""
    fixed = held_at_one_end(bar).ravel()
    law = elastic(bar, E, NU)
    zone = ChangedZone.of(bar.model, bar.at[..., 0].mean(axis=1) > 9.0, fixed, ())
    zone.refresh(bar.still(), law, bar.virgin())
    residual = np.where(fixed, 0.0, np.sin(np.arange(fixed.size)))
    step, left = zone.before(residual)
    own = (3 * zone.points[:, None] + np.arange(3)).ravel()[~zone.held]
    # the zone is factored in numbers of seven digits, at a condition of some hundreds
    assert np.abs(left[own]).max() < 1e-4
    data = bar.model.evaluate(bar.still(), law, bar.virgin(), tangent=True).tangent
    whole = full(bar.model.pattern, data)
    expected = spsolve(whole[own][:, own], residual[own])
    np.testing.assert_allclose(step[~zone.held], expected, atol=1e-4 * np.abs(expected).max())
    everywhere = np.zeros(fixed.size)
    everywhere[own] = expected
    np.testing.assert_allclose(left, residual - whole @ everywhere, atol=1e-4)


def test_metal_that_softened_is_solved_without_a_new_factor(bar, zones):
    """A bar pulled by its own swelling whose far third lost nine tenths of its stiffness: the kept
    factor of the stiff bar leads to Newton's answer, and is not made anew."""
    fixed = held_at_one_end(bar)
    fixed[bar.on(0, 12.0)] = True
    _, kept = follow_equilibrium(
        bar.model, bar.still(), elastic(bar, E, NU, 1e-5), bar.virgin(), fixed, (), 1e-9
    )
    hot = bar.at[..., 0] > 10.0
    law = elastic(bar, np.where(hot, 0.1 * E, E), NU, np.where(hot, 3e-3, 1e-5))
    found, after = follow_equilibrium(
        bar.model, bar.still(), law, bar.virgin(), fixed, (), 1e-9, kept
    )
    newton = solve_equilibrium(bar.model, bar.still(), law, bar.virgin(), fixed, tolerance=1e-9)
    assert found.factorisations == 0
    size = np.abs(newton.displacement).max()
    assert np.abs(found.displacement - newton.displacement).max() < 1e-7 * size
    assert after.factor is kept.factor


def test_metal_that_flows_is_solved_without_a_new_factor(bar, zones):
    fixed = held_at_one_end(bar)
    fixed[bar.on(0, 12.0)] = True
    _, kept = follow_equilibrium(
        bar.model, bar.still(), elastic(bar, E, NU, 1e-5), bar.virgin(), fixed, (), 1e-9
    )
    swell = np.where(bar.at[..., 0] > 10.0, 8e-3, 0.0)
    law = elastic(bar, E, NU, swell, YIELD, isotropic=HARDENING)
    found, after = follow_equilibrium(
        bar.model, bar.still(), law, bar.virgin(), fixed, (), 1e-9, kept
    )
    newton = solve_equilibrium(bar.model, bar.still(), law, bar.virgin(), fixed, tolerance=1e-9)
    assert found.equivalent_plastic_strain.max() > 1e-3
    assert after.flowing.any()
    size = np.abs(newton.displacement).max()
    assert np.abs(found.displacement - newton.displacement).max() < 1e-6 * size


def test_the_cold_law_is_as_stiff_as_any_of_the_metal_and_leaves_waiting_filler_soft(bar):
    modulus = np.full(bar.volume.shape, E)
    modulus[0], modulus[1] = 0.2 * E, 1e-5 * E
    cold = elastic(bar, modulus, NU, 0.0, YIELD).cold()
    assert np.all(np.isinf(cold.yield_stress))
    np.testing.assert_allclose(cold.youngs_modulus[0], E)
    np.testing.assert_allclose(cold.youngs_modulus[1], 1e-5 * E)


def test_what_an_elastic_clamp_holds_is_no_zone(bar):
    """A spring couples all points of its face, so none of them may be solved apart from it."""
    everywhere = np.arange(len(bar.points))
    spring = Spring(everywhere, mean_motion(bar.points), np.ones(6), np.zeros(6))
    changed = np.ones(len(bar.model.cells), dtype=bool)
    assert ChangedZone.of(bar.model, changed, np.zeros(bar.points.size, bool), (spring,)) is None
