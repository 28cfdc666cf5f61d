"""Changes to a case from the command line: who is meant, and that a change is a change."""

import itertools

import pytest

from tests.places import ROOT
from weldsim.case.keys import SECTIONS
from weldsim.case.load import parse_case
from weldsim.case.overrides import apply_overrides

DEMO = (ROOT / "cases/pivot_arm.toml").read_text(encoding="utf-8")


def read(*changes, text=DEMO):
    return parse_case(text, "arm.toml", changes)


def test_a_weld_may_go_by_its_number_from_one():
    one, two = read("weld.2.current=120 A"), read("weld.B.current=120 A")
    assert one.resolved == two.resolved != read().resolved
    assert apply_overrides({"weld": [{"name": "A"}]}, ["weld.2.current=1 A"]) == [
        "--set weld.2.current=1 A: no weld is named 2, known: A"
    ]
    assert "weld.0" in apply_overrides({"weld": [{"name": "A"}]}, ["weld.0.at=1 m"])[0]


def test_a_name_counts_before_a_number():
    raw = {"weld": [{"name": "2"}, {"name": "1"}]}
    assert apply_overrides(raw, ["weld.1.current=120 A"]) == []
    assert raw["weld"] == [{"name": "2"}, {"name": "1", "current": "120 A"}]


def test_a_change_is_as_if_written_in_the_file():
    written = DEMO.replace('thickness = "6 mm"', 'thickness = "8 mm"')
    assert read(text=written).resolved == read("part.thickness=8 mm").resolved


def test_the_last_change_of_a_key_counts():
    assert read("part.thickness=1 mm", "part.thickness=8 mm").part.thickness == 0.008


def test_order_of_changes_to_different_keys_does_not_matter():
    changes = ("part.width=50 mm", "weld.A.current=120 A", "solve.grade=quick")
    found = [read(*order).resolved for order in itertools.permutations(changes)]
    assert all(resolved == found[0] for resolved in found)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("8 mm", "8 mm"), ('"8 mm"', "8 mm"), ("'8 mm'", "8 mm"), ("0.7", 0.7), ("true", True),
        ("quick", "quick"), ('["1 mm", "0 mm"]', ["1 mm", "0 mm"]), ("a = b", "a = b"),
    ],
)  # fmt: skip
def test_values_are_read_as_in_the_file_and_quotes_may_be_left_out(text, value):
    raw = {}
    assert apply_overrides(raw, [f"part.length={text}"]) == []
    assert raw == {"part": {"length": value}}


def test_process_may_be_a_number():
    assert read("weld.A.process=131").welds[0].process == "131"


@pytest.mark.parametrize("section", SECTIONS)
def test_a_file_of_a_wrong_shape_is_left_to_the_check_of_the_file(section):
    place = f"{section}.A" if section in ("weld", "gauge") else section
    for shape in (1, "text", [], [1], {"name": 1}):
        raw = {section: shape}
        apply_overrides(raw, [f"{place}.kind=bar", f"{place}.at=1 m", f"{place}.length=1 m"])
        assert set(raw) == {section}
