"""A filmed spot in words, in either unit."""

from types import SimpleNamespace

import numpy as np

from weldsim.text.quantities import as_written
from weldsim.text.spot_words import record_lines


def test_a_film_is_told_in_mm_and_in_inches():
    """An inch is 25.4 mm: 12.7 mm are half of one."""
    record = SimpleNamespace(
        used=np.array([True, True, False]), times=np.array([0.0, 30.0, 60.0]), signal="red",
        flags=("", "", "lost"), arc=(np.array([4.0]), np.array([45.0])), error=0.000254,
        reading=lambda: (0.0127, -0.0254, 0.000508), still_moving=0.0,
    )  # fmt: skip
    lines = record_lines(record)
    assert lines[1:3] == ["left out: 1 lost", "arc on: 4.0 to 45.0 s of the film"]
    assert "at the end +12.70 mm up, -25.40 mm right (±0.51 mm) from" in lines[-1]
    assert "standard deviation is 0.25 mm" in lines[-2]
    shown = as_written(lines[-1]).text("us")
    assert "+0.500 in up, -1.000 in right" in shown and "mm" not in shown
    record.still_moving = 0.0051
    assert "still moved by 5.10 mm" in record_lines(record)[-1]
