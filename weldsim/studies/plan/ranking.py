"""Many schedules to a ranked table: all of them on shared branches, the best few confirmed.

The ranking runs the plastic model on a coarse mesh; the best of it are run again at a finer grade,
and the differences between the two are the error stated for the rest. Pure bookkeeping around
`outcomes`: it knows nothing of finite elements.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from weldsim.errors import StoreError, WeldsimError
from weldsim.schema.tolerance import verdict
from weldsim.studies.plan.branches import FOLDER, bind
from weldsim.studies.plan.drift import Drift, apart, drift_between
from weldsim.studies.plan.executor import Executor, executor_of
from weldsim.studies.plan.outcomes import Outcome, Progress, evaluate, root_job
from weldsim.studies.plan.search import search
from weldsim.studies.plan.space import LARGEST_FULL_STUDY, Moves, Plan, load_plan
from weldsim.studies.plan.symmetry import canonical

Key = tuple[int, Moves]  # number of a setting, and a schedule
RANKING_SHARE = 0.7  # of the progress of a study, where some are confirmed


@dataclass(frozen=True)
class Row:
    """One line of the table: a schedule, its setting, and what is known of it.

    Attributes
    ----------
    setting : int
        Number in `plan.settings`.
    moves : tuple of (seam, direction)
    fast, confirmed : Outcome
        Of the ranking, and of the finer run where there is one.
    error : float or None
        Stated error of `final`, None where there is no estimate. [SI]
    grade : str
        Of the finer of the two.
    """

    setting: int
    moves: Moves
    fast: Outcome
    confirmed: Outcome | None
    error: float | None
    grade: str

    @property
    def best(self) -> Outcome:
        """The finer of the two."""
        return self.confirmed or self.fast


@dataclass(frozen=True)
class Study:
    """A finished study; rows in order, the recommended one first.

    Attributes
    ----------
    plan : Plan
    rows : tuple of Row
    searched : bool
        Whether a search proposed the schedules; else all that are allowed were run.
    seconds : float
        Wall time.
    branches : int
        How many lie in the study folder.
    drift : Drift or None
        How rows of the ranking grade alone are off; None without an estimate.
    """

    plan: Plan
    rows: tuple[Row, ...]
    searched: bool
    seconds: float
    branches: int
    drift: Drift | None = None


def rank(
    plan: Plan | str | Path,
    folder: str | Path | None = None,
    workers: int | Executor | None = None,
    cluster: str | None = None,
    progress: Progress | None = None,
    confirm: bool = True,
) -> Study:
    """Evaluate the schedules of a plan, rank them and confirm the best.

    Parameters
    ----------
    plan : Plan or path
        A job with its choices, or a case file with a [plan] section.
    folder : path, optional
        Study folder, which keeps every weld that is computed: a study that was stopped goes on.
        One that is thrown away when left out.
    workers : int or Executor, optional
        Processes, or an executor that is open already; one process a core when left out.
    cluster : str, optional
        Address of a Dask scheduler, or "local" for one of this machine's own.
    progress : callable(share, text), optional
        Told how far the work is, 0 to 1.
    confirm : bool
        Run the best few again at a finer grade.

    Returns
    -------
    Study
        Rows in order, the recommended one first.

    Raises
    ------
    CaseError
        For a mistake in a case file, one line each.
    WeldsimError
        If no schedule could be computed; the branches that could stay in the folder.
    """
    if not isinstance(plan, Plan):
        plan = load_plan(plan)
    tell = progress or (lambda share, text: None)
    with ExitStack() as stack:
        where = _study_folder(folder or stack.enter_context(TemporaryDirectory()))
        executor = stack.enter_context(executor_of(workers, cluster))
        return _study(plan, where, executor, confirm and plan.section.confirm > 0, tell)


def _study(plan: Plan, folder: Path, executor: Executor, confirm: bool, tell: Progress) -> Study:
    """Evaluate, confirm and rank."""
    began, share = time.perf_counter(), RANKING_SHARE if confirm else 1.0
    fast, searched = _evaluated(plan, folder, executor, lambda s, t: tell(share * s, t))
    groups = groups_of(plan, fast, folder)
    good = sorted(
        (k for k in fast if not fast[k].error),
        key=lambda k: (is_late(plan, fast[k]), fast[k].final, k),
    )
    if not good:
        why = next(iter(fast.values())).error
        raise WeldsimError(f"{plan.case.source_file}: no schedule could be computed: {why}")
    finer: dict[Key, Outcome] = {}
    if confirm:
        picked = to_confirm(plan, good, groups)
        finer = _confirmed(
            plan, picked, folder, executor, lambda s, t: tell(share + (1 - share) * s, t)
        )
    branches = len(list((folder / FOLDER).glob("*.json")))
    rows = ranked(plan, fast, finer, groups)
    drift = drift_between(plan, fast, finer, groups)
    return Study(plan, rows, searched, time.perf_counter() - began, branches, drift)


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


def _evaluated(
    plan: Plan, folder: Path, executor: Executor, tell: Progress
) -> tuple[dict[Key, Outcome], bool]:
    """Outcomes at the ranking grade, and whether a search chose the schedules."""
    if plan.size > LARGEST_FULL_STUDY:
        return search(plan, folder, executor, lambda s, t: tell(s, f"searching, {t}")), True
    fast: dict[Key, Outcome] = {}
    count = len(plan.settings)
    for number in range(count):

        def told(share: float, text: str, number: int = number) -> None:
            tell((number + share) / count, f"ranking, {text}")

        done = evaluate(plan, number, plan.schedules(), plan.section.grade, folder, executor, told)
        fast |= {(number, m): o for m, o in done.items()}
    return fast, False


def _confirmed(
    plan: Plan, picked: list[Key], folder: Path, executor: Executor, tell: Progress
) -> dict[Key, Outcome]:
    """Outcomes of the schedules picked at the finer grade."""
    finer: dict[Key, Outcome] = {}
    settings = sorted({n for n, _ in picked})
    for k, number in enumerate(settings):

        def told(share: float, text: str, k: int = k) -> None:
            tell((k + share) / len(settings), f"confirming, {text}")

        own = [m for n, m in picked if n == number]
        done = evaluate(plan, number, own, plan.section.confirm_grade, folder, executor, told)
        finer |= {(number, m): o for m, o in done.items()}
    return finer


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


def is_late(plan: Plan, outcome: Outcome) -> bool:
    """Whether a schedule takes longer than the plan allows."""
    longest = plan.section.longest
    return longest is not None and outcome.time > longest


def to_confirm(plan: Plan, good: Iterable[Key], groups: Mapping[Key, Key]) -> list[Key]:
    """The best few, and the middle and last one so that the error is not that of good ones alone.

    Mirror images tie and share their branches: they count as one and come along for nothing.
    """
    count = plan.section.confirm
    by_group: dict[Key, list[Key]] = {}
    for key in good:
        by_group.setdefault(groups[key], []).append(key)
    distinct = list(by_group.values())
    picked = distinct[:count]
    if count and len(distinct) > 2 * count:
        picked += [distinct[len(distinct) // 2], distinct[-1]]
    return [key for group in picked for key in group]


def ranked(
    plan: Plan,
    fast: Mapping[Key, Outcome],
    finer: Mapping[Key, Outcome],
    groups: Mapping[Key, Key],
) -> tuple[Row, ...]:
    """Rows in order: confirmed ones by what confirmed them, then the rest by the ranking."""
    drift = drift_between(plan, fast, finer, groups)
    rows = []
    for (setting, moves), outcome in fast.items():
        sure = finer.get((setting, moves))
        if sure is not None and sure.error:
            sure = None
        error = None
        if sure is not None:
            error = apart(plan, outcome, sure)
        elif drift is not None and not outcome.error:
            error = drift.of(outcome.final)
        grade = plan.section.confirm_grade if sure else plan.section.grade
        rows.append(Row(setting, moves, outcome, sure, error, grade))

    def place(row: Row) -> tuple:
        late = is_late(plan, row.fast)
        return bool(row.fast.error), late, row.fast.final, row.setting, row.moves

    rows.sort(key=place)
    # the best few by what confirmed them; the rest, one that was confirmed for its error included,
    # by the ranking: readings of two grades are not compared with each other
    ties = list(dict.fromkeys(groups[r.setting, r.moves] for r in rows))[: plan.section.confirm]
    few = [r for r in rows if r.confirmed and groups[r.setting, r.moves] in ties]
    few.sort(key=lambda r: (is_late(plan, r.best), r.best.final, r.setting, r.moves))
    return (*few, *(r for r in rows if r not in few))


def row_verdict(plan: Plan, row: Row) -> str:
    """Whether a row ends inside the tolerance, in words of `tolerance.verdict`."""
    if row.best.error:
        return "failed"
    if is_late(plan, row.best):
        return "takes too long"
    if row.error is None:
        inside = row.best.final <= plan.tolerance.value
        return ("inside" if inside else "outside") + ", no error estimate"
    return verdict(row.best.final, row.error, plan.tolerance)
