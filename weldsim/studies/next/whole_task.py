"""How far the whole of an advice is: all its runs are one task, with one time left."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from weldsim.studies.plan.branches import FOLDER, bind
from weldsim.studies.plan.outcomes import Progress, root_job
from weldsim.studies.plan.prefix_tree import PrefixTree
from weldsim.studies.plan.space import Moves, Plan

Following = Callable[[int], float]  # welds here -> welds like them that follow; see `evaluate`


class WholeTask:
    """Parts of a task in turn, each told as the share of the whole that it is.

    Parameters
    ----------
    tell : callable(share, text)
        Of the whole.
    welds : sequence of int
        Still to be computed in each part.
    """

    def __init__(self, tell: Progress, welds: Sequence[int]) -> None:
        self._tell, self._welds, self._next = tell, list(welds), 0

    def part(self) -> tuple[Progress, Following]:
        """The next part.

        Returns
        -------
        tell : callable(share, text)
            Of this part.
        ahead : callable(welds)
            How many welds follow after it.
        """
        at, self._next = self._next, self._next + 1
        sizes = [n + 1 for n in self._welds]  # a part that lies there already takes a moment
        before, whole, count = sum(sizes[:at]), sum(sizes), len(sizes)

        def tell(share: float, text: str) -> None:
            # what lies there took its time on another day: it says nothing of what is left
            said = text if self._welds[at] else "computed already"
            self._tell((before + share * sizes[at]) / whole, f"part {at + 1} of {count}, {said}")

        return tell, lambda welds: float(sum(self._welds[at + 1 :]))


def branches_of(
    plan: Plan, like: Plan, setting: int, rows: Iterable[Moves], folder: str | Path
) -> list[Path]:
    """Files of the welds that rows of moves need, whether they are there or not.

    Parameters
    ----------
    plan : Plan
        Whose branches they are.
    like : Plan
        Of the same part, meshed already: its mirrors are taken.
    setting : int
        Number in `plan.settings`.
    rows : iterable of rows of moves
        From the start.
    folder : path
        Of the study.

    Returns
    -------
    list of Path
        Each once, however many rows share it.
    """
    grade = plan.section.grade
    root = root_job(plan, setting, grade, folder)
    tree = PrefixTree(root.plan, root, bind(root_job(like, 0, grade, folder)).symmetries)
    for moves in rows:
        tree.add(moves)
    there = Path(root.folder) / FOLDER
    return [there / f"{job.name}.json" for job in tree.jobs.values()]


def welds_missing(
    plan: Plan, like: Plan, setting: int, rows: Iterable[Moves], folder: str | Path
) -> int:
    """Welds that rows of moves need and that a study's folder does not hold yet.

    Parameters
    ----------
    plan, like, setting, rows, folder
        As in `branches_of`.

    Returns
    -------
    int
        Each once, however many rows share it.
    """
    return sum(not path.exists() for path in branches_of(plan, like, setting, rows, folder))
