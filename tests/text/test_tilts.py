"""A tolerance as the bench reads it; lengths at the target are angle times distance, by hand."""

import pytest

from weldsim.schema.tolerance import Tolerance, read_tolerance
from weldsim.text.tilts import tolerance_words


@pytest.mark.parametrize(
    ("text", "kind", "distance", "metric", "us"),
    [  # 1 mrad over 4 m is 4 mm, 0.157 in; 0.02 in are 0.508 mm
        ("1 mrad", "angle", 4.0, "±4 mm at the target (±1 mrad)", "±0.157 in at the target"),
        ("1 mrad", "angle", None, "±1 mrad", "±1 mrad"),
        ("0.02 in", "linear", None, "±0.508 mm", "±0.02 in"),
        ("5 mm/m", "slope", 2.0, "±10 mm at the target (±5 mm/m)", "±0.394 in at the target"),
    ],
)
def test_a_tolerance_is_said_at_the_target_first(text, kind, distance, metric, us):
    said = tolerance_words(read_tolerance(text, kind), distance)
    assert said == metric and said.text("us").startswith(us)


def test_a_class_is_named_and_a_limit_of_one_side_is_no_plus_or_minus():
    # ISO 13920, table 1, class A for over 30 to 120 mm: +-1 mm (from memory)
    said = tolerance_words(read_tolerance("ISO 13920 A", "linear", 0.1))
    assert said.startswith("±1 mm (ISO 13920 A")
    assert tolerance_words(Tolerance("300 s", 300.0, "time")) == "at most 300 s"
