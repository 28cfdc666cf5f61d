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


# one that slides on the face x = 0, so across = 0, and a table below
SLIDES = Clamping(
    (Clamp("rail", ("end",), slides=True), Clamp("table", ("end",), "table")),
    (NODES, NODES), POINTS, NODES, (0, None),
)  # fmt: skip


def rigid_modes_left(held):
    """Rigid motions that supports leave: 6 less the rank of what they hold of each motion."""
    unit = np.eye(3)
    shifts = [np.tile(e, len(POINTS)) for e in unit]
    turns = [np.cross(e, POINTS).ravel() for e in unit]
    return 6 - np.linalg.matrix_rank(np.array(shifts + turns).T[held], tol=1e-9)


def test_a_clamp_that_slides_holds_across_its_face_and_three_more():
    """A plane stops one shift and two turns; three unknowns stop the rest, without stress."""
    held = SLIDES.supports(["rail"]).reshape(-1, 3)
    assert held[NODES, 0].all() and held[:, 1:].sum() == 3
    assert rigid_modes_left(held.ravel()) == 0


def test_without_a_clamp_six_unknowns_stop_rigid_motion():
    held = SLIDES.supports([]).ravel()
    assert held.sum() == 6 and rigid_modes_left(held) == 0
    free = Clamping((), (), POINTS, NODES, ()).supports([]).ravel()
    assert free.sum() == 6 and rigid_modes_left(free) == 0


@pytest.mark.parametrize("closed, rests", [(("rail", "table"), True), (("table",), False),
                                           (("rail",), False), ((), False)])  # fmt: skip
def test_a_part_rests_on_a_table_while_something_else_holds_it(closed, rests):
    assert SLIDES.rests(closed) is rests
