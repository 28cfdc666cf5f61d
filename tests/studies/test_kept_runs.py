"""Runs of a search are kept by what they depend on: what was run once is not run again."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tests.places import CASES
from tests.studies.small import TEXT
from weldsim.case.load import load_case, parse_case
from weldsim.schema.column import Column, Readings
from weldsim.simulation.steps import build_model, start_state
from weldsim.studies import clamp_search, kept_runs
from weldsim.studies.clamp_search import run_choice
from weldsim.studies.correction import LineChoice, find_correction
from weldsim.studies.heat_sweep import crossover
from weldsim.studies.kept_runs import KeptRuns, run_on
from weldsim.studies.preset import run_trial, with_lean
from weldsim.studies.targets import SearchOptions, target_of

UP = Column("pointer", "up", "mrad")


@pytest.fixture
def case():
    return parse_case(TEXT, "small.toml")


def test_a_run_is_found_by_what_it_depends_on(case, tmp_path):
    kept = KeptRuns(tmp_path)
    kept.put(case, "sketch", Readings({UP: 2e-3}), 40.0)
    readings, force = kept.get(case, "sketch")
    assert readings[UP] == 2e-3 and force == 40.0
    assert kept.get(case, "coarse") is None
    assert kept.get(case.with_changes({"arc.current": "101 A"}), "sketch") is None
    assert kept.get(with_lean(case, (0.001, 0.0, 0.0)), "sketch") is None
    assert kept.get(replace(case, solve=replace(case.solve, end=5.0)), "sketch") is None
    assert kept.get(case.with_changes({"title": "another"}), "sketch") is not None
    for path in tmp_path.iterdir():
        path.write_text("{")
    assert kept.get(case, "sketch") is None  # damaged: it is run again


@pytest.mark.slow
def test_a_search_that_is_resumed_runs_nothing_twice(case, tmp_path, monkeypatch):
    options = SearchOptions(kept=KeptRuns(tmp_path))
    target = target_of(case, grade="sketch")
    trial, _ = run_trial(case, target, options)
    choice = run_choice(case, ("stem top",), target, options)

    def never(*_):
        raise AssertionError("it was run before")

    monkeypatch.setattr(kept_runs, "simulate", never)
    monkeypatch.setattr(clamp_search, "simulate", never)
    again, _ = run_trial(case, target, options)
    assert again.reading == trial.reading and again.size > 0
    assert run_choice(case, ("stem top",), target, options) == choice
    with pytest.raises(AssertionError):
        run_trial(with_lean(case, (0.002, 0.0, 0.0)), target, options)


class Stopped(BaseException):
    """As a signal ends a command, at any moment."""


def stopping(after: int):
    """Told of steps, as many as are said; and the list of what it was told."""
    told: list = []

    def tell(*what: object) -> None:
        told.append(what)
        if len(told) == after:
            raise Stopped

    return tell, told


def ten_steps(model, state):
    """A run that is over after ten steps of a second."""
    while state.time < 10.0:
        state = replace(state, time=state.time + 1.0)
        yield SimpleNamespace(state=state)


def test_a_run_that_is_stopped_goes_on_from_there(case, tmp_path, monkeypatch):
    """No step twice; what is drawn on the part tells runs apart; an end is forgotten when told."""
    monkeypatch.setattr(kept_runs, "simulate", ten_steps)
    model, kept = build_model(case, "sketch", threads=1), KeptRuns(tmp_path)
    tell, before = stopping(4)
    with pytest.raises(Stopped):
        run_on(model, start_state(model), tell, kept)
    assert kept.state(model).time == 4.0 and kept.state(model, "another line") is None
    tell, rest = stopping(0)
    assert run_on(model, start_state(model), tell, kept).time == 10.0
    assert (len(before), len(rest)) == (4, 6)
    tell, more = stopping(0)
    run_on(model, start_state(model), tell, kept)
    assert not more  # it is over
    for path in tmp_path.iterdir():
        path.write_bytes(b"no state")
    assert kept.state(model) is None  # damaged: it is run again
    kept.drop_state(model)
    assert not list(tmp_path.iterdir())


SMALL = ("part.length=80 mm", "part.width=14 mm", "weld.A.at=50 mm", "weld.A.speed=4 mm/s",
         "part.thickness=6 mm", "weld.A.current=150 A")  # fmt: skip


@pytest.mark.slow
def test_a_correction_and_a_row_of_heats_resume(tmp_path, monkeypatch):
    """Stopped three quarters through, then to the end of one that was never stopped."""
    case = load_case(CASES / "pivot_arm_one_bead.toml", SMALL)
    target = target_of(case, grade="sketch")
    choice = LineChoice(names=("line behind A",))
    monkeypatch.setattr(kept_runs, "EVERY", 0.0)

    def corrected(tell, kept=None):
        options = SearchOptions(False, progress=tell, kept=kept)
        return find_correction(case, target, choice, options)

    def swept(tell, kept=None):
        return crossover(case, (500.0, 900.0), "sketch", tell, kept=kept)

    for search, name in ((corrected, "line"), (swept, "row")):
        count, steps = stopping(0)
        whole = search(count)
        kept = KeptRuns(tmp_path / name)
        tell, before = stopping(3 * len(steps) // 4)
        with pytest.raises(Stopped):
            search(tell, kept)
        tell, rest = stopping(0)
        again = search(tell, kept)
        assert len(rest) <= len(steps) - len(before) + 1
        if name == "line":
            assert again.before == pytest.approx(whole.before, rel=1e-5)
            assert again.outcomes[0].reading == pytest.approx(whole.outcomes[0].reading, rel=1e-4)
        else:
            found, wanted = ([(p.along, p.toward) for p in f.points] for f in (again, whole))
            assert found == pytest.approx(np.array(wanted), rel=1e-4)
