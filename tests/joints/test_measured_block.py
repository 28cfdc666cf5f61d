"""The measured block of forty beads: is the case the experiment, as its own log has it?"""

import csv

import numpy as np
import pytest

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.case.schedule import timetable

N1 = CASES / "measured" / "n1"


def column(file, *names):
    with (N1 / file).open(encoding="utf-8") as found:
        rows = list(csv.DictReader(found))
    return [np.array([float(r[n]) for r in rows]) for n in names]


def test_arcs_burn_when_the_log_says():
    """Every tenth second of the log: arc on or off, but where it changes within the ten seconds."""
    case = load_case(N1 / "deposit.toml", {"part.at_once": 0})
    rows = timetable(case.welds)
    layers = [(rows[k].start, rows[k + 9].end) for k in range(0, 40, 10)]
    time, on = column("temperatures.csv", "time_s", "arc_on")
    ours = np.array([any(a <= t <= b for a, b in layers) for t in time])
    edge = np.min([np.abs(time - t) for pair in layers for t in pair], axis=0) <= 10.0
    assert (on[~edge] == ours[~edge]).all()
    assert edge.sum() <= 3 * 8  # of 357 readings


def test_the_arc_brings_what_was_logged():
    """Mean of volts times amperes while on: 2,599 W, the source's own figure; ours to 0.1 %."""
    arc = load_case(N1 / "deposit.toml").welds[0].arc
    assert arc.voltage * arc.current == pytest.approx(2599.0, rel=1e-3)
    volts, amps, on = column("temperatures.csv", "voltage_V", "current_A", "arc_on")
    # of the log's tenth seconds the mean scatters by 227 W / sqrt(300)
    assert np.mean((volts * amps)[on > 0]) == pytest.approx(2599.0, abs=3 * 227 / 300**0.5)


def test_couples_and_beads_lie_on_the_bar():
    case = load_case(N1 / "deposit.toml")
    assert len(case.welds) == 40 and sum(g.kind == "thermocouple" for g in case.gauges) == 10
    x, _ = column("bow.csv", "x_mm", "height_mm")
    dials = [g.at[0] for g in case.gauges if g.kind == "dial"]
    assert dials == pytest.approx(1e-3 * x)
