"""Where to clamp: against made-up ends that are known, then on the real model."""

import json

import pytest

from tests.studies.test_preset import tee
from weldsim.case.load import load_case
from weldsim.errors import CaseError, ConvergenceError
from weldsim.report.study_records import write_clamps
from weldsim.schema.column import Column
from weldsim.studies import clamp_search
from weldsim.studies.clamp_search import (
    ClampChoice,
    choices_of,
    find_clamps,
    with_clamps,
)
from weldsim.studies.targets import SearchOptions, target_of
from weldsim.text.clamp_words import clamp_lines, clamp_words

UP = Column("pointer", "up", "mrad")


def found_clamps(case, grade=None, **options):
    """The search as the command line starts it."""
    return find_clamps(case, target_of(case, grade=grade), SearchOptions(**options))


def invented(ends):
    """Runs that end as told: faces -> size [mrad], or an error."""

    def run(case, faces, target, options):
        size = ends[faces]
        if isinstance(size, str):
            return ClampChoice(faces, {}, 0.0, size)
        shift = 0.1 if target.grade == "coarse" else 0.0
        return ClampChoice(faces, {UP: 1e-3 * (size + shift)}, 1500.0)

    return run


def test_every_set_of_free_faces_is_a_choice():
    case = tee()
    held = {face for clamp in case.clamps for face in clamp.at}
    sets = choices_of(case)
    assert sets[0] == () and len(set(sets)) == len(sets)
    assert not any(held & set(s) for s in sets)
    free = {face for s in sets for face in s}
    assert len(sets) == 2 ** len(free) and len(free) == 4  # ends of the tee, base back, stem top
    assert sorted(map(len, sets)) == [len(s) for s in sets]  # fewest clamps first


def test_the_clamps_are_in_the_case_until_it_is_cold():
    case = with_clamps(tee(), ("stem top",))
    clamp = next(c for c in case.clamps if c.name == "held-stem-top")
    assert clamp.at == ("stem top",) and clamp.off.kind == "cold" and clamp.kind == "rigid"
    assert case.welds == tee().welds


def test_the_best_is_said_with_its_error_and_what_to_paste(monkeypatch, tmp_path):
    case = tee('gauge.pointer.tolerance="0.5 mrad"')
    sets = choices_of(case)
    ends = {s: 3.0 - 0.1 * n for n, s in enumerate(sets)}
    ends[sets[1]], ends[sets[2]] = 0.2, "no equilibrium"
    monkeypatch.setattr(clamp_search, "run_choice", invented(ends))
    found = found_clamps(case, grade="quick")
    assert found.best.faces == sets[1] and found.choices[-1].error == "no equilibrium"
    assert found.error == pytest.approx(0.1e-3) and found.verdict == "inside"
    assert str(found.target.tolerance).endswith("0.5 mrad")  # the gauge's own
    words = "\n".join(clamp_words(found))
    # 0.2 mrad over 5 m are 1 mm and 0.0115 degrees; half of it the error
    assert "1.0 mm over 5 m (0.011°, 0.20 mm/m, 0.20 mrad) from zero" in words
    assert "estimated error 0.50 mm (" in words and "inside (prediction, approves" in words
    assert "1500 N" in words and "loosen clamps" in words
    path = write_clamps(found, tmp_path / "new" / "preset.json")
    record = json.loads(path.read_text())
    assert record["case_lines"] == clamp_lines(found)
    assert (
        len(record["choices"]) == clamp_search.MOST_RUNS
        and record["untried"] == len(sets) - clamp_search.MOST_RUNS
    )
    assert f"{record['untried']} larger sets of faces were not tried" in words
    again = tee_with(record["case_lines"])
    assert any(c.at == sets[1] for c in again.clamps)


def tee_with(lines):
    from weldsim.case.load import parse_case

    case = tee()
    text = case.source_text + "\n" + "\n".join(lines)
    return parse_case(text, case.source_file, case.overrides)


def test_a_coarser_run_that_fails_is_said(monkeypatch):
    def run(case, faces, target, options):
        failed = "no equilibrium" if target.grade == "coarse" else ""
        return ClampChoice(faces, {UP: 1e-3}, 0.0, failed)

    monkeypatch.setattr(clamp_search, "run_choice", run)
    found = found_clamps(tee(), grade="quick")
    assert found.error is None and "the coarser run failed" in clamp_words(found)[1]


def test_nothing_better_than_nothing(monkeypatch):
    case = tee()
    ends = dict.fromkeys(choices_of(case), 2.0)
    monkeypatch.setattr(clamp_search, "run_choice", invented(ends))
    found = found_clamps(case, grade="coarse")  # no grade below it
    assert found.best.faces == () and clamp_lines(found) == []
    assert found.error is None and "Clamp nothing more" in clamp_words(found)[0]


def test_refusals_are_one_line(monkeypatch):
    with pytest.raises(CaseError, match="held by .clamping. alone"):
        found_clamps(load_case("cases/pivot_arm.toml"))
    case = tee()
    monkeypatch.setattr(
        clamp_search, "run_choice", invented(dict.fromkeys(choices_of(case), "stuck"))
    )
    with pytest.raises(ConvergenceError, match="no set of clamps could be computed: stuck"):
        found_clamps(case)


def test_a_stated_end_does_not_leave_the_clamps_on(monkeypatch):
    """Cold and let go is what counts: a clamp that still holds would always seem to win."""
    seen = []

    def build(case, grade, threads):
        seen.append(case.solve.end)
        raise ConvergenceError("enough")

    monkeypatch.setattr(clamp_search, "build_model", build)
    with pytest.raises(ConvergenceError):
        found_clamps(tee("solve.end=40 s"), grade="coarse")
    assert set(seen) == {"cold"}


@pytest.mark.slow
def test_what_is_held_moves_less_and_bears_a_force(monkeypatch):
    """A part locked in a frame keeps the stress instead of moving (common practice): the clamp on
    the stem bears a force until it is let go, and the part then ends nearer to true than one that
    was free. How much nearer is not asked: the model springs back nine tenths of the way."""
    monkeypatch.setattr(clamp_search, "choices_of", lambda case: [(), ("stem top",)])
    found = found_clamps(tee(), grade="coarse", estimate=False)
    by = {h.faces: h for h in found.choices}
    free, held = by[()], by[("stem top",)]
    assert free.force == 0.0 and held.force > 10.0
    assert held.size < free.size and found.best is held
