"""Many schedules to a ranked table: all of them on shared branches, the best few confirmed.

The ranking runs the plastic model on a coarse mesh; the best of it are run again at a finer grade,
and the differences between the two are the error stated for the rest. Pure bookkeeping around
`branches`: it knows nothing of finite elements.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from weldsim.errors import StoreError, WeldsimError
from weldsim.schema.tolerance import SCALES, verdict
from weldsim.studies.plan.branches import FOLDER, Job, bind, canonical, read_branch
from weldsim.studies.plan.executor import carry_out, executor
from weldsim.studies.plan.space import ALL, MEASURES, Plan


@dataclass(frozen=True)
class Outcome:
    """What one schedule comes to at one grade.

    Attributes
    ----------
    final, worst : the measure at the end, and its largest value on the way [SI]
    columns : gauge column -> reading at the end
    time : when the part is cold [s]
    reaction : largest force of a clamp [N]
    stress : mean in the weld zone at the end [Pa]
    seconds : what its branches cost; shared ones count in full for each
    error : why there is nothing, else ""
    """

    final: float = np.nan
    worst: float = np.nan
    columns: dict = field(default_factory=dict)
    time: float = np.nan
    reaction: float = np.nan
    stress: float = np.nan
    seconds: float = 0.0
    error: str = ""


def measured(plan: Plan, columns, values) -> np.ndarray:
    """The measure from readings (..., len(columns)), shape (...). [SI]"""
    at = {c: i for i, c in enumerate(columns)}
    own = np.asarray(values)[..., [at[c] for c in plan.measure_columns]]
    return 1e-3 * np.linalg.norm(own, axis=-1)


def evaluate(
    plan: Plan, setting: int, schedules, grade: str, folder, found, progress=None
) -> dict[tuple, Outcome]:
    """Outcomes of schedules at a grade, on shared branches.

    Parameters
    ----------
    plan : Plan
    setting : int
        Number in `plan.settings`.
    schedules : iterable of rows of moves
    grade : str
    folder : path
        Study folder; branches that lie there are not computed again.
    found : crew
    progress : callable(share, text), optional

    Returns
    -------
    dict
        Schedule -> Outcome, in the order given.
    """
    progress = progress or (lambda share, text: None)
    schedules = list(schedules)
    root = _root(plan, setting, grade, folder)
    try:
        bound = bind(root)
    except WeldsimError as error:  # a setting that cannot be meshed is a row like any failed one
        return {m: Outcome(error=str(error).splitlines()[0]) for m in schedules}
    forest = Forest(plan, root, bound.symmetries)
    for moves in schedules:
        forest.add(moves)
    began, done, total = time.perf_counter(), [0], len(forest.jobs)

    def told(record):
        done[0] += 1
        gone = time.perf_counter() - began
        left = gone / done[0] * (total - done[0])
        progress(done[0] / total, f"{done[0]} of {total} welds, about {_duration(left)} left")

    records = carry_out(found, forest.first, forest.children, told)
    kept = {name: r for name, r in records.items() if "error" in r}
    return {moves: _outcome(plan, forest, moves, folder, kept) for moves in schedules}


def _root(plan: Plan, setting: int, grade: str, folder) -> Job:
    """The job that all branches of a setting and grade are like."""
    return Job(
        str(Path(folder).resolve()), plan.case.source_text,
        str(Path(plan.case.source_file).resolve()),  # a worker may stand elsewhere
        plan.case.overrides, setting, grade, (), "", "",
    )  # fmt: skip


class Forest:
    """The branches that some schedules need, each once for all that share it."""

    def __init__(self, plan: Plan, root: Job, symmetries):
        self.plan, self.root, self.symmetries = plan, root, symmetries
        self.jobs: dict[tuple, Job] = {}
        self.children: dict[str, list[Job]] = {}
        self.first: list[Job] = []

    def add(self, moves) -> None:
        """Add what a schedule needs."""
        form, _ = canonical(self.symmetries, moves)
        parent = ""
        for depth in range(1, len(form) + 1):
            row = form[:depth]
            if row not in self.jobs:
                job = self._job(row, parent)
                self.jobs[row] = job
                (self.children.setdefault(parent, []) if parent else self.first).append(job)
            parent = self.jobs[row].name

    def _job(self, row, parent) -> Job:
        from weldsim.studies.plan.branches import with_moves

        setting = self.plan.settings[self.root.setting]
        name = self.plan.identity(setting, self.root.grade, row)
        return with_moves(self.root, row, name, parent)

    def path(self, moves) -> tuple[list[str], int]:
        """Names of a schedule's branches, and the view in which they are this schedule's."""
        form, way = canonical(self.symmetries, moves)
        names = [self.jobs[form[:d]].name for d in range(1, len(form) + 1)]
        return names, self._inverse(way)

    def _inverse(self, way: int) -> int:
        if not self.symmetries:
            return 0
        back = self.symmetries[way].matrix.T
        return next(i for i, s in enumerate(self.symmetries) if np.array_equal(s.matrix, back))


def _outcome(plan: Plan, forest: Forest, moves, folder, kept) -> Outcome:
    names, view = forest.path(moves)
    records = []
    for name in names:
        if name not in kept:
            kept[name] = read_branch(folder, name) or {"error": "an earlier weld failed"}
        records.append(kept[name])
        if "error" in kept[name]:
            return Outcome(error=kept[name]["error"])
    if not records[-1]["times"]:
        return Outcome(error="the case ends before its last weld: [solve] end")
    columns = records[-1]["columns"]
    last = np.array(records[-1]["readings"][-1][view])
    out = {
        "columns": dict(zip(columns, last.tolist(), strict=True)),
        "time": records[-1]["times"][-1],
        "reaction": max(r["reaction_N"] for r in records),
        "stress": 1e6 * records[-1].get("stress_MPa", np.nan),
        "seconds": sum(r["seconds"] for r in records),
    }
    name = plan.section.measure
    if name in MEASURES:
        final = worst = out[name]
    else:
        history = np.concatenate([np.array(r["readings"])[:, view] for r in records])
        values = measured(plan, columns, history)
        final, worst = float(values[-1]), float(values.max())
    return Outcome(final=final, worst=worst, **out)


@dataclass(frozen=True)
class Row:
    """One line of the table: a schedule, its setting, and what is known of it.

    Attributes
    ----------
    fast, confirmed : Outcome of the ranking, and of the finer run where there is one
    error : stated error of `final`, None where there is no estimate [SI]
    """

    setting: int
    moves: tuple
    fast: Outcome
    confirmed: Outcome | None
    error: float | None
    model: str

    @property
    def best(self) -> Outcome:
        """The finer of the two."""
        return self.confirmed or self.fast


@dataclass(frozen=True)
class Study:
    """A finished study; rows in order, the recommended one first.

    `drift` is how rows of the ranking grade alone are off: a share of where they end, and a rest
    [SI]; None without an estimate.
    """

    plan: Plan
    rows: tuple[Row, ...]
    how: str
    seconds: float
    branches: int
    error_words: str
    drift: tuple[float, float] | None = None


def study(
    plan: Plan, folder, workers=None, cluster=None, progress=None, confirm: bool = True
) -> Study:
    """Evaluate, rank and confirm; see the module.

    Raises
    ------
    WeldsimError
        If no schedule could be computed; the branches that could stay in the folder.
    """
    progress = progress or (lambda share, text: None)
    began = time.perf_counter()
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise StoreError(f"{folder}: is a file, allowed: a folder for the study")
    try:
        (folder / FOLDER).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"{folder}: cannot be made: {error.strerror}") from None
    grade = plan.section.grade
    whole = 0.7 if confirm and plan.section.confirm else 1.0
    fast: dict = {}
    with executor(workers, cluster) as found:
        if plan.size <= ALL:
            how = "all orders and directions that are allowed"
            count = len(plan.settings)
            for number in range(count):
                done = evaluate(
                    plan, number, plan.schedules(), grade, folder, found,
                    lambda s, t, n=number: progress(whole * (n + s) / count, f"ranking, {t}"),
                )  # fmt: skip
                fast |= {(number, m): o for m, o in done.items()}
        else:
            from weldsim.studies.plan.search import search

            fast, how = search(
                plan, folder, found, lambda s, t: progress(whole * s, f"searching, {t}")
            )
        good = sorted(
            (k for k in fast if not fast[k].error),
            key=lambda k: (_late(plan, fast[k]), fast[k].final, k),
        )
        groups = groups_of(plan, fast, folder)
        if not good:
            why = next(iter(fast.values())).error
            raise WeldsimError(f"{plan.case.source_file}: no schedule could be computed: {why}")
        finer = {}
        picked = _to_confirm(plan, good, groups) if confirm else []
        settings = sorted({n for n, _ in picked})
        for k, number in enumerate(settings):
            done = evaluate(
                plan, number, [m for n, m in picked if n == number], plan.section.confirm_grade,
                folder, found,
                lambda s, t, k=k: progress(
                    0.7 + 0.3 * (k + s) / len(settings), f"confirming, {t}"
                ),
            )  # fmt: skip
            finer |= {(number, m): o for m, o in done.items()}
    rows, words = _ranked(plan, fast, finer, groups)
    branches = len(list((folder / FOLDER).glob("*.json")))
    drift = drift_of(plan, fast, finer, groups)
    return Study(plan, rows, how, time.perf_counter() - began, branches, words, drift)


def groups_of(plan: Plan, keys, folder) -> dict:
    """(setting, moves) -> what a schedule shares with its mirror images and with no other."""
    found: dict = {}
    for number in sorted({n for n, _ in keys}):
        try:
            symmetries = bind(_root(plan, number, plan.section.grade, folder)).symmetries
        except WeldsimError:  # its rows have failed, each for itself
            symmetries = ()
        found |= {(n, m): (number, canonical(symmetries, m)[0]) for n, m in keys if n == number}
    return found


def _late(plan: Plan, outcome: Outcome) -> bool:
    longest = plan.section.longest
    return bool(longest) and outcome.time > longest


def _to_confirm(plan: Plan, good, groups) -> list:
    """The best few, and the middle and last one so that the error is not that of good ones alone.

    Mirror images tie and share their branches: they count as one and come along for nothing.
    """
    count, distinct = plan.section.confirm, {}
    for key in good:
        distinct.setdefault(groups[key], []).append(key)
    distinct = list(distinct.values())
    picked = distinct[:count]
    if count and len(distinct) > 2 * count:
        picked += [distinct[len(distinct) // 2], distinct[-1]]
    return [key for group in picked for key in group]


def drift_of(plan: Plan, fast, finer, groups) -> tuple[float, float] | None:
    """How the ranking grade is off against the finer one: share of an end, and rest [SI].

    A coarse mesh moves all ends by much the same factor. Over the schedules run at both grades the
    factor is fitted to the spots (least squares); the rest is the largest distance it leaves. With
    fewer than three schedules there is only a largest distance.
    """
    both = {groups[k]: k for k in finer if not finer[k].error and not fast[k].error}
    if not both:
        return None
    a, b = (np.array([_spot(plan, some[k]) for k in both.values()]) for some in (fast, finer))
    size = float((a**2).sum())
    scale = float((a * b).sum()) / size if len(both) > 2 and size > 0 else 1.0
    return abs(scale - 1), float(np.linalg.norm(b - scale * a, axis=1).max())


def _spot(plan: Plan, outcome: Outcome) -> np.ndarray:
    """The measure with its direction, where it has one. [SI]"""
    if not plan.measure_columns:
        return np.array([outcome.final])
    return 1e-3 * np.array([outcome.columns[c] for c in plan.measure_columns])


def _ranked(plan: Plan, fast, finer, groups) -> tuple[tuple[Row, ...], str]:
    """Rows in order: confirmed ones by what confirmed them, then the rest by the ranking."""
    gaps = {k: _apart(plan, fast[k], finer[k]) for k in finer if not finer[k].error}
    drift = drift_of(plan, fast, finer, groups)
    s = plan.section
    rows = []
    for (setting, moves), outcome in fast.items():
        key = (setting, moves)
        sure = finer.get(key)
        if sure is not None and sure.error:
            sure = None
        error = None
        if sure is not None:
            error = gaps[key]
        elif drift is not None and not outcome.error:
            error = drift[0] * outcome.final + drift[1]
        model = f"{plan.case.solve.model}, grade {s.confirm_grade if sure else s.grade}"
        rows.append(Row(setting, moves, outcome, sure, error, model))

    def place(row):
        return bool(row.fast.error), _late(plan, row.fast), row.fast.final, row.setting, row.moves

    rows.sort(key=place)
    # the best few by what confirmed them; the rest, one that was confirmed for its error included,
    # by the ranking: readings of two grades are not compared with each other
    ties = list(dict.fromkeys(groups[r.setting, r.moves] for r in rows))[: s.confirm]
    few = [r for r in rows if r.confirmed and groups[r.setting, r.moves] in ties]
    few.sort(key=lambda r: (_late(plan, r.best), r.best.final, r.setting, r.moves))
    rest = [r for r in rows if r not in few]
    apart = len({groups[k] for k in gaps})  # images of one schedule count once
    words = "none: no schedule was confirmed at a finer grade"
    if drift:
        scale, unit = SCALES[plan.tolerance.measure]
        words = (
            f"of rows run at grade {s.grade} alone {drift[0]:.0%} of where they end and "
            f"{scale * drift[1]:.2g} {unit}, as the {apart} schedules run at grade "
            f"{s.confirm_grade} too have it; an estimate, no bound"
        )
    return (*few, *rest), words


def _apart(plan: Plan, a: Outcome, b: Outcome) -> float:
    """How far apart two outcomes end: on a target the way from spot to spot, never shorter than
    what their distances from its middle differ by. [SI]"""
    return float(np.linalg.norm(_spot(plan, a) - _spot(plan, b)))


def row_verdict(plan: Plan, row: Row) -> str:
    """Whether a row ends inside the tolerance, in words of `tolerance.verdict`."""
    if row.best.error:
        return "failed"
    if _late(plan, row.best):
        return "takes too long"
    if row.error is None:
        inside = row.best.final <= plan.tolerance.value
        return ("inside" if inside else "outside") + ", no error estimate"
    return verdict(row.best.final, row.error, plan.tolerance)


def _duration(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"
