"""What may vary: counts by hand, rules of order, mistakes in one line each."""

import json
from importlib import resources
from math import factorial
from pathlib import Path

import pytest

from tests.studies.small import TEXT, small_plan
from weldsim.case.load import load_case
from weldsim.errors import CaseError
from weldsim.studies.plan.checks import can_be_ordered
from weldsim.studies.plan.space import load_plan, parse_plan

DEMO = "cases/mast_stub_plan.toml"


def demo(*changes):
    return load_plan(DEMO, changes)


def test_demo_has_every_order_and_direction():
    """4! orders of four seams, two directions each: 24 * 16 = 384 (counted by hand)."""
    plan = demo()
    found = list(plan.schedules())
    assert len(found) == len(set(found)) == plan.size == factorial(4) * 2**4 == 384


@pytest.mark.parametrize(
    ("changes", "count"),
    [
        (['plan.last=["right"]'], 6 * 16),
        (['plan.first=["front"]', 'plan.last=["right"]'], 2 * 16),
        (['plan.before=[["front", "back"]]'], 12 * 16),
        (['plan.travel={left = ["uphill"], right = ["uphill"]}'], 24 * 4),
        (['plan.seams=["front", "back"]'], 2 * 4),
    ],
)
def test_rules_of_order_leave_what_a_count_by_hand_leaves(changes, count):
    plan = demo(*changes)
    assert len(list(plan.schedules())) == plan.size == count


def test_what_begins_with_some_moves_is_counted_by_hand():
    """After one of four seams: 3! orders, two directions each."""
    plan = demo()
    done = (("left", 1),)
    found = list(plan.continuations(done))
    assert len(found) == 6 * 8 and all(m[:1] == done for m in found)
    assert set(found) == {m for m in plan.schedules() if m[:1] == done}


def named():
    """The small tee with sections whose names are not their seams'."""
    weld = '[[weld]]\nname = "{}"\nseam = "{}"\ntravel = "{}"\ncurrent = "{} A"\n'
    welds = weld.format("first", "front", "+x", 80) + weld.format("second", "back", "-x", 120)
    return TEXT.replace("[schedule]", welds + "[schedule]").replace(
        'order = ["front:+x", "back:-x"]\n', ""
    )


def test_a_seam_keeps_what_its_own_section_says():
    plan = parse_plan(named(), "small.toml")
    case = plan.bound(plan.settings[0], (("back", 1), ("front", -1)))
    assert [(w.name, w.seam, w.direction, w.arc.current) for w in case.welds] == [
        ("second", "back", 1, 120.0), ("first", "front", -1, 80.0),
    ]  # fmt: skip


HALVES = """[[weld]]
name = "F1"
seam = "front"
travel = "+x"
to = "12 mm"
[[weld]]
name = "F2"
seam = "front"
travel = "+x"
from = "12 mm"
"""


@pytest.mark.parametrize(
    ("order", "changes", "welds"),
    [
        (["F2:-x", "F1:+x", "back:+x"], [], [("F2", -1), ("F1", 1)]),  # its order, its senses
        (["F1:+x", "back:+x"], [], [("F1", 1)]),  # what the order leaves out stays unwelded
        (["front:+x", "back:+x"], [], [("front", 1)]),  # beside sections that are not used
        (["F1", "F2", "back:+x"], ["weld.F2.travel=-x"], [("F1", 1), ("F2", -1)]),
    ],
)
def test_sections_of_a_seam_are_welded_as_the_case_orders_them(order, changes, welds):
    text = TEXT.replace("[schedule]", HALVES + "[schedule]").replace(
        'order = ["front:+x", "back:-x"]', f"order = {json.dumps(order)}"
    )
    plan = parse_plan(text, "small.toml", changes)
    direction = welds[0][1]
    for turned in (1, -1):  # the first section as the move says, the others turned along with it
        case = plan.bound(plan.settings[0], (("back", 1), ("front", turned * direction)))
        assert [(w.name, w.direction) for w in case.welds[1:]] == [
            (n, turned * s) for n, s in welds
        ]


def test_a_travel_of_a_section_may_vary():
    text = TEXT.replace("[schedule]", HALVES + "[schedule]").replace(
        'order = ["front:+x", "back:-x"]', 'order = ["F1", "F2", "back:+x"]'
    )
    plan = parse_plan(text, "small.toml", ('plan.vary={"weld.F2.travel" = ["+x", "-x"]}',))
    moves = (("front", 1), ("back", 1))
    cases = [plan.bound(s, moves) for s in plan.settings]
    assert [[w.direction for w in c.welds] for c in cases] == [[1, 1, 1], [1, -1, 1]]


def test_a_rule_of_temperature_stays_with_the_bead_before():
    plan = parse_plan(
        Path("cases/pivot_arm_stainless.toml").read_text(encoding="utf-8")
        + '\n[plan]\nmeasure = "pointer"\ntolerance = "1 mrad"\n',
        "cases/pivot_arm_stainless.toml",
    )
    own = plan.case.welds[1].start
    case = plan.bound(plan.settings[0], (("B", 1), ("A", 1)))
    assert [w.name for w in case.welds] == ["B", "A"] and own.kind == "below"
    assert (case.welds[1].start.kind, case.welds[1].start.weld) == ("below", "B")
    assert case.welds[1].start.temperature == pytest.approx(own.temperature)


def test_the_confirming_grade_is_finer_by_itself():
    small = TEXT.replace('confirm_grade = "coarse"\n', "")
    plain, fine = (parse_plan(small, "x.toml", (f"plan.grade={g}",)) for g in ("quick", "normal"))
    assert (plain.section.confirm_grade, fine.section.confirm_grade) == ("normal", "fine")


@pytest.mark.parametrize(
    ("text", "changes", "words"),
    [
        (TEXT.replace("[schedule]", HALVES + "[schedule]"),
         ['schedule.order=["F1", "back:+x", "F2"]'], "comes back to front"),
        (named().replace('current = "80 A"', 'start = "300 s"'), [], "[weld.first] start"),
        (TEXT, ['schedule.order=["front/1:+x"]'], "welds all passes of a seam in one go"),
        (TEXT, ['plan.pause="60 s"'], "[plan] pause: is for bars"),
        (TEXT, ['plan.vary={"arc.current" = []}'], "has no values"),
        (TEXT, ["plan.travel={front = []}"], "[plan] travel.front: names no travel"),
        (TEXT, ['plan.first=["front"]', 'plan.last=["front"]'], "leave no sequence"),
        (TEXT, ['plan.grade="coarse"'], "'coarse' is not finer than grade 'coarse'"),
        (TEXT, ['plan.kind="straightness"', 'plan.measure="pointer_up_mrad"'],
         "does not suit pointer_up_mrad, allowed: angle, slope"),
        (TEXT, ['plan.measure="time"', 'plan.tolerance="-5 s"'], "greater than zero"),
        (TEXT, ['plan.vary={"plan.grade" = ["coarse"]}'], '"plan.grade" is not a key'),
    ],
)  # fmt: skip
def test_what_a_plan_could_not_keep_is_refused(text, changes, words):
    with pytest.raises(CaseError) as error:
        parse_plan(text, "small.toml", changes)
    assert words in str(error.value)
    assert len(str(error.value).splitlines()) == 1


def test_rules_that_contradict_each_other_are_found_at_once():
    """Twelve seams would take 12! orders to try."""
    from types import SimpleNamespace

    words = {f"s{i}": {1: "+x"} for i in range(12)}
    section = SimpleNamespace(first=[], last=["s0"], before=[["s0", "s1"]])
    assert not can_be_ordered(section, words)
    section.before = [["s1", "s0"]]
    assert can_be_ordered(section, words)


def test_a_mesh_of_ones_own_counts(tmp_path):
    """Another file under the same name is another part."""
    for name in ("strap_mesh.toml", "strap.msh"):
        source = next(Path(".").glob(f"*/{name}"))
        (tmp_path / name).write_bytes(source.read_bytes())
    text = (tmp_path / "strap_mesh.toml").read_text()
    text = text.replace("../meshes/", "")
    text += '\n[plan]\nmeasure = "pointer"\ntolerance = "1 mrad"\n'
    plan = parse_plan(text, str(tmp_path / "strap_mesh.toml"))
    moves = next(plan.schedules())
    before = plan.identity(plan.settings[0], "sketch", moves)
    assert before == plan.identity(plan.settings[0], "sketch", moves)
    with open(tmp_path / "strap.msh", "a") as mesh:
        mesh.write("\n")
    assert before != plan.identity(plan.settings[0], "sketch", moves)


def test_a_branch_is_known_wherever_one_stands(monkeypatch, tmp_path):
    """Files count by what they hold: a worker in another folder looks for the same branches."""
    material = resources.files("weldsim") / "data" / "materials" / "carbon-steel.toml"
    for folder in ("here", "there"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "own.toml").write_bytes(material.read_bytes())
        (tmp_path / folder / "small.toml").write_text(TEXT.replace("carbon-steel", "own.toml"))
    monkeypatch.chdir(tmp_path / "here")
    beside = load_plan("small.toml")
    away = load_plan(tmp_path / "there" / "small.toml")
    moves = next(beside.schedules())
    names = [p.identity(p.settings[0], "sketch", moves) for p in (beside, away)]
    assert names[0] == names[1]
    (tmp_path / "there" / "own.toml").write_text("# another\n" + material.read_text())
    assert names[0] != away.identity(away.settings[0], "sketch", moves)


def test_a_quantity_that_varies_needs_its_unit():
    with pytest.raises(CaseError, match='vary: "arc.current": 100 has no unit') as refusal:
        small_plan('plan.vary={"arc.current" = [100, "120 A"]}')
    assert "\n" not in str(refusal.value)


def test_uphill_is_resolved_to_a_direction():
    """The demo lies on its side with the front below: uphill is from front to back, -y."""
    plan = demo('plan.travel={left = ["uphill"]}')
    assert plan.words["left"] == {-1: "uphill"}
    case = plan.bound(plan.settings[0], next(plan.schedules()))
    assert next(w for w in case.welds if w.seam == "left").direction == -1


def test_settings_are_every_combination():
    plan = demo(
        'plan.vary={"schedule.pause" = ["30 s", "60 s"], "arc.current" = ["90 A", "110 A"]}'
    )
    assert len(plan.settings) == 4 and plan.size == 4 * 384
    case = plan.bound(plan.settings[0], next(plan.schedules()))
    assert case.welds[0].arc.current == 90.0 and case.welds[1].start.seconds == 30.0


@pytest.mark.parametrize(
    ("vary", "read", "values"),
    [
        ('"schedule.pause" = ["30 s", "60 s"]', lambda c: c.welds[1].start.seconds, [30, 60]),
        ('"arc.current" = ["90 A", "110 A"]', lambda c: c.welds[0].arc.current, [90, 110]),
        ('"arc.speed" = ["2 mm/s", "3 mm/s"]', lambda c: 1e3 * c.welds[0].arc.speed, [2, 3]),
        (
            '"clamping.release" = ["never", "cold"]',
            lambda c: c.clamps[0].off.kind,
            ["never", "cold"],
        ),
        ('"tack.1.length" = ["3 mm", "5 mm"]',
         lambda c: 1e3 * (c.tacks[0].finish - c.tacks[0].begin), [3, 5]),
        ('"surroundings.preheat" = ["20 degC", "100 degC"]',
         lambda c: c.surroundings.preheat, [293.15, 373.15]),
    ],
)  # fmt: skip
def test_what_may_vary_reaches_the_case(vary, read, values):
    plan = demo(f"plan.vary={{ {vary} }}")
    moves = next(plan.schedules())
    found = [read(plan.bound(s, moves)) for s in plan.settings]
    assert found == (values if isinstance(values[0], str) else pytest.approx(values))


def test_how_a_seam_is_divided_may_vary():
    """Backstep: stretches go on with the seam, each is welded against it (common practice)."""
    weld = '[[weld]]\nname = "front"\nseam = "front"\ntravel = "+x"\nsegment = "8 mm"\n'
    vary = 'vary = { "weld.front.pattern" = ["continuous", "backstep"] }\n'
    text = TEXT.replace("[schedule]", weld + "[schedule]").replace("[plan]\n", "[plan]\n" + vary)
    plan = parse_plan(text, "small.toml", ())
    whole, split = (plan.bound(s, (("back", 1), ("front", 1))).welds for s in plan.settings)
    assert [w.seam for w in whole] == ["back", "front"]
    parts = [w for w in split if w.seam == "front"]
    assert [w.direction for w in parts] == [-1, -1, -1]
    assert [w.begin for w in parts] == pytest.approx([0, 0.008, 0.016])


def test_a_schedule_becomes_the_case_of_that_order():
    plan = small_plan()
    case = plan.bound(plan.settings[0], (("back", -1), ("front", 1)))
    assert [(w.seam, w.direction) for w in case.welds] == [("back", -1), ("front", 1)]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (['plan.seams=["frnt"]'], "[plan] seams: 'frnt' is unknown"),
        (['plan.last=["lid"]'], "[plan] last: 'lid' is unknown"),
        (['plan.measure="pointr"'], "[plan] measure: 'pointr' is unknown"),
        (['plan.tolerance="1 kg"'], "tolerance: '1 kg' is not allowed"),
        (['plan.tolerance="ISO 13920 B"'], "needs a size"),
        (['plan.travel={front = ["up"]}'], "[plan] travel.front: 'up' is not allowed"),
        (['plan.before=[["front"]]'], "[plan] before:"),
        (["plan.confirm=-1"], "[plan] confirm: -1 is not allowed"),
        (['plan.before=[["front", "back"], ["back", "front"]]'], "leave no sequence"),
        (['plan.vary={"arc.curent" = ["90 A"]}'], "unknown key curent"),
    ],
)
def test_mistakes_are_one_line(changes, words):
    with pytest.raises(CaseError) as error:
        small_plan(*changes)
    assert words in str(error.value)
    assert len(str(error.value).splitlines()) == 1


def test_a_case_without_the_section_says_so():
    with pytest.raises(CaseError, match="missing section"):
        parse_plan(TEXT.split("[plan]")[0], "x.toml")


def test_a_class_gives_the_limit_of_its_table():
    """ISO 13920 angles, class A up to 400 mm: 20 minutes of arc (Table 2)."""
    plan = demo('plan.tolerance="ISO 13920 A"')
    assert plan.tolerance.value == pytest.approx(20 / 60 * 3.141592653589793 / 180, rel=1e-9)


def test_a_bar_is_put_in_order_too():
    text = open("cases/both_faces.toml", encoding="utf-8").read()
    text += '\n[plan]\nmeasure = "pointer"\ntolerance = "1 mrad"\npause = "30 s"\n'
    plan = parse_plan(text, "cases/both_faces.toml")
    moves = [m for m in plan.schedules()][-1]
    case = plan.bound(plan.settings[0], moves)
    assert [w.name for w in case.welds] == [s for s, _ in moves]
    assert [w.travel for w in case.welds] == [plan.words[s][w] for s, w in moves]
    assert [w.start.seconds for w in case.welds[1:]] == [30.0] * (len(moves) - 1)


def test_the_pause_of_a_bar_is_its_own_or_varies():
    text = open("cases/both_faces.toml", encoding="utf-8").read()
    head = text + '\n[plan]\nmeasure = "pointer"\ntolerance = "1 mrad"\n'
    own = load_case("cases/both_faces.toml").welds[1].start.seconds
    plan = parse_plan(head, "cases/both_faces.toml")
    moves = next(plan.schedules())
    assert plan.bound(plan.settings[0], moves).welds[1].start.seconds == own > 0
    plan = parse_plan(
        head + 'vary = { "plan.pause" = ["30 s", "600 s"] }\n', "cases/both_faces.toml"
    )
    assert [plan.bound(s, moves).welds[1].start.seconds for s in plan.settings] == [30, 600]


def test_identity_holds_all_that_matters_and_nothing_else():
    plan = small_plan()
    moves = next(plan.schedules())
    same = small_plan('plan.tolerance="2 mrad"', "title=Another")
    other = small_plan("arc.current=101 A")
    name = plan.identity(plan.settings[0], "sketch", moves)
    assert name == same.identity(same.settings[0], "sketch", moves)
    assert name != other.identity(other.settings[0], "sketch", moves)
    assert name != plan.identity(plan.settings[0], "coarse", moves)
