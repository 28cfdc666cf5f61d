"""A spring clamp reads how its faces have shifted and turned: rigid motion, by hand."""

import numpy as np
import pytest

from weldsim.schema.records import Clamp
from weldsim.simulation.clamping import Clamping

FACE = np.array([[0.0, y, z] for y in (-0.02, 0.0, 0.02) for z in (0.0, 0.01, 0.02)])
ELSEWHERE = np.array([[0.1, 0.0, 0.0], [0.1, 0.01, 0.0]])
POINTS = np.vstack([FACE, ELSEWHERE])
NODES = np.arange(len(FACE))
SPRING = Clamp("hand", ("end",), "spring", 2e5, 30.0)
RIGID = Clamp("vise", ("end",))
BOTH = Clamping((SPRING, RIGID), (NODES, NODES), POINTS, NODES, (None, None))
SHIFT, TURN = np.array([1e-4, -2e-4, 3e-4]), np.array([1e-3, 2e-3, -1e-3])


def moved():
    """A small turn about the middle of the face, and a shift: u = d + w x r."""
    return SHIFT + np.cross(TURN, POINTS - FACE.mean(axis=0))


def test_an_anchor_is_the_shift_and_turn_of_the_faces_when_a_clamp_grips():
    anchors = np.full((2, 6), 7.0)
    found = BOTH.anchored(anchors, moved(), ["hand"])
    np.testing.assert_allclose(found[0], [*SHIFT, *TURN], rtol=1e-9, atol=1e-15)
    np.testing.assert_array_equal(found[1], 7.0)  # of the other one, which does not grip now
    np.testing.assert_array_equal(anchors, 7.0)  # what is given stays


def test_only_springs_that_grip_act_and_with_what_the_case_says():
    anchors = np.zeros((2, 6))
    (spring,) = BOTH.springs(["hand", "vise"], anchors)
    np.testing.assert_array_equal(spring.stiffness, [2e5, 2e5, 2e5, 30.0, 30.0, 30.0])
    assert BOTH.springs(["vise"], anchors) == ()


def test_a_rigid_clamp_holds_all_of_its_points():
    held = BOTH.supports(["vise"]).reshape(-1, 3)
    assert held[NODES].all() and not held[len(FACE) :].any()


@pytest.mark.parametrize("name, count", [("hand", 9), ("vise", 9)])
def test_points_of_a_clamp(name, count):
    assert len(BOTH.points_of(name)) == count
