"""Lines that bring a welded part back: where they lie, how hot they get, which way they pull."""

from dataclasses import replace

import numpy as np
import pytest
from typer.testing import CliRunner

from tests.places import CASES
from tests.studies.small import TEXT as SMALL_TEE
from weldsim.case.load import load_case, parse_case
from weldsim.cli.main import app
from weldsim.errors import CaseError, ConvergenceError, WeldsimError
from weldsim.geometry.grades import GRADES
from weldsim.report.study_records import correction_record
from weldsim.schema.tolerance import read_tolerance
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import start_state
from weldsim.studies import correction as correct
from weldsim.studies.correction import (
    BAND,
    Correction,
    Outcome,
    _opened,
    _pull,
    _without,
    find_correction,
    limit_of,
    peak_under,
    power_for,
    with_lines,
)
from weldsim.studies.correction_lines import candidates, joined
from weldsim.studies.targets import grade_below
from weldsim.text.correction_words import correction_words

ONE = CASES / "pivot_arm_one_bead.toml"
SMALL = (
    "part.length=80 mm", "part.width=14 mm", "weld.A.at=50 mm", "weld.A.speed=4 mm/s",
)  # fmt: skip
COLUMNS = ["pointer_up_mrad", "pointer_right_mrad"]


def finished(case):
    """Model of a case with room for lines, and its state before anything: cold, nothing laid."""
    lines = candidates(case, "line")
    model = build_model(with_lines(case, lines), "coarse")
    first = len(case.welds)
    return model, _without(start_state(model), range(first, first + len(lines)))


@pytest.fixture(scope="module")
def bar():
    return finished(load_case(ONE, SMALL))


def three_sides():
    """The mast stub with its last seam left unwelded."""
    order = 'schedule.order=["front:+x", "back:-x", "left:uphill"]'
    return load_case(CASES / "mast_stub.toml", (order,))


def test_lines_lie_where_there_is_room():
    """A bar: behind its bead and along its edges; a joint: its seams, without filler."""
    lines = candidates(load_case(ONE), "line")
    assert not any(w.filler for w, _ in lines)
    faces = {b.name: b.face for b in joined(load_case(ONE), lines).part.beads}
    assert faces.pop("A") == "front"
    assert faces == {"line behind A": "back", "line on top": "top", "line on bottom": "bottom"}
    assert all(w.filler for w, _ in candidates(load_case(ONE), "bead"))
    beads = {w.name: w for w, _ in candidates(three_sides(), "bead")}
    assert list(beads) == ["bead right"] and beads["bead right"].filler
    assert beads["bead right"].half_width == pytest.approx(three_sides().welds[0].half_width)
    stub = [w for w, _ in candidates(load_case(CASES / "mast_stub.toml"), "line")]
    assert [w.seam for w in stub] == ["front", "back", "left", "right"]
    assert not any(w.filler for w in stub)


def test_a_pass_lies_on_the_one_below_it():
    """Of three passes a seam that is not welded takes the first, one with a root the second."""
    body = SMALL_TEE[: SMALL_TEE.index("[plan]")]
    case = parse_case(body, "s.toml", ('schedule.order=["front:+x"]', "part.passes=3"))
    rooted = replace(case, welds=tuple(w for w in case.welds if w.number == 1))
    for welded, expected in ((case, ["bead back, pass 1"]),
                             (rooted, ["bead front, pass 2", "bead back, pass 1"])):  # fmt: skip
        assert [w.name for w, _ in candidates(welded, "bead")] == expected


def test_the_limit_of_carbon_steel_is_the_handbooks():
    """weld_handbook.md 7: heat straightening, limit about 650 degC. Others have to be stated."""
    assert limit_of(load_case(ONE)) == pytest.approx(650 + 273.15)
    other = load_case(CASES / "pivot_arm_stainless.toml")
    with pytest.raises(CaseError, match="--limit with one"):
        limit_of(other)
    assert limit_of(other, 700.0) == 700.0


@pytest.mark.parametrize("limit", [290.0, 340.0, 2500.0])
def test_a_limit_that_makes_no_sense_is_refused(limit):
    """Below what a line heats to at all, or above where the metal melts."""
    with pytest.raises(CaseError, match="limit .* degC is not allowed: .* to .* degC") as refusal:
        limit_of(load_case(ONE), limit)
    assert "\n" not in str(refusal.value)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--limit", "hot"], "--limit: 'hot'"),
        (["--limit", "650"], "--limit: '650'"),
        (["--limit", "20 degC"], "is not allowed"),
        (["--limit", "650 degC", "--kind", "bead"], "goes with --kind line"),
        (["--tolerance", "1 kg"], "tolerance: '1 kg'"),
    ],
)
def test_the_options_are_refused_in_one_line(options, words):
    found = CliRunner().invoke(app, ["correct", str(ONE), *options])
    assert found.exit_code != 0 and isinstance(found.exception, WeldsimError)
    assert words in str(found.exception) and "\n" not in str(found.exception)


def test_limit_and_tolerance_reach_the_search(monkeypatch, tmp_path):
    seen = {}

    def find(case, gauge, kind, **rest):
        seen.update(rest)
        raise WeldsimError("enough")

    monkeypatch.setattr("weldsim.cli.correct.find_correction", find)
    CliRunner().invoke(app, ["correct", str(ONE), "--limit", "600 degC", "--tolerance", "2 mrad"])
    assert seen["limit"] == pytest.approx(873.15) and seen["tolerance"] == "2 mrad"


def test_shrinkage_turns_the_part_toward_the_line(bar):
    """Must-hold 17 (mechanical_checks.md 10): bow concave to the weld. A line on the back turns
    the end to the back, right of the beam; one along an edge turns it toward that edge."""
    model, state = bar
    names = [w.name for w in model.case.welds]
    up, right = 0, 1
    back, top, bottom = (
        _pull(model, state, names.index(n), COLUMNS)
        for n in ("line behind A", "line on top", "line on bottom")
    )
    assert back[right] > 0 and abs(back[up]) < 1e-3 * back[right]
    assert top[up] > 0
    assert bottom[up] == pytest.approx(-top[up], rel=1e-6)


def test_power_keeps_a_line_under_its_limit(bar):
    """Hottest metal within the band below 650 degC, and nothing is laid."""
    model, state = bar
    limit = 650 + 273.15
    opened = _opened(_without(state, [0]), 1)  # the bead itself is not welded here
    power, peak = power_for(model, opened, 1, limit)
    assert limit - BAND <= peak <= limit
    assert peak_under(model, opened, 1) > limit  # the weld's own power would be too much
    assert 0 < power < model.case.welds[1].power
    assert not model.active_points(opened)[np.concatenate(
        [m for n, m in model.part.regions.items() if n.startswith("bead")])].any()  # fmt: skip


@pytest.mark.parametrize(
    ("path", "changes", "options", "words"),
    [
        (ONE, ("solve.model=elastic",), {}, "plastic"),
        (ONE, (), {"kind": "spot"}, '"line" or "bead"'),
        (ONE, (), {"gauge": "dial"}, "allowed: pointer"),
        (CASES / "mast_stub.toml", (), {"kind": "bead"}, 'every seam .* allowed: kind "line"'),
        (ONE, (), {"names": ("A",)}, "allowed: line behind A, line on top, line on bottom"),
    ],
)
def test_refusals(path, changes, options, words):
    with pytest.raises(CaseError, match=words):
        find_correction(load_case(path, changes), **options)


def test_words_claim_no_more_than_was_found():
    made = Outcome("line on top", "heating line along the top edge", 200.0, 900.0, {"a": 1.0}, 1.0)
    found = Correction(
        "t", "pointer", "line", "mrad", {"a": 4.0}, 4.0, 923.15, {"x": -1.0}, (made,)
    )
    words = " ".join(correction_words(found))
    assert "brings it to 1 mrad, without an error estimate" in words and "Draw one" in words
    sure = replace(
        found, error=0.4, error_from="difference to x", verdict="too close to call",
        tolerance=read_tolerance("1 mrad", "angle"),
    )  # fmt: skip
    words = " ".join(correction_words(sure))
    assert "stated error 0.4 (difference to x): too close to call, tolerance " in words
    assert "not sure" not in words and "not sure" in " ".join(
        correction_words(replace(sure, error=3.5)))  # fmt: skip
    worse = Correction(
        "t", "pointer", "line", "mrad", {"a": 0.5}, 0.5, 923.15, {"x": -1.0}, (made,)
    )
    assert worse.best is None
    assert "None of 1 lines helps" in correction_words(worse)[1]
    assert correction_record(found)["limit_degC"] == pytest.approx(650)


def test_a_coarser_run_that_fails_takes_no_line_away(monkeypatch):
    good = Outcome("line behind A", "heating line", 200.0, 900.0, {"a": 1.0}, 1.0)

    def tried(case, gauge, lines, kind, grade, *rest):
        if grade == "coarse":
            raise ConvergenceError("no equilibrium")
        return {"a": 4.0}, {good.name: -1.0}, (good,)

    monkeypatch.setattr(correct, "_tried", tried)
    found = find_correction(load_case(ONE), grade="quick")
    assert found.best is good and found.error is None
    assert "the coarser run failed" in " ".join(correction_words(found))


@pytest.mark.slow
def test_a_line_behind_the_bead_turns_the_bar_back():
    """Computed in full: toward the line, as every shrinking side (must-hold 17), under 650 degC."""
    found = find_correction(load_case(ONE, SMALL), grade="coarse", names=("line behind A",))
    assert found.grade == "coarse" and found.error > 0 and "grade sketch" in found.error_from
    (line,) = found.outcomes
    assert found.before["pointer_right_mrad"] < 0  # welding turned it toward the front
    assert line.name == "line behind A"
    assert line.reading["pointer_right_mrad"] > found.before["pointer_right_mrad"] + 0.05
    assert line.peak <= 650 + 273.15 + 1.0
    assert found.best is line


@pytest.mark.slow
def test_a_second_fillet_brings_a_tee_back_and_the_other_way_more():
    """Common practice: the side that shrinks pulls the part toward it, so the fillet opposite takes
    back what the first did; along the travel two opposite welds run the same way pull further,
    run opposite ways they nearly cancel."""
    body = SMALL_TEE[: SMALL_TEE.index("[plan]")]
    one = ('schedule.order=["front:+x"]', "solve.model=plastic")
    found = find_correction(parse_case(body, "small.toml", one), kind="bead", grade="sketch")
    up, right = COLUMNS
    ends = {o.words.rpartition(" ")[2]: o.reading for o in found.outcomes}
    assert set(ends) == {"+x", "-x"} and found.best.words.endswith("-x")
    for end in ends.values():
        assert abs(end[up]) < 0.6 * abs(found.before[up])
    assert abs(ends["+x"][right]) > 1.5 * abs(found.before[right])
    assert abs(ends["-x"][right]) < 0.5 * abs(found.before[right])
    assert found.error is None and found.verdict == "too close to call"  # none below a sketch
    assert "Lay one bead" in " ".join(correction_words(found))


def test_each_grade_but_the_roughest_has_one_below():
    """README names the grades from coarse to fine; a sketch is rougher than all."""
    below = {g: grade_below(g) for g in GRADES}
    assert below == {
        "sketch": None, "coarse": "sketch", "quick": "coarse", "normal": "quick", "fine": "normal",
    }  # fmt: skip
