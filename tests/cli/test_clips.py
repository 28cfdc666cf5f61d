"""A film in place of a reading, and the marks of a target as a person writes them."""

from types import SimpleNamespace

import numpy as np
import pytest

from weldsim.cli.clips import LEAST_NOISE, filmed_readings, sheet_of
from weldsim.errors import WeldsimError
from weldsim.measurements.target_sheet import PAPERS
from weldsim.schema.column import Column


def test_marks_are_a_paper_or_two_lengths():
    assert sheet_of("A3") is PAPERS["A3"].sheet
    found = sheet_of("10 in x 8 in")
    assert (found.width, found.height) == pytest.approx((0.254, 0.2032))  # an inch is 25.4 mm
    for text in ("A7", "10 mm", "10 x 8", "0 mm x 5 mm", "9 kg x 8 mm"):
        with pytest.raises(WeldsimError, match="--marks"):
            sheet_of(text)


def test_films_of_two_welds_add_up(tmp_path):
    pytest.importorskip("cv2", reason="clips need OpenCV")
    pytest.importorskip("av", reason="clips need PyAV")
    from tests.measurements.made_clips import made_frames, write_clip

    films, ends = [], [(0.004, -0.006), (-0.001, 0.010)]  # right and up at the end of each [m]
    for k, (right, up) in enumerate(ends):
        times = np.arange(0.0, 4.5, 0.25)

        def moving(t, right=right, up=up):
            share = min(max(t - 1.0, 0.0), 1.0)
            return right * share, up * share

        rng = np.random.default_rng(k)
        frames = made_frames(PAPERS["A4"].sheet, moving, times, rng, size=(480, 480))
        films.append(write_clip(tmp_path / f"{k}.mp4", times, frames))
    plan = SimpleNamespace(measure_columns=[Column("spot", d, "mrad") for d in ("up", "right")])
    said, noise = filmed_readings(plan, films, "A4", False, None, lambda share, text: None)
    values = [float(s.split("=")[1].split()[0]) for s in said]
    assert [s.partition("=")[0] for s in said] == ["spot.up", "spot.right"]
    assert values == pytest.approx([4.0, 3.0], abs=1.0)  # mm; a millimetre is asked of a film
    assert LEAST_NOISE <= noise < 1.0
    with pytest.raises(WeldsimError, match="pointer"):
        dial = SimpleNamespace(measure_columns=[Column("d", "travel", "mm")])
        filmed_readings(dial, films, "A4", False, None, lambda share, text: None)
