"""Spaces too large to run them all: the search against an objective whose best is known."""

import pytest

from tests.studies.small import Here, small_plan
from weldsim.studies.plan import search as search_module
from weldsim.studies.plan.outcomes import Outcome
from weldsim.studies.plan.search import search

optuna = pytest.importorskip("optuna")


def large(trials=80, seed=1, **more):
    """The saddle's four seams and the tee's names stand for eight: only orders are looked at."""
    plan = small_plan(f"plan.trials={trials}", f"plan.seed={seed}")
    words = {f"s{i}": {1: "+x", -1: "-x"} for i in range(8)}
    section = plan.section.model_copy(update=more)
    return type(plan)(plan.case, section, words, plan.settings, plan.tolerance)


def fake(plan, setting, schedules, grade, folder, executor, progress=None):
    """Number of pairs out of order, plus directions that point the wrong way; 0 is the best."""
    out = {}
    for moves in schedules:
        order = [int(s[1:]) for s, _ in moves]
        pairs = sum(a > b for i, a in enumerate(order) for b in order[i + 1 :])
        out[moves] = Outcome(final=1e-3 * (pairs + sum(w < 0 for _, w in moves)))
    return out


@pytest.fixture(autouse=True)
def cheap(monkeypatch):
    monkeypatch.setattr(search_module, "evaluate", fake)


def test_proposals_are_shown_as_they_come():
    """Rounds of eight, of which none is told twice: together they are the answer."""
    rounds = []
    found = search(large(40), "x", Here(), arrived=rounds.append)
    assert len(rounds) == 5 and max(map(len, rounds)) <= 8
    assert {key: outcome for some in rounds for key, outcome in some.items()} == found
    assert sum(map(len, rounds)) == len(found)


def test_a_seed_makes_it_repeatable():
    first, second = (search(large(40), "x", Here()) for _ in range(2))
    assert list(first) == list(second)
    assert list(first) != list(search(large(40, seed=2), "x", Here()))


def test_it_finds_better_than_chance():
    """Mean of random schedules: 14 pairs out of order, 4 directions (by hand: 28 / 2 + 8 / 2)."""
    fast = search(large(240), "x", Here())
    assert min(o.final for o in fast.values()) <= 6e-3


def test_rules_of_order_hold_in_every_proposal():
    plan = large(60, first=["s3"], last=["s5"], before=[["s7", "s0"], ["s0", "s1"]])
    for _, moves in search(plan, "x", Here()):
        assert plan.allowed(moves), moves
