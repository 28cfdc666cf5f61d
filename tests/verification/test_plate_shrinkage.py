"""Angular change of a plate from a strip of inherent strain, closed form.

beta = (12 / h^3) e* w d (h - d) / 2 for transverse strain e* over width w and depth d from the top
of a free plate of thickness h: zero when the whole depth shrinks, largest at half the depth.
Derived from beam statics of a strip across the weld; transverse shrinkage e* w d / h.
"""

import numpy as np
import pytest

from tests.verification.mech_tools import box, elastic, inherent, solve
from weldsim.physics.rigid_motion import rigid_rotation

H, WIDE, SHRINK = 6.0, 8.0, -0.012
E = 210e3


def bent(depth: float):
    """Angle [rad] and shrinkage [mm] of a strip of plate 40 mm to either side of the weld."""
    y = np.r_[np.linspace(-40, -4, 7), 0.0, np.linspace(4, 40, 7)]
    z = np.unique(np.r_[0.0, H - depth, H])
    if len(z) == 2:
        z = np.array([0.0, H / 2, H])
    body = box([0.0, 4.0, 8.0], y, z)
    inside = (np.abs(body.at[..., 1]) < WIDE / 2) & (body.at[..., 2] > H - depth)
    internal_variables = inherent(body, np.where(inside, SHRINK, 0.0), 1)
    found = solve(body, elastic(body, E, 0.0), body.free(), internal_variables=internal_variables)
    ends = [np.flatnonzero(body.on(1, v)) for v in (-40.0, 40.0)]
    turns = [rigid_rotation(body.points[e]) @ found.displacement[e].ravel() for e in ends]
    skins = [body.on(2, 0.0) | body.on(2, H)]  # their mean is the middle of the thickness
    moved = [found.displacement[e[skins[0][e]], 1].mean() for e in ends]
    return turns[1][0] - turns[0][0], moved[0] - moved[1]


@pytest.mark.parametrize("depth", [1.5, 3.0, 4.5, 6.0])
def test_angle_and_shrinkage_of_a_free_plate(depth):
    angle, short = bent(depth)
    expected = 12 / H**3 * -SHRINK * WIDE * depth * (H - depth) / 2
    assert angle == pytest.approx(expected, rel=0.01, abs=1e-5), (
        f"angular change, strip {depth:g} mm deep in 6 mm [rad]"
    )
    assert short == pytest.approx(-SHRINK * WIDE * depth / H, rel=0.01), (
        f"shrinkage across, strip {depth:g} mm deep in 6 mm [mm]"
    )


def test_worked_value_and_where_the_angle_is_largest():
    """h = 6, w = 8, d = 3, e* = -0.012: 1.375 degrees; 1.031 at d = 1.5 and 4.5; none at d = h."""
    angle = {d: np.degrees(bent(d)[0]) for d in (1.5, 3.0, 4.5, 6.0)}
    assert angle[3.0] == pytest.approx(1.375, rel=0.01), (
        "angular change, strip 3 mm deep, worked value [deg]"
    )
    assert angle[1.5] == pytest.approx(1.031, rel=0.01), (
        "angular change, strip 1.5 mm deep, worked value [deg]"
    )
    assert angle[4.5] == pytest.approx(1.031, rel=0.01), (
        "angular change, strip 4.5 mm deep, worked value [deg]"
    )
    assert abs(angle[6.0]) < 0.005, "angular change, strip as deep as the plate, deg"
