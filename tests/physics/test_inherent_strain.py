"""Stated shrinkage comes in with cooling; a restrained bar keeps what it cannot carry. By hand."""

import numpy as np
import pytest

from weldsim.physics.inherent_strain import stated_strain


def test_a_stated_shrinkage_comes_in_as_fused_metal_cools():
    """Peak 1.2 %, ambient 0: nothing at the peak, half of it half way, all of it when cold; never
    more below ambient, and nothing where nothing melted."""
    peak = np.full(5, 0.012)
    now = np.array([0.012, 0.006, 0.0, -0.001, 0.0])
    melted = np.array([True, True, True, True, False])
    found = stated_strain(-0.02, peak, now, melted, 0.0)
    assert found == pytest.approx([0.0, -0.01, -0.02, -0.02, 0.0])


def test_it_counts_from_the_temperature_of_the_air():
    found = stated_strain(-0.01, np.array([0.010]), np.array([0.006]), np.array([True]), 0.002)
    assert found == pytest.approx([-0.005])
