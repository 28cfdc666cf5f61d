"""Runs of a search are kept by what they depend on: what was run once is not run again."""

from dataclasses import replace

import pytest

from tests.studies.small import TEXT
from weldsim.case.load import parse_case
from weldsim.schema.column import Column, Readings
from weldsim.studies import clamp_search, preset
from weldsim.studies.clamp_search import run_choice
from weldsim.studies.kept_runs import KeptRuns
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

    monkeypatch.setattr(preset, "simulate", never)
    monkeypatch.setattr(clamp_search, "simulate", never)
    again, _ = run_trial(case, target, options)
    assert again.reading == trial.reading and again.size > 0
    assert run_choice(case, ("stem top",), target, options) == choice
    with pytest.raises(AssertionError):
        run_trial(with_lean(case, (0.002, 0.0, 0.0)), target, options)
