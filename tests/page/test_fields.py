"""Fields come from the keys of a case file; what they hold is checked like one. No process here."""

import tomllib

import pytest

from tests.page.kit import starter
from weldsim.case.keys import section_model
from weldsim.case.load import parse_case
from weldsim.errors import CaseError
from weldsim.joints.registry import KINDS, joint_kind
from weldsim.page import case_form
from weldsim.page import fields as forms
from weldsim.schema.sections import NAMES
from weldsim.units import parse


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_has_a_field_and_every_starter_key_too(kind):
    form = forms.form_of(kind)
    fields = {(s["key"], f["key"]): f for s in form["sections"] for f in s["fields"]}
    offered = {s["key"] for s in form["sections"]}
    of_joints = {"arc", "schedule", "tack", "clamp"} if kind == "bar" else set()
    if joint_kind(kind).free_height is None:  # nothing to tilt
        of_joints |= {"preset"}
    # what verbs of their own read, not a run
    assert set(NAMES) - offered - of_joints <= {"plan", "fit", "shop", "metal"}
    for section in offered:
        model = section_model(section, kind)
        for name, info in model.model_fields.items():
            key = (section, info.alias or name)
            assert key in fields or key in {("part", "kind"), ("schedule", "order")}
    for section, written in form["tables"].items():
        for table in written if isinstance(written, list) else [written]:
            if isinstance(table, dict):
                missing = {k for k in table if (section, k) not in fields}
                assert missing <= {"kind", "order"}, (section, missing)


def test_quantities_know_their_unit_and_sign():
    """The keys say so: a speed is positive, ambient a temperature (schema/sections.py)."""
    fields = {
        (s["key"], f["key"]): f for s in forms.form_of("bar")["sections"] for f in s["fields"]
    }
    assert (
        fields["weld", "speed"]["unit"] == "speed" and fields["weld", "speed"]["sign"] == "positive"
    )
    assert fields["surroundings", "ambient"]["unit"] == "temperature"
    assert fields["clamping", "length"]["sign"] == "not negative"
    assert fields["part", "material"]["words"] and not fields["clamping", "release"]["needed"]
    assert "clamped end" in fields["part", "length"]["remark"]
    # neither one process of many nor the label once more
    assert fields["weld", "process"]["remark"] == "number of ISO 4063"
    assert fields["clamping", "conductance"]["remark"] == "the least certain number here"


def test_units_convert_as_defined():
    """1 in = 25.4 mm exactly; 212 degF = 373.15 K (definitions of inch and degree Fahrenheit)."""
    units = {u["unit"]: u for kind in forms.units_offered().values() for u in kind}
    assert units["in"]["factor"] == pytest.approx(0.0254, rel=1e-12)
    found = 212 * units["degF"]["factor"] + units["degF"]["shift"]
    assert found == pytest.approx(373.15, abs=1e-9)
    for kind, offered in forms.OFFERED.items():
        for unit in offered:
            assert parse(f"1 {unit}", kind) is not None


@pytest.mark.parametrize("kind", [k for k in KINDS if k not in forms.FROM_FILE])
def test_a_form_is_the_case_of_its_file(kind):
    text = case_form.form_text(starter(kind))
    case = parse_case(text, "draft.toml")
    assert tomllib.loads(text) == starter(kind) and case.welds


def test_blanks_are_left_out_but_sections_stay():
    tables = starter()
    tables["clamping"] = {"kind": "free", "length": "", "release": None}
    assert tomllib.loads(case_form.form_text(tables))["clamping"] == {"kind": "free"}


MISTAKES = [
    (("gauge", "kind", 0, "weight"), ("gauge", "pointer", "kind")),
    (("part", "length", None, "20"), ("part", "", "length")),
    (("part", "thickness", None, "-1 mm"), ("part", "", "thickness")),
    (("weld", "at", 1, "900 mm"), ("weld", "B", "at")),
    (("weld", "speed", 0, "5 kg"), ("weld", "A", "speed")),
    (("gauge", "aim", 0, "+q"), ("gauge", "pointer", "aim")),
    (("solve", "grade", None, "best"), ("solve", "", "grade")),
]


@pytest.mark.parametrize("change, place", MISTAKES)
def test_a_mistake_names_its_field(change, place):
    section, key, index, value = change
    tables = starter()
    (tables[section] if index is None else tables[section][index])[key] = value
    with pytest.raises(CaseError) as refused:
        parse_case(case_form.form_text(tables), "draft.toml")
    found = case_form.messages_of(refused.value, "draft.toml")
    assert place in [(m["section"], m["name"], m["key"]) for m in found]
    assert all(m["text"] and "draft.toml" not in m["text"] for m in found)


def test_a_missing_section_and_a_missing_key_of_the_arc_have_their_places():
    tables = starter("plate-tee")
    del tables["gauge"], tables["arc"]["speed"]
    with pytest.raises(CaseError) as refused:
        parse_case(case_form.form_text(tables), "x")
    found = {(m["section"], m["key"]): m["text"] for m in case_form.messages_of(refused.value, "x")}
    assert found["gauge", ""].startswith("missing, allowed: one [[gauge]]")
    assert "speed: missing" in found["schedule", "order"]


def test_nobody_is_asked_to_leave_out_quotes_that_nobody_types():
    tables = starter("plate-tee")
    tables["arc"]["efficiency"] = "much"
    with pytest.raises(CaseError) as refused:
        parse_case(case_form.form_text(tables), "x")
    (found,) = case_form.messages_of(refused.value, "x")
    assert "write a number, such as" in found["text"]


def test_what_is_not_even_toml_is_told_without_the_file():
    with pytest.raises(CaseError) as refused:
        parse_case("title = ", "here/x.toml")
    (found,) = case_form.messages_of(refused.value, "here/x.toml")
    assert found["text"].startswith("not a TOML file") and found["section"] == ""


def test_a_wrong_order_of_a_joint_is_told_as_such():
    tables = starter("plate-tee")
    tables["schedule"]["order"] = ["front:sideways"]
    with pytest.raises(CaseError) as refused:
        parse_case(case_form.form_text(tables), "x")
    (found,) = case_form.messages_of(refused.value, "x")
    assert (found["section"], found["key"]) == ("schedule", "order")


FILES = [
    {"material": "../../etc/passwd"}, {"material": "/etc/passwd"}, {"material": "mine.toml"},
    {"kind": "mesh", "file": "/etc/passwd"}, {"kind": "step", "file": "../x.step"},
    {"file": "x.msh"}, {"mesh": "x.msh"},
]  # fmt: skip


@pytest.mark.parametrize("change", FILES)
def test_a_draft_names_no_file(change):
    tables = starter()
    tables["part"] |= change
    with pytest.raises(case_form.FormError, match="not allowed|needs a file"):
        case_form.form_text(tables)


def test_a_case_file_of_the_work_folder_may(tmp_path):
    path = tmp_path / "strap.toml"
    path.write_text(case_form.form_text(starter()).replace("carbon-steel", "own.toml"))
    base = case_form.Base.read(path)
    assert "own.toml" in case_form.form_text(base.tables, base)
    changed = case_form.Base.read(path).tables
    changed["part"]["material"] = "../own.toml"
    with pytest.raises(case_form.FormError, match="material"):
        case_form.form_text(changed, base)


def test_no_section_has_a_file_key_the_page_does_not_know():
    """A key added later that names a file has to be refused too: its name must tell."""
    plain = {"kind", "name", "material", "seam", "travel", "process", "title", "measure"}
    plain |= {"tolerance"}
    for kind in KINDS:
        for model in (section_model(section, kind) for section in NAMES):
            for name, info in model.model_fields.items():
                if info.annotation is str and name not in plain:
                    assert case_form.NAMES_A_FILE.search(name), (kind, name)


@pytest.mark.parametrize(
    "tables",
    [None, [], "x", {"weld": [{}] * 101}, {"title": "x" * 3000},
     {"a": {"b": {"c": {"d": {"e": {"f": {"g": {}}}}}}}}],
)  # fmt: skip
def test_what_is_no_case_is_refused(tables):
    with pytest.raises(case_form.FormError):
        case_form.form_text(tables)
