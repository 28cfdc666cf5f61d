"""The one error estimate: which grade stands below which."""

from weldsim.geometry.grades import GRADES
from weldsim.runs.error_estimate import grade_below


def test_each_grade_but_the_roughest_has_one_below():
    """README names the grades from coarse to fine; a sketch is rougher than all."""
    below = {g: grade_below(g) for g in GRADES}
    assert below == {
        "sketch": None, "coarse": "sketch", "quick": "coarse", "normal": "quick", "fine": "normal",
    }  # fmt: skip
