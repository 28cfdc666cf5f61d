"""Where the tilts change places, said as heat into the bar that was run."""

from weldsim.studies.heat_sweep import Crossover, Point
from weldsim.text.heat_sweep_words import crossover_words


def test_the_heat_is_that_of_the_bar_that_was_run():
    """By hand: 18.75e9 J/m3 times (8 mm)^2 is 1.2 kJ/mm, 30.5 kJ/in; 8 mm are 0.315 in."""
    point = Point(1000.0, 0.96e6, 0.96e6 / 8e-3**2, 1e-3, 2e-3)
    said = crossover_words(Crossover("Bar", "quick", "pointer", (point,), 18.75e9))
    assert said.startswith("Up to 1.20 kJ/mm taken up by this bar, 8 mm thick,")
    assert "30.5 kJ/in taken up by this bar, 0.315 in thick" in said.text("us")
