"""Mirror images of a bar's sequences, and how ties are said."""

from dataclasses import replace
from importlib.resources import files

import pytest

from tests.studies.small import Here, small_plan
from weldsim.simulation.steps import build_model, simulate
from weldsim.studies.plan.outcomes import Outcome, evaluate
from weldsim.studies.plan.rows import Study, ranked
from weldsim.studies.plan.space import parse_plan
from weldsim.studies.plan.symmetry import symmetries
from weldsim.text.plan_words import images_words, level_words, tie_words, worst_words

BAR = (files("weldsim") / "data" / "starters" / "bar.toml").read_text(encoding="utf-8")
PLAN = '\n[plan]\nmeasure = "pointer"\ntolerance = "2 mrad"\ngrade = "sketch"\n'
ELASTIC = 'solve.model="elastic"'


def bar_plan(*changes):
    return parse_plan(BAR + PLAN, "bar.toml", changes)


@pytest.mark.parametrize(
    ("changes", "count"),
    [
        ((), 2),  # beads over the whole width: seen in the mirror at mid width, up is down
        (('weld.A.to="15 mm"',), 1),  # a bead that ends short of the top edge has no image
        (('clamping.release="cold"',), 1),  # let go, it is read against three points of its own
        (('weld.B.face="back"',), 2),
    ],
)
def test_a_bar_has_the_mirror_that_geometry_says(changes, count):
    """The bar, its clamp and beads laid straight across have one mirror plane: mid width."""
    plan = bar_plan(*changes)
    moves = next(plan.schedules())
    model = build_model(plan.bound(plan.settings[0], moves), "sketch", 1)
    found = symmetries(model, plan.lines, plan.words, dict(moves))
    assert len(found) == count
    if count == 2:
        assert found[1].of_moves(moves) == tuple((s, -w) for s, w in moves)


@pytest.mark.slow
def test_the_image_of_a_bars_sequence_is_its_run(tmp_path):
    """Read off the mirror, against a plain run of the image. The mesh is symmetric to 1e-7 m, the
    solver to about 1e-8."""
    plan = bar_plan(ELASTIC)
    moves = (("A", -1), ("B", 1))
    found = evaluate(plan, 0, plan.schedules(), "sketch", tmp_path, Here())
    assert len(list((tmp_path / "branches").glob("*.json"))) == 6  # of 12 without the mirror
    *_, last = simulate(build_model(plan.bound(plan.settings[0], moves), "sketch", 1))
    for column, value in last.gauges.items():
        assert found[moves].readings[column] == pytest.approx(value, abs=1e-5 * (1 + abs(value)))


def study_of(ends, groups=None):
    """Rows that end at made-up measures, in mrad."""
    plan = small_plan("plan.confirm=0")
    keys = [(0, m) for m, _ in zip(plan.schedules(), ends, strict=False)]
    fast = {k: Outcome(final=1e-3 * e, worst=1e-3 * e) for k, e in zip(keys, ends, strict=True)}
    rows = ranked(plan, fast, {}, groups or {k: k for k in keys})
    return Study(plan, rows, False, 1.0, len(ends)), keys


def test_the_worst_is_the_whole_tie():
    """22.7 and 22.7004 mrad read the same at three figures, 22.6 and 22.7 do not."""
    study, _ = study_of([1.0, 22.7, 22.7004])
    said = str(worst_words(study))
    assert "they end alike" in said and said.count(";") == 1
    for row in study.rows[1:]:
        assert study.plan.text(row.moves) in said
    assert tie_words(study, study.rows[1]) == "a tie, to the figures shown, with row 3"
    assert tie_words(study, study.rows[0]) == ""
    alone = str(worst_words(study_of([1.0, 22.6, 22.7])[0]))
    assert "alike" not in alone and ";" not in alone


def test_who_ties_with_the_first_is_named_where_nothing_tells_them_apart():
    study, _ = study_of([5.0, 5.0, 9.0])
    assert study.plan.text(study.rows[1].moves) in level_words(study)
    assert study.plan.text(study.rows[2].moves) not in level_words(study)


def test_a_mirror_image_is_said_with_the_worst_and_in_words():
    study, keys = study_of([1.0, 7.0])
    row = replace(study.rows[1], images=(tuple((s, -w) for s, w in study.rows[1].moves),))
    both = replace(study, rows=(study.rows[0], row))
    assert "with its mirror image" in str(worst_words(both))
    assert "reverse travel" in images_words(study.plan, row)
    (a, b), *_ = [m for _, m in keys]
    half = replace(study.rows[0], moves=(a, b), images=((a, (b[0], -b[1])),))
    assert images_words(study.plan, half) == "its mirror image ends equally far off"
