"""The result in words: sides, rounding to the error, warnings, unfinished runs."""

import numpy as np
import pytest

from weldsim.runs.error_estimate import NOT_ASKED
from weldsim.runs.reading import RunRecord
from weldsim.text.words import final_words, rounded

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


def test_a_run_without_a_second_run_says_why_it_has_no_error(tmp_path):
    lines = final_words(record(tmp_path, error_estimate={"how": NOT_ASKED, "values": {}}))
    assert lines[-1].endswith("none for this run: no second run, one grade coarser, was made.")


def test_sides_in_words(tmp_path):
    lines = final_words(record(tmp_path))
    # 12.34 / 5.1 mrad are 0.1386 degrees
    assert lines[0] == (
        "beam ends 12.3 mm up and 4.14 mm left on the target 5 m away: tilted 0.139° and 0.0465° "
        "(2.42 and 0.812 mm/m, 2.42 and 0.812 mrad)."
    )
    text = "\n".join(lines)
    assert "farthest on the way (up): +24.7 mm at 10 s" in text
    assert "settled within 2 % of its total movement 43 s after the last arc stop" in text
    assert "dial 1 ends at +0.500 mm." in text
    assert lines[-1] == "Estimated error: none for this run."
    assert "middle" not in text  # the temperatures under the beads are no gauge


def test_the_end_s_own_shift_explains_why_the_spot_is_not_tilt_times_distance(tmp_path):
    """12.34 mm at 5 m, of which 5 / 5.1 are tilt (the fixture): 0.242 mm are left."""
    lines = final_words(record(tmp_path))
    assert lines[1] == (
        "  of that, 0.24 mm up and 0.081 mm left are the end's own shift; the rest is its tilt "
        "over 5 m"
    )
    errors = {"beam_up_mm": 1.4, "beam_right_mm": 5.0}  # whole mm shown: nobody sees 0.24
    assert "own shift" not in "".join(final_words(record(tmp_path, errors=errors)))


def test_us_words_come_from_the_full_values(tmp_path):
    """12.34 mm are 0.4858 in, 5 m are 16.40 ft, 2.42 mm/m are 12/1000 of it in in/ft."""
    line = final_words(record(tmp_path))[0].text("us")
    assert "0.486 in up" in line and "16.4 ft away" in line and "0.0290 and" in line
    assert "in/ft, 2.42 and 0.812 mrad" in line and "mm" not in line


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
    assert lines[0] == (
        "beam ends 12 mm up and 4 mm left on the target 5 m away: tilted 0.14° and 0.05° "
        "(2.4 and 1 mm/m, 2.4 and 1 mrad)."
    )
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
    assert lines[-1] == "Warning: the part turns a lot."
    failed = record(tmp_path, status="failed", error="step 7 at 3 s: no equilibrium")
    assert final_words(failed)[0].endswith("step 7 at 3 s: no equilibrium")


def joint(tmp_path, force, gap=0.0, moment=(0.0, 0.0, 0.0), **manifest):
    """A run with a gap and the reaction of a clamp; half of each on the way."""
    gauges = [{"name": "gap", "kind": "gap", "at": "front"},
              {"name": "push", "kind": "reaction", "at": "saddle"}]  # fmt: skip
    ends = {"gap_opening_mm": gap}
    ends |= {f"push_F{a}_N": v for a, v in zip("xyz", force, strict=True)}
    ends |= {f"push_M{a}_Nm": v for a, v in zip("xyz", moment, strict=True)}
    read = {name: np.array([0.0, 0.5 * end, end]) for name, end in ends.items()}
    manifest = {"status": "complete", "case": {"welds": [], "gauges": gauges}, **manifest}
    return RunRecord(tmp_path, manifest, {"time_s": np.array([0.0, 10.0, 90.0]), **read}, {}, ())


def test_a_gap_opens_or_closes(tmp_path):
    words = [final_words(joint(tmp_path, (0, 0, 0), gap))[0] for gap in (0.12, -0.0345, 1e-5)]
    assert words == [
        "The gap on the front side opens by 0.120 mm.",
        "The gap on the front side closes by 0.0345 mm.",
        "The gap on the front side neither opens nor closes.",
    ]


def test_a_reaction_is_told_by_its_length_and_largest_part(tmp_path):
    """3, 4, 12 give 13 and 6, 2, 3 give 7 (Pythagorean quadruples, arithmetic)."""
    record_ = joint(tmp_path, (300.0, 400.0, -1200.0), moment=(6.0, -2.0, 3.0))
    lines = [line for line in final_words(record_) if "saddle" in line]
    assert lines == [
        "push: clamp saddle pushes the part with 1300 N, largest along z (-1200 N) at the end, and "
        "turns it with 7.00 N m, largest about x (+6.00 N m)."
    ]
    assert "300 N" not in lines[0].replace("1300 N", "")  # no raw list of components


def test_a_clamp_that_came_off_carries_nothing_but_did(tmp_path):
    off = joint(tmp_path, (0.0, 0.0, 0.0))
    for name, most in (("push_Fx_N", 8.0), ("push_Fy_N", 9.0), ("push_Fz_N", 12.0)):  # 17
        off.gauges[name] = np.array([0.0, most, 0.0])
    text = "\n".join(final_words(off))
    assert "push: clamp saddle carries nothing at the end." in text
    assert "most on the way: 17.0 N, largest along z (+12.0 N) at 10 s" in text


def test_only_the_largest_force_of_a_reaction_has_its_error_told(tmp_path):
    errors = {f"push_F{a}_N": 20.0 for a in "xyz"} | {f"push_M{a}_Nm": 1.0 for a in "xyz"}
    found = final_words(
        joint(tmp_path, (300.0, 400.0, -1200.0), error_estimate={"how": "x", "values": errors})
    )
    (line,) = [w for w in found if w.startswith("Estimated")]
    assert line == "Estimated error: push Fz ±20 N."
