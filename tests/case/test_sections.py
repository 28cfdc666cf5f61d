"""Keys of the case file: either unit, any order, and no mistake that hides another."""

import tomllib

import pytest

from tests.places import CASES
from weldsim.case.keys import section_model
from weldsim.case.load import load_case, parse_case
from weldsim.errors import CaseError
from weldsim.joints.registry import joint_kind
from weldsim.schema.quantities import WRONG
from weldsim.schema.section_checks import check_section, keys_of
from weldsim.schema.sections import NAMES

DEMO = (CASES / "pivot_arm.toml").read_text(encoding="utf-8")


def read(*changes, text=DEMO):
    return parse_case(text, "arm.toml", changes)


def complaints(*changes, text=DEMO):
    with pytest.raises(CaseError) as refusal:
        read(*changes, text=text)
    lines = str(refusal.value).split("\n")
    assert all(line.startswith("arm.toml ") for line in lines)
    return [line.removeprefix("arm.toml ") for line in lines]


# 1 in = 25.4 mm and 1 ft = 12 in exactly (1959); degF = 1.8 degC + 32 by definition.
EITHER_UNIT = {
    "part.length": ("203.2 mm", "8 in"),
    "part.width": ("44.45 mm", "1.75 in"),
    "part.thickness": ("7.9375 mm", "0.3125 in"),
    "clamping.length": ("25.4 mm", "1 in"),
    "clamping.release": ("300 s", "5 min"),
    "weld.A.at": ("76.2 mm", "3 in"),
    "weld.A.speed": ("1.27 mm/s", "3 in/min"),
    "weld.A.bead_width": ("7.9375 mm", "0.3125 in"),
    "weld.B.start": ("when A below 150 degC", "when A below 302 degF"),
    "surroundings.preheat": ("150 degC", "302 degF"),
    "gauge.pointer.throw": ("3962.4 mm", "156 in"),
}


def same(one, two):
    if isinstance(one, dict):
        return one.keys() == two.keys() and all(same(one[k], two[k]) for k in one)
    if isinstance(one, (tuple, list)):
        return len(one) == len(two) and all(map(same, one, two))
    if isinstance(one, float) and isinstance(two, float):
        return one == pytest.approx(two, rel=1e-12, abs=1e-15)
    return one == two


@pytest.mark.parametrize("key", EITHER_UNIT)
def test_each_quantity_may_be_written_in_either_unit(key):
    metric, inch = (read(f"{key}={text}").resolved for text in EITHER_UNIT[key])
    assert same(metric, inch) and not same(metric, read().resolved)


def test_units_may_be_mixed_in_one_file():
    metric, inch = ([f"{k}={v[i]}" for k, v in EITHER_UNIT.items()] for i in (0, 1))
    mixed = [pair[n % 2] for n, pair in enumerate(zip(metric, inch, strict=True))]
    assert same(read(*metric).resolved, read(*inch).resolved)
    assert same(read(*metric).resolved, read(*mixed).resolved)


def test_order_of_sections_does_not_matter():
    begin, end = DEMO.index("[part]"), DEMO.index("[clamping]")
    moved = DEMO[:begin] + DEMO[end:] + "\n" + DEMO[begin:end]
    assert moved != DEMO and read(text=moved).resolved == read().resolved


@pytest.mark.parametrize("path", sorted(CASES.glob("*.toml")), ids=lambda p: p.stem)
def test_every_key_of_a_case_can_be_changed_on_the_command_line(path):
    raw = tomllib.loads(path.read_text(encoding="utf-8"))
    changes = []
    for section in (s for s in NAMES if s in raw):
        table = raw[section]
        for number, entry in enumerate(table if isinstance(table, list) else [table], 1):
            place = f"{section}.{number}" if isinstance(table, list) else section
            changes += [f"{place}.{k}={_toml(v)}" for k, v in entry.items()]
    assert load_case(path, changes).resolved == load_case(path).resolved


def _toml(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k!r} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    return str(value).lower() if isinstance(value, bool) else repr(value)


@pytest.mark.parametrize("section", joint_kind("bar").sections)
def test_one_wrong_key_hides_no_other(section):
    """With every key of a section wrong, each is told once, and nothing that follows from it."""
    place = {"weld": "weld.A", "gauge": "gauge.pointer"}.get(section, section)
    keys = [k for k in keys_of(section_model(section)) if k not in ("name", "start", "direction")]
    if section == "gauge":
        keys.remove("at")  # what is allowed there depends on the kind
    lines = complaints(*(f"{place}.{key}=[0]" for key in keys))
    assert sorted(line.split(" ")[1].rstrip(":") for line in lines) == sorted(keys)


@pytest.mark.parametrize("section", NAMES)
def test_what_is_wrong_stands_as_nan_and_the_rest_is_read(section):
    mistakes = []
    read_back = check_section(section, section_model(section), {}, mistakes)
    needed = {n for n, f in section_model(section).model_fields.items() if f.is_required()}
    assert len(mistakes) == len(needed)
    assert {n for n, v in read_back if v is WRONG} == needed


def test_a_mistake_in_one_section_does_not_hide_one_between_sections():
    lines = complaints("weld.A.current=150 V", "weld.A.at=500 mm", "part.thickness=6")
    assert [line.split(":")[0] for line in lines] == [
        "[part] thickness", "[weld.A] current", "[weld.A] at",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "text",
    [
        "", 'part = "x"', "part = 1\nweld = 2\ngauge = [3]", "weld = [[1]]", "[weld]\nname = 'A'",
        "title = 1\n[[part]]\nlength = 1", "[[weld]]\n[[gauge]]", "[part]\nlength = {a = 1}",
        "[clamping]\nlength = 2020-01-01\nrelease = nan",
        "[[weld]]\nname = []\nstart = []\nat = nan",
        "[surroundings]\nemissivity = nan\nfilm = inf", "[[gauge]]\nkind = 'dial'\nat = 1",
    ],
)  # fmt: skip
def test_whatever_the_file_holds_the_answer_is_a_refusal(text):
    assert complaints("part.length=1 m", "weld.A.current=1 A", "weld.1.at=1 m", text=text)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("weld.A.efficiency='0.77'", "'0.77' is not allowed: write a number without quotes"),
        ("weld.A.efficiency=true", "true is not allowed: write a number without quotes"),
        ("weld.A.efficiency=nan", "efficiency: nan is not allowed"),
        ("solve.error_estimate='yes'", "'yes' is not allowed: write true or false"),
        ("weld.A.efficiency=77", 'less than or equal to 1, or "77 %" if that is meant'),
        ("part.material=6", '6 is not allowed: write text in quotes, such as "carbon-steel"'),
        ("weld.A.face=frnt", "did you mean front?"),
        ("weld.A.bead_height=150 delta_degC", "is not a number with a unit"),
    ],
)
def test_refusals(change, words):
    assert words in complaints(change)[0]


def test_a_mark_at_the_start_of_the_file_does_not_matter(tmp_path):
    (tmp_path / "arm.toml").write_text(DEMO, encoding="utf-8-sig")
    assert load_case(tmp_path / "arm.toml").resolved == read().resolved
