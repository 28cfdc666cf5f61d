"""The result in words: sides, rounding to the error, warnings, unfinished runs."""

import numpy as np
import pytest

from weldsim.readback import RunRecord
from weldsim.words import final_words, rounded

CASE = {
    "welds": [{"name": "A"}],
    "gauges": [
        {"name": "beam", "kind": "pointer", "throw": 5.0, "aim": "+x", "up": "+z"},
        {"name": "dial 1", "kind": "dial"},
    ],
}


def record(tmp_path, up=12.34, right=-4.14, errors=None, **manifest):
    ends = {
        "beam_up_mrad": up / 5.1, "beam_right_mrad": right / 5.1, "beam_up_mm": up,
        "beam_right_mm": right, "dial 1_travel_mm": 0.5, "A_middle_degC": 21.0,
    }  # fmt: skip
    gauges = {"time_s": np.array([0.0, 10.0, 90.0])}
    gauges |= {name: np.array([0.0, 2 * end, end]) for name, end in ends.items()}
    read = {
        name: {"final": end, "extreme": 2 * end, "extreme_time_s": 10.0, "travel": 2 * abs(end),
               "settled_s": 73.0, "settled_after_arc_s": 43.0}
        for name, end in ends.items()
    }  # fmt: skip
    manifest = {"status": "complete", "case": CASE, "warnings": [], **manifest}
    if errors is not None:
        manifest["error_estimate"] = {"how": "a coarser run", "values": errors}
    return RunRecord(tmp_path, manifest, gauges, {"gauges": read}, ())


def test_sides_in_words(tmp_path):
    lines = final_words(record(tmp_path))
    assert (
        lines[0]
        == "beam ends 12.3 mm up and 4.14 mm left on the target at 5 m (2.42 and 0.812 mrad)."
    )
    text = "\n".join(lines)
    assert "farthest on the way (up): +24.7 mm at 10 s" in text
    assert "settled within 2 % of its travel 43 s after the last arc stop" in text
    assert "dial 1 ends at +0.500 mm." in text
    assert "not estimated" in lines[-1]
    assert "middle" not in text  # the temperatures under the beads are no gauge


def test_a_run_that_ends_while_the_part_still_moves_has_not_settled(tmp_path):
    """Any history is within 2 % of its own last reading at last: that alone is no settling."""
    moving = record(tmp_path)
    moving.summary["last_arc_stop_s"] = 30.0  # ends at 90 s; the 43 s of the fixture are settled
    assert "settled within 2 %" in "\n".join(final_words(moving))
    for entry in moving.summary["gauges"].values():
        entry["settled_after_arc_s"] = 59.0
    text = "\n".join(final_words(moving))
    assert "settled within" not in text and "had not settled when the run ended" in text


def test_down_and_right(tmp_path):
    assert final_words(record(tmp_path, -3.0, 2.0))[0].startswith(
        "beam ends 3.00 mm down and 2.00 mm right"
    )


def test_no_digit_that_the_error_makes_meaningless(tmp_path):
    errors = {"beam_up_mm": 1.4, "beam_right_mm": 5.0, "beam_up_mrad": 0.3, "beam_right_mrad": 1.0}
    lines = final_words(record(tmp_path, errors=errors))
    assert lines[0] == "beam ends 12 mm up and 4 mm left on the target at 5 m (2.4 and 1 mrad)."
    text = "\n".join(lines)
    assert "beam up ±1.4 mm, beam right ±5 mm" in text
    assert "beam right is smaller than its error: which way it ends is open" in text
    assert "beam up is smaller" not in text


@pytest.mark.parametrize(
    ("value", "error", "expected"),
    [
        (12.345, None, "+12.3"), (0.012345, None, "+0.0123"), (1234.5, None, "+1234"),
        (12.345, 0.14, "+12.3"), (12.345, 1.4, "+12"), (12.345, 40.0, "+12"),
        (-0.0001, 0.1, "0.0"), (0.0, None, "0.000"), (-5.67, 0.02, "-5.67"),
    ],
)  # fmt: skip
def test_rounding(value, error, expected):
    assert rounded(value, error, "mm") == expected


def test_warnings_and_unfinished_runs(tmp_path):
    stopped = record(tmp_path, status="stopped", warnings=["the part turns a lot"])
    lines = final_words(stopped)
    assert lines[0].startswith("This run is stopped; it has come to 90 s")
    assert f"weldsim run --resume {tmp_path}" in lines[0]
    assert lines[1].startswith("beam stands 12.3 mm up")
    assert lines[-1] == "Careful: the part turns a lot."
    failed = record(tmp_path, status="failed", error="step 7 at 3 s: no equilibrium")
    assert final_words(failed)[0].endswith("step 7 at 3 s: no equilibrium")
