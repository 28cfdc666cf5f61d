"""A filmed light spot is where it was put: made clips with known motion."""

from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("cv2", reason="clips need OpenCV")
pytest.importorskip("av", reason="clips need PyAV")

from weldsim.errors import MeasurementError
from weldsim.measurements.arc_light import ArcTimes
from weldsim.measurements.measured_curve import read_measurement
from weldsim.measurements.spot_record import SpotRecord, read_clip, write_spot_file
from weldsim.measurements.target_sheet import PAPERS
from weldsim.schema.column import Column

from .made_clips import made_frames, write_clip

SHEET = PAPERS["A4"].sheet
WITHIN = 1e-3  # 1 mm at 5 m is 0.2 mrad, what a person reads off such a target


def swing(t):
    """Right and up: first away, then back and farther, as a welded bar does. [m]"""
    return 0.004 * np.tanh(t / 4.0), 0.012 * np.sin(t / 3.0) * np.exp(-t / 8.0) - 0.01 * t / 10.0


def followed(folder, times, read=None, moving=swing, **options):
    rng = np.random.default_rng(11)
    clip = write_clip(folder / "clip.mp4", times, made_frames(SHEET, moving, times, rng, **options))
    return clip, read_clip(clip, SHEET, **(read or {}))


def errors(record, times, moving=swing, zero=None):
    """Greatest miss of the readings used, the zero taken out of both. [m]"""
    used = record.used
    right, up = np.array([moving(t) for t in record.times]).T
    base = record.times <= 1.0 if zero is None else record.times < zero
    up0, right0 = np.median(up[base & used]), np.median(right[base & used])
    miss = np.hypot(record.up - (up - up0), record.right - (right - right0))
    return float(np.nanmax(miss[used]))


def test_a_spot_is_followed_to_a_millimetre(tmp_path):
    times = np.arange(0.0, 2.0, 0.1)
    _, record = followed(tmp_path, times, size=(480, 480))
    assert record.used.mean() > 0.9 and record.signal in ("red", "bright")
    assert errors(record, times) < WITHIN


def test_the_file_is_read_back_as_a_measured_curve(tmp_path):
    times = np.arange(0.0, 2.0, 0.1)
    clip, record = followed(tmp_path, times, size=(480, 480), colour="green")
    file = write_spot_file(tmp_path / "spot.csv", record, "pointer", clip.name)
    columns = [Column("pointer", d, "mm") for d in ("up", "right")]
    up, right = read_measurement(file, columns).curves
    np.testing.assert_allclose(up.values, record.up[record.used], atol=1e-7)
    np.testing.assert_allclose(right.values, record.right[record.used], atol=1e-7)
    assert up.noise_from == "given"


def test_what_is_no_clip_is_refused(tmp_path):
    with pytest.raises(MeasurementError, match="no such file"):
        read_clip(tmp_path / "none.mp4", SHEET)
    text = tmp_path / "text.mp4"
    text.write_text("no film\n" * 100)
    with pytest.raises(MeasurementError, match="film"):
        read_clip(text, SHEET)
    grey = (np.full((240, 320, 3), 128, np.uint8) for _ in range(12))
    clip = write_clip(tmp_path / "grey.mp4", np.arange(12) * 0.1, grey)
    with pytest.raises(MeasurementError, match="four marks"):
        read_clip(clip, SHEET)


def test_a_target_without_a_spot_is_refused(tmp_path):
    times = np.arange(0.0, 1.0, 0.1)
    rng = np.random.default_rng(3)
    away = made_frames(SHEET, lambda t: (5.0, 5.0), times, rng, size=(480, 480))
    clip = write_clip(tmp_path / "clip.mp4", times, away)
    with pytest.raises(MeasurementError, match="spot is not seen"):
        read_clip(clip, SHEET)


@pytest.mark.slow
@pytest.mark.parametrize(
    "hard",
    [
        {"tilt": 0.15},
        {"shake": 2.0},
        {"blur": 1.5},
        {"exposure": lambda t: 0.35 if 3.0 < t < 4.0 else 0.95 if t > 6.0 else 0.7},
        {"colour": "white", "spot_width": 0.008},
        {"tilt": 0.1, "shake": 1.0, "blur": 1.0, "noise": 4.0},
    ],
    ids=["tilted camera", "shaking", "blurred", "exposure jumps", "white spot", "all at once"],
)
def test_hard_clips(tmp_path, hard):
    times = np.arange(0.0, 9.0, 0.1)
    _, record = followed(tmp_path, times, **hard)
    assert record.used.mean() > 0.8
    assert errors(record, times) < WITHIN


@pytest.mark.slow
def test_arc_flicker_dropped_frames_and_frames_without_a_spot(tmp_path):
    rng = np.random.default_rng(5)
    times = np.sort(rng.choice(np.arange(0.0, 14.0, 0.04), 220, replace=False))  # uneven, dropped
    times[0] = 0.0

    def burning(t):
        return 3.0 <= t <= 9.0

    def moving(t):
        if 6.0 < t < 6.5:
            return 3.0, 3.0  # a hand in the beam: no spot
        return swing(max(0.0, t - 3.0))

    _, record = followed(tmp_path, times, moving=moving, arc=burning, read={"rate": 30.0})
    assert record.times == pytest.approx(times, abs=2e-3)  # the film keeps milliseconds
    gap = np.array([6.0 < t < 6.5 for t in record.times])
    assert not record.used[gap].any() and record.used[~gap].mean() > 0.8
    assert errors(record, times, moving, zero=3.0) < WITHIN
    # the arc is known to a frame: the widest gap between frames here
    assert record.arc.on == pytest.approx([3.0], abs=0.4)
    assert record.arc.off == pytest.approx([9.0], abs=0.4)
    up, right, error = record.reading()
    end = np.array(moving(13.0)) - np.array(moving(0.0))
    assert np.hypot(right - end[0], up - end[1]) < WITHIN
    step = np.abs(np.subtract(moving(13.5), moving(12.5))).max()  # middles of its halves
    assert record.still_moving == pytest.approx(step, abs=WITHIN) and error == record.still_moving


def test_a_spot_that_still_moves_is_not_read_as_if_it_were_at_rest():
    """20 mm in one second, then 0.8 s of rest: means of halves of the last 2 s, by hand. The same
    film with the rest alone reads to a tenth of its scatter or better."""
    times = np.arange(30) / 10.0
    up = 0.02 * np.clip(times - 1.2, 0.0, 1.0)
    flags, arc = ("",) * 30, ArcTimes(np.array([]), np.array([]))
    film = SpotRecord(times, up, np.zeros(30), flags, 1e-5, arc, "red")
    last = up[9:]  # from 0.9 s on, 21 readings
    step = last[10:].mean() - last[:10].mean()
    assert film.still_moving == pytest.approx(step) and film.reading()[2] == pytest.approx(step)
    still = replace(film, up=np.full(30, 0.02))
    assert still.still_moving == 0.0 and 0.0 < still.reading()[2] < 1e-5
