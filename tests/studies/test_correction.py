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
from weldsim.report.study_records import correction_record
from weldsim.runs.error_estimate import ErrorEstimate
from weldsim.schema.column import Column
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import start_state
from weldsim.studies import correction as correct
from weldsim.studies.correction import (
    Correction,
    LineChoice,
    Outcome,
    find_correction,
    pull,
    with_lines,
)
from weldsim.studies.correction_lines import candidates, joined
from weldsim.studies.line_power import (
    BAND_UNDER_LIMIT,
    limit_of,
    opened,
    peak_under,
    power_for,
    without_welds,
)
from weldsim.studies.targets import target_of
from weldsim.text.correction_words import correction_words

ONE = CASES / "pivot_arm_one_bead.toml"
SMALL = (
    "part.length=80 mm", "part.width=14 mm", "weld.A.at=50 mm", "weld.A.speed=4 mm/s",
)  # fmt: skip
UP, RIGHT = COLUMNS = tuple(Column("pointer", d, "mrad") for d in ("up", "right"))


def finished(case):
    """Model of a case with room for lines, and its state before anything: cold, nothing laid."""
    lines = candidates(case, "line")
    model = build_model(with_lines(case, lines), "coarse")
    first = len(case.welds)
    return model, without_welds(start_state(model), range(first, first + len(lines)))


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
    assert beads["bead right"].arc.half_width == pytest.approx(
        three_sides().welds[0].arc.half_width
    )
    stub = [w for w, _ in candidates(load_case(CASES / "mast_stub.toml"), "line")]
    assert [w.seam for w in stub] == ["right", "back", "left", "front"]
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
    with pytest.raises(CaseError, match="limit .* °C is not allowed: .* to .* °C") as refusal:
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

    def find(case, target, choice, options):
        seen.update(limit=choice.limit, tolerance=target.tolerance)
        raise WeldsimError("enough")

    monkeypatch.setattr("weldsim.cli.correct.find_correction", find)
    CliRunner().invoke(app, ["correct", str(ONE), "--limit", "600 degC", "--tolerance", "2 mrad"])
    assert seen["limit"] == pytest.approx(873.15) and seen["tolerance"].text == "2 mrad"


def test_shrinkage_turns_the_part_toward_the_line(bar):
    """Must-hold 17 (mechanical_checks.md 10): bow concave to the weld. A line on the back turns
    the end to the back, right of the beam; one along an edge turns it toward that edge."""
    model, state = bar
    names = [w.name for w in model.case.welds]
    up, right = 0, 1
    back, top, bottom = (
        pull(model, state, names.index(n), COLUMNS)
        for n in ("line behind A", "line on top", "line on bottom")
    )
    assert back[right] > 0 and abs(back[up]) < 1e-3 * back[right]
    assert top[up] > 0
    assert bottom[up] == pytest.approx(-top[up], rel=1e-6)


def test_power_keeps_a_line_under_its_limit(bar):
    """Hottest metal within the band below 650 degC, and nothing is laid."""
    model, state = bar
    limit = 650 + 273.15
    ahead = opened(without_welds(state, [0]), 1)  # the bead itself is not welded here
    power, peak = power_for(model, ahead, 1, limit)
    assert limit - BAND_UNDER_LIMIT <= peak <= limit
    assert peak_under(model, ahead, 1) > limit  # the weld's own power would be too much
    assert 0 < power < model.case.welds[1].arc.power
    assert not model.active_points(ahead)[np.concatenate(
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
    case = load_case(path, changes)
    with pytest.raises(CaseError, match=words):
        target = target_of(case, options.pop("gauge", None))
        find_correction(case, target, LineChoice(**options))


def correction(before, **more):
    """A correction of a pointer that stands so far off [mrad], with one line computed to 1 mrad."""
    made = Outcome("line on top", "heating line along the top edge", 200.0, 900.0, {UP: 1e-3})
    target = target_of(load_case(ONE), tolerance="1 mrad", grade="coarse")
    values = {"estimate": ErrorEstimate(), "verdict": "", **more}
    return Correction(
        "t", target, kind="line", before={UP: 1e-3 * before}, limit=923.15, promise={"x": -1.0},
        outcomes=(made,), **values,
    )  # fmt: skip


def test_words_claim_no_more_than_was_found():
    found = correction(4.0)
    words = " ".join(correction_words(found))
    assert (
        "0.0573°, 1.00 mm/m, 1.00 mrad), without an estimated error" in words
        and "Draw one" in words
    )

    def estimated(error):
        return ErrorEstimate({UP: 1e-3 * error}, "difference to x")

    sure = replace(found, estimate=estimated(0.4), verdict="too close to call")
    words = " ".join(correction_words(sure))
    assert "estimated error 1.6 mm (difference to x): too close to call, tolerance " in words
    assert "not sure" not in words and "not sure" in " ".join(
        correction_words(replace(sure, estimate=estimated(3.5))))  # fmt: skip
    worse = correction(0.5)
    assert worse.best is None
    assert "None of 1 lines helps" in correction_words(worse)[1]
    assert correction_record(found)["limit_degC"] == pytest.approx(650)


def test_a_coarser_run_that_fails_takes_no_line_away(monkeypatch):
    good = Outcome("line behind A", "heating line", 200.0, 900.0, {UP: 1e-3})

    def tried(case, target, *rest):
        if target.grade == "coarse":
            raise ConvergenceError("no equilibrium")
        return {UP: 4e-3}, {good.name: -1.0}, (good,)

    monkeypatch.setattr(correct, "computed_lines", tried)
    case = load_case(ONE)
    found = find_correction(case, target_of(case, grade="quick"))
    assert found.best is good and found.error is None
    assert "the coarser run failed" in " ".join(correction_words(found))


def test_a_line_that_fails_at_the_coarser_grade_is_said(monkeypatch):
    good = Outcome("line behind A", "heating line", 200.0, 900.0, {UP: 1e-3})

    def tried(case, target, *rest):
        return {UP: 4e-3}, {good.name: -1.0}, () if target.grade == "coarse" else (good,)

    monkeypatch.setattr(correct, "computed_lines", tried)
    case = load_case(ONE)
    found = find_correction(case, target_of(case, grade="quick"))
    assert found.best is good and found.error is None
    assert "at grade coarse the line could not be computed" in " ".join(correction_words(found))


@pytest.mark.slow
def test_a_line_behind_the_bead_turns_the_bar_back():
    """Computed in full: toward the line, as every shrinking side (must-hold 17), under 650 degC."""
    case = load_case(ONE, (*SMALL, "part.thickness=6 mm", "weld.A.current=150 A"))
    choice = LineChoice(names=("line behind A",))
    found = find_correction(case, target_of(case, grade="coarse"), choice)
    assert found.target.grade == "coarse"
    assert found.error > 0 and "grade sketch" in found.estimate.how
    (line,) = found.outcomes
    assert found.before[RIGHT] < 0  # welding turned it toward the front
    assert line.name == "line behind A"
    assert line.reading[RIGHT] > found.before[RIGHT] + 0.05e-3
    assert line.peak <= 650 + 273.15 + 1.0
    assert found.best is line


@pytest.mark.slow
def test_a_second_fillet_brings_a_tee_back_and_the_other_way_more():
    """Common practice: the side that shrinks pulls the part toward it, so the fillet opposite takes
    back what the first did; along the travel two opposite welds run the same way pull further,
    run opposite ways they nearly cancel."""
    body = SMALL_TEE[: SMALL_TEE.index("[plan]")]
    one = ('schedule.order=["front:+x"]', "solve.model=plastic")
    case = parse_case(body, "small.toml", one)
    found = find_correction(case, target_of(case, grade="sketch"), LineChoice("bead"))
    up, right = COLUMNS
    ends = {o.words.rpartition(" ")[2]: o.reading for o in found.outcomes}
    assert set(ends) == {"+x", "-x"} and found.best.words.endswith("-x")
    for end in ends.values():
        assert abs(end[up]) < 0.6 * abs(found.before[up])
    assert abs(ends["+x"][right]) > 1.5 * abs(found.before[right])
    assert abs(ends["-x"][right]) < 0.5 * abs(found.before[right])
    assert found.error is None and found.verdict == "too close to call"  # none below a sketch
    assert "Lay one bead" in " ".join(correction_words(found))
