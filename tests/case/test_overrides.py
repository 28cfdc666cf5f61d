"""Changes to a case from the command line: who is meant, and that a change is a change."""

import itertools
import re

import pytest

from tests.places import ROOT
from weldsim.case.load import parse_case
from weldsim.case.overrides import apply_overrides
from weldsim.errors import CaseError
from weldsim.schema.sections import NAMES

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
    written = DEMO.replace('thickness = "8 mm"', 'thickness = "7 mm"')
    assert read(text=written).resolved == read("part.thickness=7 mm").resolved


def test_the_last_change_of_a_key_counts():
    assert read("part.thickness=1 mm", "part.thickness=7 mm").part.thickness == 0.007


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
    assert read("weld.A.process=131").welds[0].arc.process == "131"


@pytest.mark.parametrize("section", NAMES)
def test_a_file_of_a_wrong_shape_is_left_to_the_check_of_the_file(section):
    place = f"{section}.A" if section in ("weld", "gauge") else section
    for shape in (1, "text", [], [1], {"name": 1}):
        raw = {section: shape}
        apply_overrides(raw, [f"{place}.kind=bar", f"{place}.at=1 m", f"{place}.length=1 m"])
        assert set(raw) == {section}


# Either spelling of a change comes to the same case, and so does what a run folder keeps of it.
@pytest.mark.parametrize(
    ("key", "text", "si"),
    [
        ("weld.A.current", "120 A", 120.0),
        ("weld.A.current", "120 A", 120),
        ("part.thickness", "7 mm", 7e-3),
        ("surroundings.ambient", "40 degC", 313.15),
        ("weld.A.start", "12.5 s", 12.5),
        ("clamping.release", "300 s", 300.0),
        ("weld.A.efficiency", 0.7, 0.7),
        ("weld.A.filler", False, False),
        ("gauge.pointer.at", "free end", "free end"),
        ("title", "Other", "Other"),
    ],
)
def test_a_change_may_be_text_or_a_number_in_si_and_survives_a_run_folder(key, text, si):
    written = text if isinstance(text, str) else str(text).lower()
    on_the_line = read(f"{key}={written}")
    for case in (
        parse_case(DEMO, "arm.toml", {key: text}),
        parse_case(DEMO, "arm.toml", {key: si}),
        read().with_changes({key: si}),
        read().with_changes([f"{key}={written}"]),
    ):
        assert case.resolved == on_the_line.resolved != read().resolved or key == "gauge.pointer.at"
        again = parse_case(case.source_text, case.source_file, case.overrides)
        assert again == case and again.resolved == case.resolved


def test_a_number_comes_back_from_a_run_folder_to_the_last_bit():
    for value in (0.1 + 0.2, 1 / 3 * 1e-2, 7.000000000000001e-3):
        case = read().with_changes({"part.thickness": value})
        assert case.part.thickness == value
        assert parse_case(DEMO, "arm.toml", case.overrides).part.thickness == value


def test_changes_add_up_and_leave_the_case_they_are_made_to_alone():
    first = read("part.thickness=7 mm")
    second = first.with_changes({"weld.A.current": 120.0})
    assert (second.part.thickness, second.welds[0].arc.current) == (7e-3, 120.0)
    assert first == read("part.thickness=7 mm") and first.tables == read(*first.overrides).tables


def test_all_welds_can_be_changed_at_once():
    case = read()
    turned = case.with_changes(
        {"weld": case.tables["weld"][::-1], "weld.B.start": 0.0, "weld.A.start": "60 s after B"}
    )
    assert case == read()
    assert [w.name for w in turned.welds] == ["B", "A"]
    assert parse_case(DEMO, "arm.toml", turned.overrides) == turned


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"weld.A.curent": 1.0}, "weld.A.curent=1.0: unknown key curent, did you mean current?"),
        ({"weld.C.current": "1 A"}, "no weld is named C"),
        ({"part.thickness": -8e-3}, "[part] thickness: -0.008 is not allowed: it must be greater"),
        ({"part.thickness": True}, "[part] thickness: True has no unit"),
        ({"weld.A.current": float("nan")}, "[weld.A] current: nan has no unit"),
        ({"weld": "A"}, "write it as weld.NAME.key=value"),
        ({"": 1.0}, "write it as section.key=value"),
    ],
)
def test_a_wrong_change_from_python_is_refused_in_one_line(changes, words):
    with pytest.raises(CaseError, match=re.escape(words)):
        read().with_changes(changes)
