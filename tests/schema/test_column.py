"""Columns and readings: names, units, lookups. Factors are those of the SI prefixes."""

import pytest

from weldsim.schema.column import Column, Readings

UP = Column("pointer", "up", "mrad")


@pytest.mark.parametrize(
    ("column", "si", "shown"),
    [
        (UP, 2e-3, 2.0),
        (Column("pointer", "up", "mm"), 0.0104, 10.4),
        (Column("A", "middle", "degC"), 293.15, 20.0),  # SI brochure: t/degC = T/K - 273.15
        (Column("clamp", "Fx", "N"), 3.0, 3.0),
        (Column("clamp", "Mx", "Nm"), 3.0, 3.0),
    ],
)
def test_display_units(column, si, shown):
    assert column.to_display(si) == pytest.approx(shown, rel=1e-14)
    assert column.to_si(shown) == pytest.approx(si, rel=1e-14)


def test_a_name_is_gauge_component_and_unit():
    assert str(UP) == UP.name == "pointer_up_mrad"


def test_a_unit_that_is_not_shown_is_refused():
    with pytest.raises(ValueError, match="'rad' is no unit of a column, allowed: mrad"):
        Column("pointer", "up", "rad")


def test_readings_are_found_by_column_and_by_part_and_cannot_be_changed():
    spot = Column("pointer", "up", "mm")
    given = {UP: 2e-3, spot: 0.01, Column("A", "middle", "degC"): 300.0}
    readings = Readings(given)
    given[UP] = 0.0
    assert readings[UP] == readings["pointer", "up"] == 2e-3 and readings[spot] == 0.01
    assert readings.display() == pytest.approx(
        {"pointer_up_mrad": 2.0, "pointer_up_mm": 10.0, "A_middle_degC": 26.85}
    )
    assert list(readings) == list(given)
    with pytest.raises(TypeError):
        readings[UP] = 0.0
