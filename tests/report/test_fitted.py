"""A fit asked for from Python: what it refuses, and how it reads what was measured."""

import pytest

import weldsim
from tests.places import CASES

CASE = CASES / "pivot_arm_one_bead.toml"


@pytest.mark.parametrize(
    "how, told",
    [({"grade": "rough"}, "grade 'rough'"), ({"finer": "sketch"}, "finer 'sketch'"),
     ({"clock": "2 h"}, "clock 2 h"), ({"clock": "2 mm"}, "clock"),
     ({"vary": {"arc.nothing": [0, 1]}}, "nothing")],
)  # fmt: skip
def test_a_fit_that_cannot_be_is_refused_before_anything_is_written(tmp_path, how, told):
    measured = tmp_path / "read.csv"
    measured.write_text("time_s,pointer_up_mm\n0,0\n10,3\n20,5\n")
    how = {"vary": {"arc.efficiency": [0.6, 0.9]}} | how
    with pytest.raises(weldsim.CaseError, match=told):
        weldsim.fit(weldsim.load_case(CASE), measured, tmp_path / "fit", **how)
    assert not (tmp_path / "fit").exists()


def test_what_was_measured_is_read_for_the_gauges_of_a_case(tmp_path):
    """An inch is 25.4 mm (by definition, 1959)."""
    file = tmp_path / "bench.csv"
    file.write_text("time_min,spot\n0,0\n1,0.5\n2,1\n")
    read = weldsim.read_measurement(
        file, weldsim.load_case(CASE), names={"spot": "pointer_up_mm"}, units={"spot": "in"},
        noise={"spot": 0.02},
    )  # fmt: skip
    (curve,) = read.curves
    assert curve.times == pytest.approx([0.0, 60.0, 120.0])
    assert curve.values == pytest.approx([0.0, 0.0127, 0.0254])
    assert curve.noise == pytest.approx(0.02 * 0.0254)


def test_a_gauge_the_case_lacks_is_refused(tmp_path):
    file = tmp_path / "bench.csv"
    file.write_text("time_s,dial_up_mm\n0,0\n1,0.5\n")
    with pytest.raises(weldsim.MeasurementError, match="dial_up_mm"):
        weldsim.read_measurement(file, weldsim.load_case(CASE))
