"""The one error estimate: which grade stands below which, and a coarser run that fails."""

import pytest

from weldsim.errors import ConvergenceError
from weldsim.geometry.grades import GRADES
from weldsim.runs.error_estimate import COARSER_FAILED, estimate_error, grade_below
from weldsim.schema.column import Column


def test_each_grade_but_the_roughest_has_one_below():
    """README names the grades from coarse to fine; a sketch is rougher than all."""
    below = {g: grade_below(g) for g in GRADES}
    assert below == {
        "sketch": None, "coarse": "sketch", "quick": "coarse", "normal": "quick", "fine": "normal",
    }  # fmt: skip


@pytest.mark.parametrize(
    "trouble, said",
    [
        (ConvergenceError("no equilibrium\nresiduals: 1 2 3"), "no equilibrium"),
        (ValueError("an array is empty"), "unexpected: ValueError: an array is empty"),
        (MemoryError(), "unexpected: MemoryError"),
        (RecursionError("too deep"), "unexpected: RecursionError: too deep"),
        (OSError(28, "No space left on device"), "No space left on device"),
    ],
    ids=lambda v: type(v).__name__ if isinstance(v, Exception) else "",
)
def test_a_coarser_run_that_fails_in_any_way_is_only_told(trouble, said):
    def fail(grade):
        raise trouble

    found = estimate_error({Column("pointer", "up", "mrad"): 1e-3}, "sketch", fail)
    assert not found.values and found.how == COARSER_FAILED
    assert said in found.trouble and "\n" not in found.trouble


def test_a_stop_passes_through_the_coarser_run():
    def stop(grade):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        estimate_error({}, "sketch", stop)
