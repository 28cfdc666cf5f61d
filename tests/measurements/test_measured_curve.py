"""Measured curves are read as they were written, and what cannot be used is refused in one line."""

import os

import numpy as np
import pytest

from weldsim.errors import MeasurementError
from weldsim.measurements.bench_columns import ReadingRules
from weldsim.measurements.measured_curve import as_table, read_measurement, scatter
from weldsim.schema.column import Column

COLUMNS = (
    Column("pointer", "up", "mrad"),
    Column("pointer", "up", "mm"),
    Column("tip", "sideways", "mm"),
    Column("A", "temperature", "degC"),
)


def read(folder, text, rules=None, **options):
    path = folder / "bench.csv"
    path.write_text(text, encoding="utf-8")
    return read_measurement(path, COLUMNS, rules=rules, **options)


def refusal(folder, text, rules=None, **options):
    with pytest.raises(MeasurementError) as error:
        read(folder, text, rules, **options)
    message = str(error.value)
    assert "\n" not in message and ("allowed" in message or "twice" in message), message
    return message


def test_headers_of_gauges_csv_and_other_units(tmp_path):
    m = read(
        tmp_path,
        "# a bench\ntime_min,pointer_up_in,tip sideways [cm],A_temperature_degF\n"
        "0,0,0,32\n0.5,1,,212\n1,2,0.3,\n",
    )
    up, tip, hot = m.curves
    assert [c.column.name for c in m.curves] == [
        "pointer_up_mm",
        "tip_sideways_mm",
        "A_temperature_degC",
    ]
    np.testing.assert_allclose(up.times, [0, 30, 60])
    np.testing.assert_allclose(up.values, [0, 0.0254, 0.0508])  # an inch is 25.4 mm
    np.testing.assert_allclose(tip.times, [0, 60])  # the gap is left out
    np.testing.assert_allclose(tip.values, [0, 0.003])
    np.testing.assert_allclose(hot.values, [273.15, 373.15])  # water freezes and boils
    assert up.noise_from == "unknown"


def test_a_runs_own_table_is_read_without_what_it_says_of_its_welds(tmp_path):
    """Beside the gauges a run writes the temperature under the torch, which no gauge reads."""
    m = read(tmp_path, "time_s,pointer_up_mm,A_middle_degC\n0,0,20\n1,1,900\n2,2,700\n")
    assert [c.column.name for c in m.curves] == ["pointer_up_mm"]
    assert m.left_out == ("column A_middle_degC",)


def test_decimal_commas_mapped_names_clock_and_flags(tmp_path):
    rules = ReadingRules(
        names={"dial 1": "pointer_up"}, units={"dial 1": "deg"}, noise={"dial 1": 0.1}
    )
    m = read(
        tmp_path,
        "clock;dial 1;flag\n23:59:50;0,5;\n00:00:10;1,5;\n00:00:20;99;flare\n",
        rules,
    )
    (curve,) = m.curves
    assert curve.column.name == "pointer_up_mrad" and curve.noise_from == "given"
    np.testing.assert_allclose(curve.times, [0, 20])  # over midnight
    np.testing.assert_allclose(curve.values, np.deg2rad([0.5, 1.5]))
    np.testing.assert_allclose(curve.noise, np.deg2rad(0.1))
    assert m.left_out == ("1 rows that are flagged",)


def test_cold_readings_alone(tmp_path):
    m = read(tmp_path, "pointer_up_mm,tip_sideways_mm\n3.5,-0.25\n")
    assert all(c.cold for c in m.curves)
    assert as_table(m.curves)["pointer_up_mm"] == pytest.approx([3.5])


def test_noise_of_each_reading(tmp_path):
    m = read(tmp_path, "time_s,tip_sideways_mm,tip_sideways_noise_mm\n0,1,0.1\n1,2,0.2\n")
    assert len(m.curves) == 1
    np.testing.assert_allclose(m.curves[0].noise, [1e-4, 2e-4])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("time_s,dial_mm\n0,1\n1,2\n", "dial_mm"),
        ("time_s,tip_sideways_kg\n0,1\n1,2\n", "'kg'"),
        ("time_s,pointer_up\n0,1\n1,2\n", "no unit"),
        ("time_s,tip_sideways_mm\n0,1\n2,2\n1,3\n", "line 4"),
        ("time_s,tip_sideways_mm\n0,\n2,\n", "no reading"),
        ("time,tip_sideways_mm\n0,1\n2,2\n", "time_s"),
        ("time_kg,tip_sideways_mm\n0,1\n2,2\n", "'kg'"),
        ("time_s,tip_sideways_mm\n0,1\nx,2\n", "line 3"),
        ("time_s,tip_sideways_mm\n0,1e999\n1,2\n", "1e999"),
        ("time_s,tip_sideways_mm\n0,1,7\n1,2\n", "3 cells"),
        ("tip_sideways_mm\n0\n1\n", "no time column"),
        ("", "nothing"),
        ("time_s,tip_sideways_mm,tip_sideways_mm\n0,1,1\n", "twice"),
        ("time_s,tip_sideways_mm\n", "no row"),
        ("time_s\n0\n1\n", "no gauge"),
        ("time_s,tip\x07\n0,1\n", "control"),
        ("a" * 3000 + "\n1\n", "header"),
        (",".join(f"x{i}_mm" for i in range(3000)) + "\n", "3000 columns"),
        ("1;2\n" + "[" * 5000 + "\n", "1 cells"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line(tmp_path, text, says):
    assert says in refusal(tmp_path, text)


def test_a_curve_that_ends_before_the_arc_is_refused(tmp_path):
    text = "time_s,tip_sideways_mm\n0,1\n9,2\n"
    assert "before the arc" in refusal(tmp_path, text, arc_starts=10.0)
    read(tmp_path, text, arc_starts=5.0)


def test_two_columns_of_one_gauge_are_refused(tmp_path):
    with pytest.raises(MeasurementError, match="two columns give tip_sideways_mm"):
        read(tmp_path, "time_s,tip_sideways_mm,tip_sideways_in\n0,1,1\n")


@pytest.mark.skipif(os.name == "nt", reason="no such device there")
def test_devices_folders_and_pictures_are_refused(tmp_path):
    for path in ("/dev/zero", str(tmp_path), str(tmp_path / "none.csv")):
        with pytest.raises(MeasurementError):
            read_measurement(path, COLUMNS)
    picture = tmp_path / "a.png"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)))
    with pytest.raises(MeasurementError, match="text"):
        read_measurement(picture, COLUMNS)


def test_scatter_is_the_noise_that_was_put_on():
    # normal noise of 0.2 on a curve much smoother than the sampling, uneven times, one in fifty
    # readings far off; the spread of the estimate itself is about 1.7 x 0.2 / sqrt(2 N) (median)
    rng = np.random.default_rng(7)
    times = np.sort(rng.uniform(0.0, 100.0, 2000))
    values = np.sin(times / 20.0) + rng.normal(0.0, 0.2, 2000)
    values[::50] += 5.0
    assert scatter(times, values) == pytest.approx(0.2, rel=0.12)
    # a dial read to 0.1: rounding alone has a standard deviation of 0.1 / sqrt(12)
    assert scatter(times, np.round(times / 50.0, 1)) == pytest.approx(0.1 / np.sqrt(12), rel=1e-6)
    assert np.isnan(scatter(times[:3], values[:3]))
