"""What a fit learnt in words: names for keys, values in the units of the bench."""

import pytest

from weldsim.studies.fit.unknowns import Unknown
from weldsim.studies.spreads import value_name
from weldsim.text.fit_words import prior_words, value_words


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("arc.efficiency", "arc efficiency"),
        ("clamping.conductance", "heat contact of the clamp"),
        ("metal.yield_factor", "yield stress, times the table's"),
        ("weld.A.speed", "travel speed of weld A"),
        ("clamp.left.stiffness", "stiffness of clamp left"),
        ("all_currents", "all currents"),
    ],
)
def test_a_key_has_a_name(key, name):
    assert value_name(key) == name


def unknown(unit, low, high, usual, spread=None):
    return Unknown("k", ("k",), low, high, usual, spread, unit, "our choice")


def test_values_are_in_the_units_of_the_bench():
    """1473.15 K are 1200 degC or 2192 degF, 50 K are 90 degF; 0.3 mm are 0.0118 in."""
    soft = unknown("K", 1173.15, 1723.15, 1473.15, 50.0)
    assert value_words(soft, 1473.15) == "1200 °C"
    assert value_words(soft, 1473.15).text("us") == "2192 °F"
    assert prior_words(soft) == "1200 °C, standard deviation 50 K, within 900 °C to 1450 °C"
    assert "standard deviation 90 °F" in prior_words(soft).text("us")
    gap = value_words(unknown("m", 0.0, 1e-3, 3e-4), 3e-4)
    assert gap == "0.3 mm" and gap.text("us") == "0.012 in"
    assert value_words(unknown("W/m^2/K", 50.0, 5e3, 500.0), 1234.0) == "1234 W/m²/K"
    assert value_words(unknown("", 0.5, 0.95, 0.77), 0.77) == "0.77"
