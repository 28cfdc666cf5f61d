"""Equilibrium on a kept factor against closed forms and Newton's method with its own tangent."""

import numpy as np
import pytest

from tests.verification.mech_tools import box, elastic
from weldsim.errors import ConvergenceError
from weldsim.physics.equilibrium import solve_equilibrium
from weldsim.physics.kept_factor import KeptFactor
from weldsim.physics.quasi_newton import LONG_STEP, follow_equilibrium
from weldsim.physics.rigid_motion import mean_motion
from weldsim.physics.springs import Spring

E, NU, YIELD, HARDENING = 210e3, 0.3, 250.0, 2e3  # N/mm2
TIGHT = 1e-9


@pytest.fixture(scope="module")
def bar():
    """A bar of 8 x 2 x 2 mm along x."""
    return box(8, 2, 2)


def heated(body, rise, **more):
    """Properties with thermal strain from a rise of temperature that falls off along x."""
    x = body.at[..., 0]
    strain = 12e-6 * rise * np.exp(-(((x - 2.0) / 1.5) ** 2))
    return elastic(body, E, NU, strain, YIELD, isotropic=HARDENING, **more)


def between_walls(body):
    fixed = np.zeros_like(body.points, dtype=bool)
    fixed[body.on(0, 0.0) | body.on(0, 8.0)] = True
    return fixed


def followed(body, properties, fixed, kept=None, springs=(), tolerance=TIGHT, start=None):
    start = body.still() if start is None else start
    return follow_equilibrium(
        body.model, start, properties, body.virgin(), fixed, springs, tolerance, kept
    )


def test_the_answer_is_newtons(bar):
    """A held bar that yields: the same equilibrium by both ways, to the tolerance of either."""
    fixed, law = between_walls(bar), heated(bar, 400.0)
    newton = solve_equilibrium(bar.model, bar.still(), law, bar.virgin(), fixed, tolerance=TIGHT)
    found, kept = followed(bar, law, fixed)
    assert found.equivalent_plastic_strain.max() > 1e-3
    size = np.abs(newton.displacement).max()
    assert np.abs(found.displacement - newton.displacement).max() < 1e-6 * size
    assert np.abs(found.stress - newton.stress).max() < 1e-5 * YIELD
    assert found.factorisations < newton.iterations
    assert kept.factor.suits(bar.model.solver, fixed.ravel(), ())


def test_a_held_bar_is_pressed_as_the_closed_form_says(bar):
    """Between walls, free to swell sideways: stress -E alpha dT (Timoshenko, Strength of
    Materials), whatever the factor was made of."""
    fixed = np.zeros_like(bar.points, dtype=bool)
    fixed[bar.on(0, 0.0), 0] = fixed[bar.on(0, 8.0), 0] = True
    fixed[bar.on(1, 0.0), 1] = fixed[bar.on(2, 0.0), 2] = True
    soft = elastic(bar, E / 5, NU, 12e-6 * 10.0)
    _, kept = followed(bar, soft, fixed)
    found, kept = followed(bar, elastic(bar, E, NU, 12e-6 * 50.0), fixed, kept)
    assert found.factorisations == 0 and found.back_substitutions == found.iterations
    np.testing.assert_allclose(found.stress[..., 0], -E * 12e-6 * 50.0, rtol=1e-6)


def test_a_factor_of_other_clamps_is_not_used(bar):
    fixed = between_walls(bar)
    _, kept = followed(bar, heated(bar, 50.0), fixed)
    one_end = fixed.copy()
    one_end[bar.on(0, 8.0)] = False
    assert not kept.factor.suits(bar.model.solver, one_end.ravel(), ())
    found, _ = followed(bar, heated(bar, 50.0), one_end, kept)
    assert found.factorisations >= 1


def test_a_factor_that_was_overwritten_is_made_again_to_the_bit(bar):
    fixed, law = between_walls(bar), heated(bar, 50.0)
    _, kept = followed(bar, law, fixed)
    rhs = np.where(fixed.ravel(), 0.0, np.sin(np.arange(fixed.size)))
    before = kept.factor.apply(rhs)
    followed(bar, elastic(bar, E / 3, NU), bar.free())  # the solver now holds another matrix
    np.testing.assert_array_equal(kept.factor.apply(rhs), before)
    again = KeptFactor.from_arrays(bar.model.solver, kept.factor.to_arrays(), ())
    np.testing.assert_array_equal(again.apply(rhs), before)


def test_after_a_long_step_the_factor_is_made_anew(bar):
    fixed, law = between_walls(bar), heated(bar, 50.0)
    _, kept = followed(bar, law, fixed)
    found, _ = followed(bar, law, fixed, kept._replace(iterations=LONG_STEP + 1))
    assert found.factorisations == 1


def test_an_elastic_clamp_carries_its_share(bar):
    """A heated bar between a wall and a spring k: force alpha dT L k s / (k + s), with s = E A / L
    (springs in series)."""
    fixed = np.zeros_like(bar.points, dtype=bool)
    fixed[bar.on(0, 0.0), 0] = fixed[bar.on(1, 0.0), 1] = fixed[bar.on(2, 0.0), 2] = True
    end = np.flatnonzero(bar.on(0, 8.0))
    stiff = 5e4
    spring = Spring(end, mean_motion(bar.points[end]), np.r_[[stiff, 0, 0], [0.0] * 3], np.zeros(6))
    swell = 12e-6 * 100.0
    _, kept = followed(bar, elastic(bar, E, NU, swell / 2), fixed, springs=(spring,))
    found, _ = followed(bar, elastic(bar, E, NU, swell), fixed, kept, (spring,))
    series = stiff * (E * 4.0 / 8.0) / (stiff + E * 4.0 / 8.0)
    assert found.factorisations == 0
    pushed = found.reaction[end, 0].sum()
    # the same force at each point of the end is no even pressure, which gives way a little more
    assert pushed == pytest.approx(-swell * 8.0 * series, rel=0.05)
    law = elastic(bar, E, NU, swell)
    newton = solve_equilibrium(
        bar.model, bar.still(), law, bar.virgin(), fixed, springs=(spring,), tolerance=TIGHT
    )
    assert pushed == pytest.approx(newton.reaction[end, 0].sum(), rel=1e-6)


def test_what_has_no_equilibrium_is_refused(bar):
    """A load-free search with metal that turned to nan must not come back with an answer."""
    law = elastic(bar, E, NU, np.nan)
    with pytest.raises(ConvergenceError, match="no equilibrium"):
        followed(bar, law, between_walls(bar))
