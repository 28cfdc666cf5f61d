"""Rows that are to hold, with the physics that they check; all of them are slow."""

import pytest

from weldsim.validation.bridge import deflection, profile
from weldsim.validation.second_mechanics import demo_bar
from weldsim.validation.shrinkage import angular_change, heat_limit
from weldsim.validation.tendon import exact_limit
from weldsim.validation.thick_plate import far_field, fusion_zone
from weldsim.validation.tube_joints import fillet_cooling, girth_cooling, kink

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(
    "run",
    [
        exact_limit,
        far_field,
        fusion_zone,
        heat_limit,
        angular_change,
        kink,
        girth_cooling,
        fillet_cooling,
        profile,
    ],
)
def test_a_row_holds(run):
    found = run(True)
    assert found.comparisons
    for c in found.comparisons:
        assert c.holds, (
            f"{c.quantity}: {c.computed:.4g} {c.unit}, allowed {c.low:.4g} to {c.high:.4g}"
        )


def test_two_programs_agree_on_the_demo_bar():
    pytest.importorskip("felupe")
    for found in demo_bar(True):
        for c in found.comparisons:
            assert c.holds, f"{found.title}: {c.quantity}: {c.computed:.3g} {c.unit}"


def test_the_cut_bar_curls_away_from_its_plate():
    """Upward and falling all the way to its root (NIST AM-Bench AMB2018-01, first eight places)."""
    found = deflection()
    assert (found[:8] > 0).all() and (found[:-1] > found[1:]).all()
