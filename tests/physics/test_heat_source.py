"""Shape and motion of the heat source, by quadrature and by hand.

Distribution: J. Goldak, A. Chakravarti, M. Bibby, Metall. Trans. B 15 (1984) 299-305, factors
exp(-3 r^2). The rest is geometry: an arc stands, moves with its speed, stands again.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from weldsim.geometry.path import Seam
from weldsim.physics.heat_source import DoubleEllipsoid, along, cross_section, mean_density

SEAM = Seam(np.zeros(3), np.array([0.05, 0.0, 0.0]), np.array([0.0, 0.0, 1.0]))
ARC = DoubleEllipsoid(2000.0, 0.005, 0.010, 0.005, 0.004, 0.005, SEAM)


def whole(function, reach):
    """Integral over a range in which the Gaussian falls to nothing; kinks at zero."""
    return quad(function, -reach, reach, points=[0.0], epsrel=1e-10)[0]


@pytest.mark.parametrize("spread", [0.0, 0.002, 0.02])
def test_the_cross_section_holds_the_whole_heat(spread):
    """Across times into the part: one over the half plane, however it is spread."""
    arc = replace(ARC, spread=spread)
    at = cross_section(np.array([0.0]), np.array([0.0]), arc)[0]
    y = whole(lambda v: cross_section(np.array([v]), np.array([0.0]), arc)[0], 0.06)
    z = quad(lambda v: cross_section(np.array([0.0]), np.array([v]), arc)[0], 0.0, 0.04)[0]
    assert y * z / at == pytest.approx(1.0, rel=1e-7)


def test_a_spread_is_the_mean_of_sources_side_by_side():
    arc = replace(ARC, spread=0.003)
    y, z = np.linspace(-0.01, 0.01, 9), np.full(9, 1e-3)
    shifts, weights = np.polynomial.legendre.leggauss(40)
    mean = sum(
        w / 2 * cross_section(y - 0.003 * s, z, ARC) for s, w in zip(shifts, weights, strict=True)
    )
    np.testing.assert_allclose(cross_section(y, z, arc), mean, rtol=1e-10)


def test_the_length_holds_the_whole_heat_and_is_continuous_at_the_arc():
    assert whole(lambda v: along(np.array([v]), ARC)[0], 0.05) == pytest.approx(1.0, rel=1e-9)
    front, rear = along(np.array([1e-12, -1e-12]), ARC)
    assert front == pytest.approx(rear, rel=1e-9)


def test_a_weave_is_the_mean_of_a_sine_across_the_seam():
    """Evenly timed: the mean over one period; the arc stands, so that nothing else moves."""
    arc = replace(ARC, weave=0.004, dwell=10.0, crater=1.0)
    places = np.array([[0.0, y, 1e-3] for y in np.linspace(-0.008, 0.008, 9)])
    phases = 2 * np.pi * (np.arange(4000) + 0.5) / 4000
    s = along(np.array([0.0]), arc)[0]
    mean = np.mean([cross_section(places[:, 1] - 0.004 * np.sin(p), places[:, 2], arc)
                    for p in phases], axis=0)  # fmt: skip
    found = mean_density(places, 0.0, 1.0, arc)
    np.testing.assert_allclose(found, 2000.0 * s * mean, rtol=2e-3)  # nine points of the sine


def test_an_arc_stands_moves_and_stands():
    """5 mm/s over 50 mm after 2 s of dwell: 0, 5 mm at 3 s, the end from 12 s on."""
    arc = replace(ARC, dwell=2.0, crater=3.0)
    assert [arc.place(t) for t in (0.0, 2.0, 3.0, 12.0, 15.0)] == pytest.approx(
        [0.0, 0.0, 0.005, 0.05, 0.05]
    )
    assert ARC.place(-1.0) == pytest.approx(-0.005) and ARC.place(11.0) == pytest.approx(0.055)


def test_shares_of_front_and_rear():
    """f = 2 c / (c_f + c_r): 5 and 10 mm give 2/3 and 4/3, so that the density has no step."""
    assert ARC.shares == pytest.approx((2 / 3, 4 / 3))
