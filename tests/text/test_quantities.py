"""Quantities in two systems of units: factors by definition, numbers rounded once."""

import pytest

from weldsim.text.quantities import (
    US_UNITS,
    as_written,
    difference,
    given,
    in_degc,
    in_m,
    in_mm,
    joined,
    quantity,
    span,
    us_scale,
    words,
)

INCH, POUND = 0.0254, 0.45359237  # m, kg; international yard and pound agreement, 1959
LBF = POUND * 9.80665  # N; standard gravity, 3rd CGPM 1901
BTU = 1055.05585262  # J; international table, ISO 31-4
FACTORS = {
    "mm": 1e-3 / INCH,
    "m": 1 / (12 * INCH),
    "mm/m": 12e-3,  # in/ft
    "mm/s": 1e-3 / INCH * 60,
    "kJ/mm": 1e3 * INCH,
    "°C": 1.8,
    "K": 1.8,  # of a difference
    "MPa": 1e6 / (1e3 * LBF / INCH**2),
    "GPa": 1e9 / (1e6 * LBF / INCH**2),
    "N": 1 / LBF,
    "N m": 1 / (LBF * 12 * INCH),
    "kN/mm": 1e6 / (1e3 * LBF / INCH),
    "kN m/rad": 1e3 / (1e3 * LBF * 12 * INCH),
    "kJ": 1e3 / BTU,
    "W/m²/K": 1 / (BTU / 3600 / (12 * INCH) ** 2 / (5 / 9)),
}


def test_every_us_unit_is_what_its_definition_says():
    assert set(FACTORS) == set(US_UNITS)
    for unit, factor in FACTORS.items():
        found, offset = us_scale(unit)
        assert found == pytest.approx(factor, rel=1e-9), unit
        assert offset == pytest.approx(32.0 if unit == "°C" else 0.0, abs=1e-9), unit
    assert us_scale("mrad") == us_scale("s") == (1.0, 0.0)


def test_a_us_number_comes_from_the_full_value():
    """33.52 mm is 1.3197 in; the 34 mm that the metric text shows would be 1.34 in."""
    text = words("ends {} up", quantity(33.52, "mm", ".0f"))
    assert text == "ends 34 mm up" and text.text("us") == "ends 1.32 in up"
    stress = words("{}", quantity(270.4, "MPa", ".0f"))
    assert stress == "270 MPa" and stress.text("us") == "39.2 ksi"  # 270.4 * 0.14504 = 39.22
    assert words("{}", quantity(-33.52, "mm", "+.0f")).text("us") == "-1.32 in"
    assert words("{}", quantity(33.52, "mm", "+.0f")).text("us") == "+1.32 in"


def test_one_way_of_writing_a_temperature_and_figures_enough_for_what_was_put_in():
    """4 m is 13.12 ft, 2 mm 0.0787 in, 1/16 in 0.0625 in; 2 K are 3.6 degF; 220 mm are 8.661 in,
    1.1 mm/s 2.598 in/min; 1450 degC are 2642 degF; sheet of 11 ga is 0.1196 in."""
    assert as_written("at 300 degC") == "at 300 °C" and str(in_degc(423.15)) == "150 °C"
    assert in_m(4.0).text("us") == "13.1 ft" and in_mm(2e-3).text("us") == "0.0787 in"
    assert in_mm(INCH / 16).text("us") == "0.0625 in"
    assert in_mm(1e-5).text("us") == "0.000394 in"
    assert in_mm(0.22).text("us") == "8.66 in" and in_mm(0.1196 * INCH).text("us") == "0.1196 in"
    assert given(1.1, "mm/s", ".3g").text("us") == "2.60 in/min"
    assert in_degc(1723.15).text("us") == "2642 °F" and in_degc(293.15).text("us") == "68 °F"
    assert words("{} above ambient", difference(2.0)).text("us") == "3.6 °F above ambient"


def test_words_are_text_and_can_be_put_together():
    line = joined(
        ", ", [words("up {}", quantity(25.4, "mm", ".1f")), "then <b>", span(8, 12, "mm", ".4g")]
    )
    assert line == "up 25.4 mm, then <b>, 8 to 12 mm" and isinstance(line, str)
    assert line.text("us") == "up 1.000 in, then <b>, 0.31 to 0.47 in"
    assert words("{}: {}", line, 3).text("us").endswith("0.47 in: 3")
    with pytest.raises(ValueError, match="1 places for 2 items"):
        words("{}", 1, 2)


@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("ends 25.4 mm up at 150 °C", "ends 1.000 in up at 302 °F"),
        ("±10 °C, 8 to 12 mm, 3.2 mrad, 60 s", "±18 °F, 0.31 to 0.47 in, 3.2 mrad, 60 s"),
        ("−25.4 mm and +2.54 mm", "−1.000 in and +0.1000 in"),
        ("1.2 ±0.3 mm", "0.047 ±0.012 in"),
        ("1.2 +-0.3 mm", "0.047 +-0.012 in"),
        ("100 ±10 °C to start", "212 ±18 °F to start"),
        ("3.2e-05 mm", "1.26e-06 in"),
        ("1.5e+02 mm", "5.9 in"),
        ("weld A4 m, 5 mm/m and 3 m/s", "weld A4 m, 0.06 in/ft and 3 m/s"),
        ("4.7625 mm", "0.18750 in"),  # 3/16 in
        ("a bar 1219 mm long", "a bar 48.0 in long"),
    ],
)
def test_quantities_in_text_from_elsewhere(text, us):
    """Numbers by hand: 25.4 mm an inch, 32 degF at 0 degC, a difference without the 32."""
    found = as_written(text)
    assert found == text and found.text("us") == us


@pytest.mark.slow
def test_units_are_read_by_several_threads_at_once():
    """Two pages opened together: pint fills its registry at the first use."""
    import subprocess
    import sys

    told = (
        "import threading; from weldsim.text.quantities import us_scale\n"
        "gate, wrong = threading.Barrier(4), []\n"
        "def ask():\n"
        "    gate.wait()\n"
        "    try: assert us_scale.__wrapped__('degC') == (1.8, 32.0)\n"
        "    except Exception as error: wrong.append(error)\n"
        "threads = [threading.Thread(target=ask) for _ in range(4)]\n"
        "[t.start() for t in threads]; [t.join() for t in threads]\n"
        "assert not wrong, wrong\n"
    )
    subprocess.run([sys.executable, "-c", told], check=True, timeout=120)
