"""Numbers read off histories whose answers are known in closed form."""

from types import SimpleNamespace

import numpy as np
import pytest

from weldsim.runs.summary import NO_TOLERANCE, cooling_time, read_off, settling_time, summarise

WELDS = [
    SimpleNamespace(name="A", arc=SimpleNamespace(arc_energy=1.4e6, heat_input=0.84e6)),
    SimpleNamespace(name="B", arc=SimpleNamespace(arc_energy=0.7e6, heat_input=0.42e6)),
]


def case(welds=WELDS):
    return SimpleNamespace(welds=welds)


def test_exponential_settles_at_ln_50_time_constants():
    """1 - exp(-t/tau) comes within 2 % of its travel at t = tau ln 50 (algebra)."""
    tau = 12.0
    times = np.linspace(0, 40 * tau, 40001)
    assert settling_time(times, 1 - np.exp(-times / tau)) == pytest.approx(
        tau * np.log(50), abs=1e-3
    )


def test_settling_does_not_depend_on_unit_sign_or_zero():
    times = np.linspace(0, 100, 1001)
    values = np.exp(-times / 9) * np.cos(times / 3)
    expected = settling_time(times, values)
    for factor, shift in ((1e3, 0), (-0.2, 0), (1, 77.0)):
        assert settling_time(times, factor * values + shift) == pytest.approx(expected, abs=1e-9)


def test_settling_is_exact_between_readings():
    # straight from 1 to 0 in 10 s, then level: 0.02 is crossed at 9.8 s
    assert settling_time(np.array([0.0, 10.0, 50.0]), np.array([1.0, 0.0, 0.0])) == pytest.approx(
        9.8, abs=1e-12
    )


def test_a_late_swing_counts_as_not_settled():
    times = np.arange(0.0, 101.0)
    values = np.where(times == 80, 1.0, 0.0)
    assert settling_time(times, values) == pytest.approx(80.98, abs=1e-12)


def test_a_gauge_that_never_moves_is_settled_from_the_start():
    read = read_off(np.arange(5.0), np.zeros(5), last_stop=2.0)
    assert read == {
        "final": 0.0, "extreme": 0.0, "extreme_time_s": 0.0, "travel": 0.0, "settled_s": 0.0,
        "settled_after_arc_s": 0.0,
    }  # fmt: skip


def test_extreme_is_the_largest_departure_from_the_first_reading():
    """t exp(-t/tau) peaks at tau with tau/e (algebra); a start away from zero changes nothing."""
    tau = 5.0
    times = np.linspace(0, 100, 10001)
    read = read_off(times, 40.0 - times * np.exp(-times / tau), last_stop=3.0)
    assert read["extreme"] == pytest.approx(40 - tau / np.e, abs=1e-6)
    assert read["extreme_time_s"] == pytest.approx(tau, abs=0.011)
    assert read["travel"] == pytest.approx(tau / np.e, abs=1e-6)
    assert read["final"] == pytest.approx(40.0, abs=1e-6)
    assert read["settled_after_arc_s"] == pytest.approx(read["settled_s"] - 3.0, abs=1e-12)


def test_cooling_time_of_an_exponential():
    """From 800 to 500 degC towards 20 degC takes tau ln(780/480) (Newton's law of cooling)."""
    tau = 15.0
    times = np.linspace(0, 100, 20001)
    temperature = np.where(times < 5, 20.0, 20 + 1400 * np.exp(-(times - 5) / tau))
    assert cooling_time(times, temperature, 0.0, np.inf) == pytest.approx(
        tau * np.log(780 / 480), abs=1e-3
    )


def test_cooling_time_only_where_it_is_defined():
    times = np.array([0.0, 1, 2, 3, 4, 5])
    assert cooling_time(times, [20, 790, 700, 400, 300, 200], 0, np.inf) is None  # never over 800
    assert cooling_time(times, [20, 900, 850, 700, 600, 550], 0, np.inf) is None  # not yet at 500
    assert cooling_time(times, [20, 900, 700, 820, 600, 400], 0, np.inf) is None  # heated again
    assert cooling_time(times, [20, 700, 600, 900, 700, 400], 0, 2.5) is None  # the next arc's peak
    assert cooling_time(times, [20, 900, 700, 500, 400, 300], 0, 2.5) == pytest.approx(1.5)


def test_summary_of_two_welds():
    times = np.linspace(0, 300, 3001)
    cycle = np.where(times < 10, 20.0, 20 + 1400 * np.exp(-(times - 10) / 15.0))
    gauges = {
        "time_s": times,
        "pointer_up_mm": 1 - np.exp(-times / 20),
        "A_middle_degC": cycle,
        "B_middle_degC": np.full(times.size, 60.0),
    }
    timetable = [
        {"name": "A", "start": 0.0, "end": 20.0},
        {"name": "B", "start": 80.0, "end": None},
    ]
    out = summarise(gauges, timetable, case(), {"A": 293.15, "B": 423.15})
    assert list(out["gauges"]) == ["pointer_up_mm"]
    assert out["last_arc_stop_s"] == 20.0
    first, second = out["welds"]
    assert (first["start_s"], first["end_s"], second["end_s"]) == (0.0, 20.0, None)
    assert first["arc_energy_kJ_mm"] == pytest.approx(1.4)
    assert first["heat_input_kJ_mm"] == pytest.approx(0.84)
    assert first["t8_5_s"] == pytest.approx(15 * np.log(780 / 480), abs=0.01)
    assert second["t8_5_s"] is None
    assert second["highest_interpass_degC"] == pytest.approx(150.0)
    assert out["tolerances"] == {"verdicts": [], "reason": NO_TOLERANCE}
    # aluminium is liquid at 800 degC (EN 1999-1-2 alloys melt below 660 degC)
    melts = summarise(gauges, timetable, case(), solidus=855.0)
    assert melts["welds"][0]["t8_5_s"] is None


def test_summary_before_the_second_arc():
    gauges = {"time_s": np.array([0.0, 1.0]), "bow_bow_mm": np.array([0.0, 0.1])}
    out = summarise(gauges, [], case(), {"A": float("nan")})
    assert out["last_arc_stop_s"] is None
    assert out["gauges"]["bow_bow_mm"]["settled_after_arc_s"] is None
    assert out["welds"][0]["start_s"] is None
    assert out["welds"][0]["highest_interpass_degC"] is None
