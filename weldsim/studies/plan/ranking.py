"""Many sequences to a ranked table: all of them on shared branches, the best few run again.

The ranking runs the plastic model on a coarse mesh; the best of it, the middle and the last are run
again at a finer grade, which carries the rest over to that grade and says how well. What is known
is told as it grows. Pure bookkeeping around `outcomes`: it knows nothing of finite elements.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

from weldsim.errors import StoreError, WeldsimError
from weldsim.geometry.grades import GRADES
from weldsim.studies.plan.branches import FOLDER, bind
from weldsim.studies.plan.drift import drift_between
from weldsim.studies.plan.executor import Executor, executor_of
from weldsim.studies.plan.outcomes import Outcome, Progress, evaluate, root_job
from weldsim.studies.plan.rows import Key, Study, UnderWay, is_late, overlooked, ranked, to_confirm
from weldsim.studies.plan.search import search
from weldsim.studies.plan.space import LARGEST_FULL_STUDY, Moves, Plan, load_plan
from weldsim.studies.plan.symmetry import canonical

Growing = Callable[[Study], None]
WELD_COST = {  # of one weld against one at sketch, roughly, as seen on a tee
    "sketch": 1.0, "coarse": 2.0, "quick": 8.0, "normal": 70.0, "fine": 1000.0,
}  # fmt: skip
NEW_SHARE = 0.8  # of the welds of the sequences run again, the rest of which they have in common
BETWEEN_LOOKS = 2.0  # s, at least, from one look at a growing study to the next


def rank(
    plan: Plan | str | Path,
    folder: str | Path | None = None,
    workers: int | Executor | None = None,
    cluster: str | None = None,
    progress: Progress | None = None,
    confirm: bool = True,
    growing: Growing | None = None,
) -> Study:
    """Evaluate the sequences of a plan, rank them and run the best again.

    Parameters
    ----------
    plan : Plan or path
        A job with its choices, or a case file with a [plan] section.
    folder : path, optional
        Study folder, which keeps every weld that is computed: a study that was stopped resumes.
        One that is thrown away when left out.
    workers : int or Executor, optional
        Processes, or an executor that is open already; one process a core when left out.
    cluster : str, optional
        Address of a Dask scheduler, or "local" for one of this machine's own.
    progress : callable(share, text), optional
        Told how far the work is, 0 to 1.
    confirm : bool
        Run the best few again at a finer grade.
    growing : callable(Study), optional
        Given what is known while the study is under way, a few seconds apart.

    Returns
    -------
    Study
        Rows in order, the recommended one first.

    Raises
    ------
    CaseError
        For a mistake in a case file, one line each.
    WeldsimError
        If no sequence could be computed; the branches that could stay in the folder.
    """
    if not isinstance(plan, Plan):
        plan = load_plan(plan)
    tell = progress or (lambda share, text: None)
    with ExitStack() as stack:
        where = folder or stack.enter_context(TemporaryDirectory())
        # a cluster may refuse: then no folder is left behind
        executor = stack.enter_context(executor_of(workers, cluster))
        made = _study_folder(where)
        work = _Work(plan, made, executor, confirm and plan.section.confirm > 0, tell, growing)
        return work.done()


@dataclass
class _Work:
    """A study while it is computed: what is known so far, and whoever is told."""

    plan: Plan
    folder: Path
    executor: Executor
    confirm: bool
    tell: Progress
    growing: Growing | None
    fast: dict[Key, Outcome] = field(default_factory=dict)
    finer: dict[Key, Outcome] = field(default_factory=dict)
    coarser: dict[Key, Outcome] = field(default_factory=dict)
    groups: dict[Key, Key] = field(default_factory=dict)
    began: float = field(default_factory=time.perf_counter)
    looked: float = -BETWEEN_LOOKS
    now: UnderWay = UnderWay(0.0, "starting")
    ranking_share: float = 0.7  # of the work, where some are run again
    coarser_share: float = 0.7  # of the work, with the coarser grade

    def done(self) -> Study:
        """Evaluate, run the best again, rank."""
        plan = self.plan
        fast = self._ranking()
        self.groups = groups_of(plan, fast, self.folder)
        good = sorted(
            (k for k in fast if not fast[k].error),
            key=lambda k: (is_late(plan, fast[k]), fast[k].final, k),
        )
        if not good:
            why = next(iter(fast.values())).error
            raise WeldsimError(f"{plan.case.source_file}: no sequence could be computed: {why}")
        if self.confirm:
            self._run_coarser()
            self._run_again(to_confirm(plan, good, self.groups))
            missed = [key for key in overlooked(self._study(None)) if key not in self.finer]
            if missed:
                self._run_again(missed)
        return self._study(None)

    def _study(self, under_way: UnderWay | None) -> Study:
        """The table of what is known."""
        plan, fast, finer = self.plan, self.fast, self.finer
        return Study(
            plan,
            ranked(plan, fast, finer, self.groups, self.coarser),
            plan.size > LARGEST_FULL_STUDY,
            time.perf_counter() - self.began,
            len(list((self.folder / FOLDER).glob("*.json"))),
            drift_between(plan, fast, finer, self.groups, self.coarser),
            under_way,
        )

    def _told(self, share: float, text: str) -> None:
        self.now = UnderWay(max(share, self.now.share), text)  # welds overlooked come on top
        self.tell(self.now.share, text)

    def _look(self) -> None:
        """Show what is known, unless somebody has just looked."""
        at = time.perf_counter()
        if self.growing is None or at - self.looked < BETWEEN_LOOKS:
            return
        missing = [key for key in self.fast if key not in self.groups]
        self.groups |= groups_of(self.plan, missing, self.folder)
        if any(not outcome.error for outcome in self.fast.values()):
            self.growing(self._study(self.now))
            self.looked = time.perf_counter()

    @property
    def _coarser_cost(self) -> float:
        """Of a weld at the coarser grade against one of the ranking."""
        grade = self._coarser_grade if self.confirm else None
        return WELD_COST[grade] / WELD_COST[self.plan.section.grade] if grade else 0.0

    def _to_come(self) -> float:
        """Welds to be run again at the finer grade, in welds of the ranking."""
        section = self.plan.section
        if not self.confirm:
            return 0.0
        cost = WELD_COST[section.confirm_grade] / WELD_COST[section.grade]
        most = min(section.confirm + 2, self.plan.size)
        return cost * NEW_SHARE * most * len(self.plan.words)

    @property
    def _coarser_grade(self) -> str | None:
        """The grade whose step to the ranking's is to help, if one is wanted and there is one."""
        grades = list(GRADES)
        at = grades.index(self.plan.section.grade)
        return grades[at - 1] if self.plan.section.extrapolate and at else None

    def _run_coarser(self) -> None:
        """Outcomes of all sequences at the next coarser grade."""
        grade = self._coarser_grade
        if grade is None:
            return
        start, end = self.ranking_share, self.coarser_share
        numbers = sorted({n for n, _ in self.fast})
        for k, number in enumerate(numbers):

            def told(share: float, text: str, k: int = k) -> None:
                share = start + (end - start) * (k + share) / len(numbers)
                self._told(share, f"step from grade {grade}, {text}")

            own = [m for n, m in self.fast if n == number]
            done = evaluate(self.plan, number, own, grade, self.folder, self.executor, told)
            self.coarser |= {(number, m): o for m, o in done.items()}

    def _ranking(self) -> dict[Key, Outcome]:
        """Outcomes at the ranking grade."""
        plan, count = self.plan, len(self.plan.settings)
        if plan.size > LARGEST_FULL_STUDY:
            share = self.ranking_share if self.confirm else 1.0

            def proposed(some: dict[Key, Outcome]) -> None:
                self.fast |= some
                self._look()

            self.fast = search(
                plan, self.folder, self.executor,
                lambda s, t: self._told(share * s, f"searching, {t}"), proposed,
            )  # fmt: skip
            return self.fast
        again = self._to_come()
        for number in range(count):

            def told(share: float, text: str, number: int = number) -> None:
                self._told(self.ranking_share * (number + share) / count, f"ranking, {text}")

            def ahead(welds: int, number: int = number) -> float:
                more = count * welds * self._coarser_cost
                whole = count * welds + more + again
                self.ranking_share = count * welds / whole
                self.coarser_share = (count * welds + more) / whole
                return (count - 1 - number) * welds + more + again

            def arrived(some: dict[Moves, Outcome], number: int = number) -> None:
                self.fast |= {(number, m): o for m, o in some.items()}
                self._look()

            done = evaluate(
                plan, number, plan.schedules(), plan.section.grade, self.folder, self.executor,
                told, arrived, ahead,
            )  # fmt: skip
            for moves, outcome in done.items():  # in the order of the plan, and those never told
                self.fast.pop((number, moves), None)
                self.fast[number, moves] = outcome
        return self.fast

    def _run_again(self, picked: list[Key]) -> None:
        """Outcomes of the sequences picked at the finer grade."""
        settings = sorted({n for n, _ in picked})
        for k, number in enumerate(settings):

            def told(share: float, text: str, k: int = k) -> None:
                whole = (k + share) / len(settings)
                share = self.coarser_share + (1 - self.coarser_share) * whole
                self._told(share, f"running the best again, {text}")

            def arrived(some: dict[Moves, Outcome], number: int = number) -> None:
                self.finer |= {(number, m): o for m, o in some.items()}
                self._look()

            def ahead(welds: int, k: int = k) -> float:
                return float((len(settings) - 1 - k) * welds)

            own = [m for n, m in picked if n == number]
            grade = self.plan.section.confirm_grade
            done = evaluate(
                self.plan, number, own, grade, self.folder, self.executor, told, arrived, ahead,
            )  # fmt: skip
            self.finer |= {(number, m): o for m, o in done.items()}


def _study_folder(folder: str | Path) -> Path:
    """A folder for a study, made where it is missing."""
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise StoreError(f"{folder}: is a file, allowed: a folder for the study")
    try:
        (folder / FOLDER).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"{folder}: cannot be made: {error.strerror}") from None
    return folder


def groups_of(plan: Plan, keys: Iterable[Key], folder: str | Path) -> dict[Key, Key]:
    """(setting, moves) -> what a schedule shares with its mirror images and with no other."""
    keys = list(keys)
    found: dict[Key, Key] = {}
    for number in sorted({n for n, _ in keys}):
        try:
            images = bind(root_job(plan, number, plan.section.grade, folder)).symmetries
        except WeldsimError:  # its rows have failed, each for itself
            images = ()
        found |= {(n, m): (number, canonical(images, m)[0]) for n, m in keys if n == number}
    return found
