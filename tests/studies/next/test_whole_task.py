"""How far an advice is: shares of one whole, and welds that are still to come."""

import pytest

from tests.studies.small import Here, small_plan
from weldsim.studies.next.whole_task import WholeTask, welds_missing
from weldsim.studies.plan.outcomes import evaluate


def test_parts_make_one_whole_that_only_grows():
    """2, 0 and 6 welds: counted by hand what follows after each part; the shares end at 1."""
    told = []
    task = WholeTask(lambda share, text: told.append((share, text)), [2, 0, 6])
    following = []
    for _ in range(3):
        tell, ahead = task.part()
        following.append(ahead(0))
        for share in (0.0, 0.5, 1.0):
            tell(share, "weld 1 of 2")
    shares = [share for share, _ in told]
    assert following == [6.0, 6.0, 0.0]
    assert shares == sorted(shares) and shares[0] == 0.0 and shares[-1] == pytest.approx(1.0)
    assert shares[2] == pytest.approx(3 / 11)  # each part counts one for its own beginning
    assert told[3][1] == "part 2 of 3, computed already"
    assert told[0][1] == "part 1 of 3, weld 1 of 2" and told[-1][1].startswith("part 3 of 3")


def test_the_time_left_of_a_part_is_that_of_all_that_follows(tmp_path):
    """The clock of one weld with ten thousand like it to come says more than none."""
    plan, told = small_plan(), []
    moves = next(plan.schedules())[:1]
    assert welds_missing(plan, plan, 0, plan.schedules(), tmp_path) == 3  # see test_branches
    evaluate(plan, 0, [moves], "sketch", tmp_path, Here(), lambda s, t: told.append(t),
             ahead=lambda welds: 1e4)  # fmt: skip
    assert welds_missing(plan, plan, 0, plan.schedules(), tmp_path) == 2
    assert told[-1].startswith("weld 1 of 1, about ") and not told[-1].startswith(
        "weld 1 of 1, about 0 s"
    )
