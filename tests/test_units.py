"""Quantities as people write them, against the definitions of the units."""

import pytest

from weldsim.units import KINDS, parse


# Inch 25.4 mm and pound 0.45359237 kg exactly (international yard and pound agreement, 1959);
# standard gravity 9.80665 m/s2 (3rd CGPM); degC and degF by definition.
@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("6 mm", "length", 6e-3),
        ("0.3125 in", "length", 7.9375e-3),
        (".25 in", "length", 6.35e-3),
        ("1 ft", "length", 0.3048),
        ('3/16"', "length", 3 / 16 * 25.4e-3),
        ('0.12"', "length", 0.12 * 25.4e-3),
        ("1/8", "length", 25.4e-3 / 8),  # a bare fraction is one of an inch, as on a tape
        ("1 1/2 in", "length", 38.1e-3),
        ("1-1/2\u2033", "length", 38.1e-3),
        ("-3/8 in", "length", -9.525e-3),
        ("2'", "length", 0.6096),
        ("1/2 in/s", "speed", 12.7e-3),
        ("20cm", "length", 0.2),
        ("-2.5 mm", "length", -2.5e-3),
        ("2 min", "time", 120.0),
        ("90 s", "time", 90.0),
        ("1.3 mm/s", "speed", 1.3e-3),
        ("4 in/min", "speed", 4 * 25.4e-3 / 60),
        ("30 cm/min", "speed", 5e-3),
        ("125 A", "current", 125.0),
        ("0.15 kA", "current", 150.0),
        ("12 V", "voltage", 12.0),
        ("20 degC", "temperature", 293.15),
        ("20 °C", "temperature", 293.15),
        ("32 degF", "temperature", 273.15),
        ("300 degF", "temperature", (300 + 459.67) / 1.8),
        ("423.15 K", "temperature", 423.15),
        ("-40 degC", "temperature", 233.15),
        ("500 W/m2/K", "conductance", 500.0),
        ("500 W/m^2/K", "conductance", 500.0),
        ("500 W/(m2 K)", "conductance", 500.0),
        ("0.05 W/cm2/K", "conductance", 500.0),
        ("355 MPa", "stress", 355e6),
        ("355 N/mm2", "stress", 355e6),
        ("36 ksi", "stress", 36e3 * 0.45359237 * 9.80665 / 0.0254**2),
        ("60 deg", "angle", 3.141592653589793 / 3),
        ("2 mrad", "angle", 2e-3),
        ("2 Hz", "frequency", 2.0),
        ("2 kHz", "frequency", 2000.0),
        ("120 rpm", "frequency", 2.0),  # a weave of 120 swings a minute, ISO 80000-3: n = 1/T
        ("2 turn/s", "frequency", 2.0),
        ("720 deg/s", "frequency", 2.0),
        ("2 m^1", "length", 2.0),
        ("500 W m**-2 K^-1", "conductance", 500.0),
        ("50 W/(m (K))", "conductivity", 50.0),
        ("5 kN/mm", "stiffness", 5e6),
        ("10 kN m/rad", "turning stiffness", 1e4),
    ],
)
def test_reads_what_people_write(text, kind, value):
    assert parse(text, kind) == pytest.approx(value, rel=1e-12)


# Manufacturers' Standard Gauge for sheet steel, as steel tables print it, to a ten-thousandth inch
@pytest.mark.parametrize(
    ("gauge", "inches"), [(7, 0.1793), (10, 0.1345), (11, 0.1196), (14, 0.0747), (16, 0.0598)]
)
def test_a_sheet_gauge_is_a_thickness(gauge, inches):
    assert parse(f"{gauge} ga", "length") == pytest.approx(inches * 25.4e-3, abs=0.5e-4 * 25.4e-3)
    assert parse(f"{gauge} gauge", "length") == parse(f"{gauge}ga", "length")


@pytest.mark.parametrize("text", ["11", "2 ga", "1/0 in", "1/8/2 in", '1/8"/s', "1/8.5 in"])
def test_what_only_looks_like_a_fraction_or_a_gauge_is_refused(text):
    with pytest.raises(ValueError, match="allowed: a length"):
        parse(text, "length")


@pytest.mark.parametrize("kind", KINDS)
def test_the_examples_shown_in_a_refusal_are_themselves_allowed(kind):
    for example in KINDS[kind][1].split(", "):
        assert parse(example.strip('"'), kind) > 0


@pytest.mark.parametrize("value", [6, 6.0, True, None, ["6 mm"]])
def test_a_bare_number_is_refused(value):
    with pytest.raises(ValueError, match="has no unit; allowed: a length with its unit"):
        parse(value, "length")


@pytest.mark.parametrize(
    "text", ["6", "mm", "", "six mm", "6,5 mm", "nan mm", "inf mm", "6 + 1 mm"]
)
def test_text_without_a_number_and_a_unit_is_refused(text):
    with pytest.raises(ValueError, match=r'not a number with a unit.*; allowed: .*"8 mm"'):
        parse(text, "length")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("6 kg", "length"),
        ("6 mn", "length"),
        ("6 mm2", "length"),
        ("150 V", "current"),
        ("1.3 mm", "speed"),
        ("20 C", "temperature"),  # C is the coulomb
        ("10 W/m2", "conductance"),
        ("5 mm", "angle"),
    ],
)
def test_a_unit_of_another_kind_is_refused(text, kind):
    one = f"an {kind}" if kind == "angle" else f"a {kind}"
    with pytest.raises(ValueError, match=f"is not {one}; allowed: {one} with its unit"):
        parse(text, kind)


def test_a_number_beyond_all_measure_is_refused():
    with pytest.raises(ValueError):
        parse("1e400 mm", "length")


HOSTILE = (
    "1 m^9^9^9^9", "1 m**9**9**9**9", "1 m^999999999", "1 m^-99", "1 m^9", "1 (m", "1 m(", "1 m)",
    "1 ((((((((m))))))))", "1 m*",
    "1 m/", "1 m//s", "1 m***2", "1 mm/0",
    "1 m/0", "1 m^", "1 m^x",
    "1 m^0.5",    "1 m()", "1 m(2)", "1 m.real", "1 __m__", "1 lambda", "1 m;m", "1 m if m else m",
    "1 m^2^3",
    "1 m" + "*m/m" * 25_000, "1 m" + "(" * 50_000, "1" * 50_000 + " m", "1 " + "m" * 50_000,
    "1 " + "m " * 40, "1 m" + "*m/m" * 12, "1 m\n[m", "1 m\x00",
)  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_what_is_no_unit_is_refused_in_one_short_line_before_anything_is_computed(text):
    """A power of powers has more digits than there is memory: reading one would never end."""
    with pytest.raises(ValueError, match="allowed: a length with its unit") as refusal:
        parse(text, "length")
    said = str(refusal.value)
    assert "\n" not in said and len(said) < 300


@pytest.mark.parametrize("kind", KINDS)
def test_random_signs_never_get_past_the_reader(kind):
    import random

    pick = random.Random(11)
    for _ in range(300):
        unit = "".join(pick.choice("mmsKWkg023^^*/(). -°\t") for _ in range(pick.randint(1, 12)))
        try:
            assert isinstance(parse(f"1 {unit}", kind), float)
        except ValueError as refusal:
            assert "allowed" in str(refusal)
