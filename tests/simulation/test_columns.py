"""What a case will read is known without a mesh."""

import pytest

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.simulation.columns import READS, columns_of_case
from weldsim.simulation.steps import build_model, simulate

GAUGES = [
    {"name": "p", "kind": "pointer", "at": "free end", "aim": "+x", "up": "+z", "throw": "5 m"},
    {"name": "d", "kind": "dial", "at": "free end", "direction": "+y"},
    {"name": "b", "kind": "bow", "direction": "+y"},
    {"name": "t", "kind": "thermocouple", "at": "free end"},
]


def test_columns_are_those_of_a_run():
    case = load_case(CASES / "pivot_arm_one_bead.toml", {"gauge": GAUGES, "solve.grade": "sketch"})
    first = next(iter(simulate(build_model(case, "sketch", 1))))
    assert tuple(first.gauges) == columns_of_case(case)
    assert set(READS) - {g["kind"] for g in GAUGES} == {"gap", "reaction"}  # of joints


@pytest.mark.slow
def test_columns_of_a_joint_are_those_of_a_run():
    case = load_case(CASES / "mast_stub.toml", {"solve.grade": "sketch"})
    clamp = case.clamps[0].name if case.clamps else "ends"
    gauges = [
        {"name": "r", "kind": "reaction", "at": clamp},
        {"name": "t", "kind": "thermocouple", "at": "branch end"},
    ]
    case = case.with_changes({"gauge": gauges})
    first = next(iter(simulate(build_model(case, "sketch", 1))))
    assert tuple(first.gauges) == columns_of_case(case)
