"""Case files: what is read, and what is refused in which words."""

import re
import shutil
from dataclasses import fields, replace
from pathlib import Path

import pytest

from tests.places import CASES
from weldsim.case.load import Case, load_case, parse_case
from weldsim.case.starters import starter_kinds, write_starter
from weldsim.errors import CaseError
from weldsim.schema.records import StartRule

DEMO = (CASES / "pivot_arm.toml").read_text(encoding="utf-8")


def read(text=DEMO, *changes) -> Case:
    return parse_case(text, "arm.toml", changes)


def refused(*changes, text=DEMO) -> str:
    with pytest.raises(CaseError) as refusal:
        read(text, *changes)
    return str(refusal.value)


@pytest.mark.parametrize("file", sorted(CASES.glob("*.toml")), ids=lambda f: f.stem)
def test_every_case_of_the_shelf_loads(file):
    case = load_case(file)
    assert case.welds and case.gauges and case.title


def test_the_shelf_is_not_empty():
    names = {"pivot_arm", "pivot_arm_one_bead", "edge_bead_bar", "both_faces"}
    names |= {"pivot_arm_stainless", "pivot_arm_aluminium"}
    assert names <= {file.stem for file in CASES.glob("*.toml")}


@pytest.mark.parametrize("kind", starter_kinds())
def test_every_starter_loads(kind, tmp_path):
    for own in ("strap.msh", "bracket.step"):  # those two want their file beside them
        shutil.copy(CASES.parent / "meshes" / own, tmp_path)
    assert load_case(write_starter(kind, tmp_path / "mine.toml")).part.kind == kind


def test_values_are_in_si():
    case = read()
    part, clamping, (a, b) = case.part, case.clamping, case.welds
    assert (part.length, part.width, part.thickness) == pytest.approx((0.22, 0.045, 8e-3))
    assert (clamping.kind, clamping.length, clamping.conductance) == (
        "one end",
        pytest.approx(0.03),
        500.0,
    )
    assert [bead.at for bead in part.beads] == pytest.approx([0.08, 0.112])
    assert a.arc.speed == pytest.approx(1.1e-3)
    assert a.arc.power == pytest.approx(0.77 * 12.5 * 200)
    assert a.duration == pytest.approx(45 / 1.1)
    assert case.surroundings.ambient == pytest.approx(293.15)
    assert b.start == StartRule("after", 25.0, "A")
    assert case.gauges[0].throw == pytest.approx(4.0)


def test_defaults_of_the_heat_source_follow_the_bead():
    bead = read().welds[0]
    half = 4e-3
    lengths = (bead.arc.half_width, bead.arc.front_length, bead.arc.rear_length, bead.arc.depth)
    assert lengths == pytest.approx((half, half, 2 * half, half))
    assert (bead.begin, bead.finish) == pytest.approx((0.0, 0.045))  # along its line
    assert [(b.begin, b.finish) for b in read().part.beads] == [(-0.0225, 0.0225)] * 2  # on the bar


def test_an_edge_bead_runs_along_it():
    (bead,) = load_case(CASES / "edge_bead_bar.toml").part.beads
    assert (bead.line, bead.begin, bead.finish) == ("along", pytest.approx(0.012), 0.308)


def test_preheat_is_ambient_when_left_out():
    text = DEMO.replace('preheat = "20 degC"\n', "").replace("20 degC", "5 degC")
    assert text.count("preheat") == 0
    assert read(text).surroundings.preheat == pytest.approx(278.15)


# The international inch is 25.4 mm exactly (1959).
def test_inches_and_millimetres_give_the_same_case():
    inch = re.sub(r'"([\d.]+) (mm|mm/s)"', lambda m: f'"{float(m[1]) / 25.4!r} in{m[2][2:]}"', DEMO)
    assert inch != DEMO and '"220 mm"' not in inch
    one, two = read(), read(inch)
    for name in ("part", "clamping", "surroundings", "solve"):
        same(getattr(one, name), getattr(two, name))
    for a, b in zip(one.welds, two.welds, strict=True):
        same(a, b)


def same(one, two):
    for name in (f.name for f in fields(one)):
        a, b = getattr(one, name), getattr(two, name)
        if name == "beads":
            for first, second in zip(a, b, strict=True):
                same(first, second)
            continue
        assert a == (pytest.approx(b, rel=1e-12) if isinstance(b, float) else b), name


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("0 s", StartRule("time", 0.0)),
        ("2 min", StartRule("time", 120.0)),
        ("1 min after A", StartRule("after", 60.0, "A")),
        ("when A below 423.15 K", StartRule("below", 0.0, "A", 423.15)),
    ],
)
def test_start_rules(text, rule):
    assert read(DEMO, f"weld.B.start={text}").welds[1].start == rule


# -- changes from the command line


def test_changes_are_made_and_kept():
    changes = ('part.thickness="8 mm"', "weld.A.current=120 A", "solve.grade=quick")
    case = read(DEMO, *changes)
    assert case.part.thickness == pytest.approx(8e-3)
    assert (case.welds[0].arc.current, case.welds[1].arc.current) == (120.0, 200.0)
    assert case.solve.grade == "quick"
    assert case.overrides == changes
    assert case.source_text == DEMO


def test_the_kept_text_and_changes_give_the_same_case_again():
    case = read(DEMO, "weld.B.at=110 mm", "gauge.pointer.throw=2 m")
    assert parse_case(case.source_text, case.source_file, case.overrides) == case


def test_a_change_can_add_a_key_left_out():
    assert read(DEMO, "weld.A.from=-10 mm").welds[0].length == pytest.approx(0.0325)
    assert read(DEMO, "solve.error_estimate=false").solve.error_estimate is False


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("weld.C.current=120 A", "no weld is named C"),
        ("gauge.pionter.throw=2 m", "no gauge is named pionter, did you mean pointer?"),
        ("prat.length=1 m", "unknown section prat, did you mean part?"),
        ("part.lenght=1 m", "lenght, did you mean length?"),
        ("part.length", "section.key=value"),
        ("weld.current=120 A", "weld.NAME.key=value"),
        ("part=1", "part.key=value"),
    ],
)
def test_a_change_that_goes_nowhere_is_refused(change, words):
    message = refused(change)
    assert message.startswith("arm.toml") and words in message
    assert len(message.splitlines()) == 1


def test_a_change_is_checked_like_the_file():
    assert "[part] thickness: '8' is not a number with a unit" in refused('part.thickness="8"')
    assert "decimals take a point); allowed: a length" in refused('part.thickness="8,5 mm"')


# -- refusals: one line, with file, key, value and what is allowed


@pytest.mark.parametrize(
    ("change", "words"),
    [
        # wrong units and sizes
        ("part.width=40", "[part] width: 40 has no unit; allowed: a length with its unit"),
        ("weld.A.current=150 V", "[weld.A] current: '150 V' is not a current; allowed:"),
        ("part.width=-45 mm", "[part] width: '-45 mm' is not allowed: it must be greater than"),
        ("weld.A.speed=0 mm/s", "[weld.A] speed: '0 mm/s' is not allowed: it must be greater"),
        ("surroundings.ambient=20 C", "ambient: '20 C' is not a temperature; allowed:"),
        ("surroundings.ambient=-300 degC", "absolute zero"),
        (
            "surroundings.film_coefficient=-1 W/m2/K",
            "film_coefficient: '-1 W/m2/K' is not allowed: it must not be neg",
        ),
        ("weld.A.efficiency=1.2", "efficiency: 1.2 is not allowed: it must be less than or"),
        ("surroundings.emissivity=-0.1", "it must be greater than or equal to 0"),
        ("part.length=200 m", "[part] length: 200 m is not allowed: 0.5 mm to 10 m"),
        ("part.thickness=6 um", "[part] thickness: 0.006 mm is not allowed: 0.5 mm to"),
        ("surroundings.preheat=1500 degF", "preheat: 815.6 °C is not allowed: at most 600 °C"),
        # words
        (
            "clamping.kind=vice",
            'clamping] kind: \'vice\' is not allowed: write "one end" or "free"',
        ),
        ("solve.grade=best", "[solve] grade: 'best' is not allowed: write"),
        ("solve.end=soon", "[solve] end: 'soon' is not allowed: write \"cold\" or a time"),
        ("weld.A.process=999", "'999' is unknown, allowed (ISO 4063): 111 covered electrode"),
        ("part.material=carbon-stell", "'carbon-stell' is unknown"),
        ("part.material=carbon-stell", "did you mean carbon-steel?"),
        ("part.material=mine.toml", "a .toml file beside the case"),
        # the bead on the part
        ("weld.B.at=219 mm", "[weld.B] at: 219 mm puts the bead off the part, allowed: 34 mm to"),
        ("weld.A.at=-10 mm", "[weld.A] at: -10 mm puts the bead off the part"),
        ("weld.A.to=30 mm", "[weld.A] to: 30 mm is off the part, allowed: -22.5 mm to 22.5 mm"),
        ("weld.A.from=22.5 mm", "[weld.A] to: 22.5 mm is not beyond from, 22.5 mm"),
        ("weld.A.bead_width=46 mm", "[weld.A] bead_width: 46 mm is wider than the bar there, all"),
        ("weld.A.bead_height=9 mm", "bead_height: 9 mm is not allowed: at most the bead_width"),
        ("weld.A.travel=+x", "travel: '+x' is not allowed for a bead across the bar: write \"up"),
        ("weld.A.at=32 mm", "[weld.A] at: 32 mm puts the clamp over the weld, allowed: 34 mm"),
        ("weld.B.at=81 mm", "[weld.B] at: 81 mm puts the bead on top of weld A, allowed: beads"),
        (
            "clamping.length=220 mm",
            "[clamping] length: 220 mm is not allowed: greater than zero and sho",
        ),
        ("clamping.length=0 mm", "[clamping] length: 0 mm is not allowed: greater than zero"),
        # starts
        ("weld.B.start=60 s after C", "[weld.B] start: 'C' is not a weld before this one, allow"),
        ("weld.A.start=60 s after B", "[weld.A] start: 'B' is not a weld before this one, allow"),
        ("weld.B.start=when B below 150 degC", "'B' is not a weld before this one, allowed: A"),
        ("weld.B.start=when A below 20 degC", "20 °C is never reached, allowed: over 1 K abo"),
        ("weld.B.start=later", 'start: \'later\' is not allowed: write "0 s", "60 s after A" or'),
        ("weld.B.start=-5 s", "start: '-5 s' is not allowed"),
        # gauges
        ("gauge.pointer.at=the end", "at: 'the end' is not allowed: write \"free end\" or"),
        ("gauge.pointer.up=-x", "up: '-x' is not allowed: it must be at right angles to aim"),
        ("gauge.pointer.aim=x", "aim: 'x' is not allowed: write \"+x\""),
        ("gauge.pointer.direction=+x", "direction: a pointer has no such key, allowed: at, aim"),
        ("gauge.pointer.throw=0 m", "throw: '0 m' is not allowed: it must be greater than zero"),
    ],
)
def test_refusals_name_file_key_value_and_what_is_allowed(change, words):
    message = refused(change)
    assert words in message
    assert all(line.startswith("arm.toml [") for line in message.splitlines())
    assert len(message.splitlines()) == 1


@pytest.mark.parametrize("face", ["top", "bottom"])
def test_a_bead_on_an_edge_is_at_most_as_wide_as_the_bar_is_thick(face):
    changes = (f"weld.A.face={face}", "weld.A.travel=+x", "weld.A.from=40 mm")
    message = refused(*changes, "weld.A.bead_width=9 mm")
    assert "bead_width: 9 mm is wider than the bar there, allowed: up to 8 mm" in message


def test_a_bead_beside_another_may_touch_it():
    assert read(DEMO, "weld.B.at=88 mm").part.beads[1].at == pytest.approx(0.088)


def test_a_bead_on_the_other_face_may_lie_opposite():
    assert read(DEMO, "weld.B.at=80 mm", "weld.B.face=back").part.beads[1].face == "back"


def test_unknown_key_with_the_nearest_known_one():
    message = refused(text=DEMO.replace("thickness =", "thicknes ="))
    assert "[part] thicknes: unknown key, did you mean thickness?" in message
    assert '[part] thickness: missing key, such as "8 mm"' in message


def test_unknown_section():
    assert "did you mean surroundings?" in refused(
        text=DEMO.replace("[surroundings]", "[surround]")
    )


@pytest.mark.parametrize("key", ["current", "voltage", "speed", "efficiency", "bead_width", "at"])
def test_missing_key_with_an_example(key):
    text = re.sub(rf"^{key} = .*\n", "", DEMO, count=1, flags=re.M)
    assert f"[weld.A] {key}: missing key, such as " in refused(text=text)


@pytest.mark.parametrize(
    ("section", "words"),
    [("[part]", "[part]: missing section"), ("[[weld]]", "[[weld]]: missing, allowed: one")],
)
def test_missing_section(section, words):
    parts = re.split(r"(?m)^(?=\[)", DEMO)
    assert words in refused(text="".join(p for p in parts if not p.startswith(section)))


def test_missing_gauge_key():
    text = DEMO.replace('throw = "4 m"\n', "")
    assert "[gauge.pointer] throw: missing key for a pointer" in refused(text=text)


def test_names_are_used_once():
    message = refused(text=DEMO.replace('name = "B"', 'name = "A"'))
    assert "name: 'A' is used twice, allowed: each name once" in message


def test_a_free_part_has_nothing_to_release():
    assert 'a free part has no clamp, allowed: "never"' in refused(
        "clamping.kind=free", "clamping.release=cold"
    )


def test_a_gauge_off_the_part():
    text = (CASES / "edge_bead_bar.toml").read_text(encoding="utf-8")
    message = refused('gauge.back.at=["321 mm", "0 mm", "0 mm"]', text=text)
    assert "[gauge.back] at: x = 321 mm is off the part, allowed: 0 mm to 320 mm" in message


def test_a_bow_is_measured_across_the_bar():
    text = (CASES / "edge_bead_bar.toml").read_text(encoding="utf-8")
    assert 'write "+y", "-y", "+z" or "-z"' in refused("gauge.straightness.direction=+x", text=text)


def test_a_part_that_never_cools_needs_an_end():
    changes = ["surroundings.film_coefficient=0 W/m2/K", "surroundings.emissivity=0"]
    changes.append("clamping.conductance=0 W/m2/K")
    assert "nothing takes heat away" in refused(*changes)
    assert read(DEMO, *changes, "solve.end=300 s").solve.end == 300.0


def test_all_mistakes_of_a_file_come_together():
    changes = {
        "part.width=40": "[part] width:",
        "part.material=iron": "[part] material:",
        "clamping.kind=vice": "[clamping] kind:",
        "weld.A.current=150 V": "[weld.A] current:",
        "weld.A.process=999": "[weld.A] process:",
        "weld.A.start=later": "[weld.A] start:",
        "weld.B.at=300 mm": "[weld.B] at:",
        "weld.B.start=60 s after C": "[weld.B] start:",
        "gauge.pointer.at=here": "[gauge.pointer] at:",
        "gauge.pointer.throw=-1 m": "[gauge.pointer] throw:",
        "solve.grade=best": "[solve] grade:",
        "weld.X.at=1 mm": "--set weld.X.at",
    }
    lines = refused(*changes).splitlines()
    assert all(line.startswith("arm.toml ") for line in lines)
    for expected in changes.values():
        assert sum(expected in line for line in lines) == 1, expected
    assert len(lines) == len(changes)


def test_not_toml(tmp_path):
    file = tmp_path / "bad.toml"
    file.write_text("title = Pivot arm\n")
    with pytest.raises(CaseError, match=r"bad.toml: not a TOML file: .*line 1"):
        load_case(file)


def test_no_such_file():
    with pytest.raises(CaseError, match=r"^nosuch.toml: cannot be read: No such file"):
        load_case("nosuch.toml")


def test_not_text(tmp_path):
    file = tmp_path / "picture.toml"
    file.write_bytes(b"\x89PNG\xff\xfe")
    with pytest.raises(CaseError, match="picture.toml: cannot be read") as refusal:
        load_case(file)
    assert "None" not in str(refusal.value)


def test_a_material_file_beside_the_case(tmp_path):
    (tmp_path / "mine.toml").write_text('title = "Mine"\nbase = "carbon-steel"\n')
    (tmp_path / "arm.toml").write_text(DEMO.replace("carbon-steel", "mine.toml"))
    case = load_case(tmp_path / "arm.toml")
    assert Path(case.part.material) == tmp_path / "mine.toml"


def test_a_case_is_a_value():
    case = read()
    with pytest.raises(AttributeError):
        case.part.length = 1.0
    assert replace(case.part, length=1.0) != case.part
    assert case == read()


@pytest.mark.parametrize(
    ("case", "section", "old", "new"),
    [
        ("pivot_arm.toml", "surroundings", "film", "film_coefficient"),
        ("mast_stub.toml", "schedule", "cooling_film", "cooling_film_coefficient"),
    ],
)
def test_a_key_that_was_renamed_is_refused_with_its_new_name(case, section, old, new):
    text = (CASES / case).read_text(encoding="utf-8")
    older = text.replace(f"[{section}]", f'[{section}]\n{old} = "10 W/m2/K"', 1)
    said = f"[{section}] {old}: unknown key, it is called {new} now"
    with pytest.raises(CaseError, match=re.escape(said)):
        parse_case(older, case)
    with pytest.raises(CaseError, match=f"unknown key {old}, it is called {new} now"):
        parse_case(text, case, [f"{section}.{old}=10 W/m2/K"])


def test_a_section_that_was_renamed_is_refused_with_its_new_name():
    older = (CASES / "pivot_arm.toml").read_text(encoding="utf-8").replace("[clamping]", "[hold]")
    with pytest.raises(CaseError, match=r"\[hold\].*unknown section, it is called clamping now"):
        parse_case(older, "old.toml")
    with pytest.raises(CaseError, match="unknown section hold, it is called clamping now"):
        load_case(CASES / "pivot_arm.toml", ["hold.release=cold"])
    with pytest.raises(CaseError, match="unknown key companion, it is called error_estimate now"):
        load_case(CASES / "pivot_arm.toml", ["solve.companion=false"])
