"""A state as plain arrays and back: to the bit, and nothing missing in silence."""

import numpy as np
import pytest

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.simulation.model import build_model
from weldsim.simulation.state import State
from weldsim.simulation.steps import simulate


@pytest.fixture(scope="module")
def state():
    model = build_model(load_case(CASES / "pivot_arm_one_bead.toml"), "sketch", threads=1)
    return next(simulate(model)).state


def test_arrays_come_back_to_the_bit(state):
    arrays = state.to_arrays()
    again = State.from_arrays(arrays)
    for name, values in again.to_arrays().items():
        np.testing.assert_array_equal(values, arrays[name], err_msg=name)
        assert values.dtype == arrays[name].dtype
    assert again.steps == state.steps == 1 and isinstance(again.steps, int)
    assert again.closed_clamps == state.closed_clamps and isinstance(again.time, float)


def test_the_books_are_what_was_supplied_lost_and_brought(state):
    """Heat in is heat stored and lost, to the tolerance of the heat: definition of the balance."""
    books = state.energy_balance
    assert books.supplied == state.supplied > 0
    assert books.stored == pytest.approx(state.stored - state.brought_heat)
    assert books.supplied == pytest.approx(books.stored + books.lost, rel=1e-3)


def test_a_missing_array_is_named(state):
    arrays = state.to_arrays()
    del arrays["peak_temperature"]
    with pytest.raises(KeyError, match="peak_temperature"):
        State.from_arrays(arrays)
