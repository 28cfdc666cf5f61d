"""Closed forms behind the rows on joints of tubes."""

import pytest

from weldsim.validation.plates import thin
from weldsim.validation.tube_joints import in_three_arms


def test_three_arms_without_a_corner_are_four_ninths_of_a_plate():
    """EN 1011-2:2001, Annex D, thin plate at 20 degC; its constants are rounded, hence 1 %."""
    heat, thickness = 0.25e6, 3e-3  # J/m, m
    whole = in_three_arms(heat, thickness, 0.0)
    assert whole == pytest.approx(4 / 9 * thin(0.25, 3.0, 20.0), rel=0.01)
    # what a corner keeps to itself does not warm the arms
    assert in_three_arms(heat, thickness, 10e-6) < whole
