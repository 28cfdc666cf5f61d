"""What an advice takes, said before it is begun."""

import pytest

from tests.studies.small import Here, small_plan
from weldsim.studies.next.cost import AdviceCost, advice_cost
from weldsim.studies.next.given import OpenedStudy
from weldsim.studies.next.unknowns import unknowns_of
from weldsim.studies.plan.branches import read_branch
from weldsim.studies.plan.outcomes import evaluate
from weldsim.text.next_words import advice_cost_line


@pytest.mark.slow
def test_an_advice_costs_the_welds_that_are_missing(tmp_path):
    """After one of two welds: it once, once more for each unknown, and each way to lay the other,
    counted by hand; a weld that lies there is not counted, and says what one takes here."""
    plan = small_plan()
    study, done = OpenedStudy(plan, tmp_path), next(plan.schedules())[:1]
    ways = len(list(plan.continuations(done)))
    before = advice_cost(study, done)
    assert not before.measured and before.each > 0
    # the past and its changes; then the same weld before its ways on
    assert before.welds == 1 + len(unknowns_of(plan)) + 1 + ways
    evaluate(plan, 0, [done], plan.section.grade, tmp_path, Here())
    after = advice_cost(study, done)
    assert after.measured and before.welds - after.welds == 2
    (record,) = (read_branch(tmp_path, p.stem) for p in tmp_path.rglob("*.json"))
    assert after.each == record["processor_seconds"]


@pytest.mark.parametrize(
    "cost, processes, said",
    [
        (AdviceCost(0, 3.0, True), 2, "All of it was computed before."),
        (AdviceCost(12, 30.0, True), 2,
         "Expect about 3 min: 12 welds to compute, 2 side by side (as those before took)."),
        (AdviceCost(1, 30.0, False), 2,
         "Expect about 30 s: 1 weld to compute (good to a factor of two)."),
        (AdviceCost(5, 30.0, True), None,
         "5 welds to compute, about 30 s each (as those before took)."),
    ],
)  # fmt: skip
def test_it_is_said_in_one_line(cost, processes, said):
    assert advice_cost_line(cost, processes) == said
