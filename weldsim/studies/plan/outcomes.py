"""What schedules come to: their branches carried out, and the measure read off them."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from weldsim.errors import WeldsimError
from weldsim.schema.column import Column, Readings
from weldsim.studies.plan.branches import Job, bind, read_branch
from weldsim.studies.plan.checks import MEASURES
from weldsim.studies.plan.executor import Executor, carry_out
from weldsim.studies.plan.prefix_tree import PrefixTree
from weldsim.studies.plan.space import Moves, Plan

Progress = Callable[[float, str], None]
Arrived = Callable[[dict[Moves, "Outcome"]], None]


@dataclass(frozen=True)
class Outcome:
    """What one schedule comes to at one grade.

    Attributes
    ----------
    final, worst : float
        The measure at the end, and its largest value on the way. [SI]
    readings : Readings
        Of all gauges at the end. [SI]
    time : float
        When the part is cold. [s]
    reaction : float
        Largest force of a clamp. [N]
    stress : float
        Mean in the weld zone at the end. [Pa]
    seconds : float
        What its branches cost; shared ones count in full for each.
    error : str
        Why there is nothing, else "".
    """

    final: float = np.nan
    worst: float = np.nan
    readings: Readings = field(default_factory=lambda: Readings({}))
    time: float = np.nan
    reaction: float = np.nan
    stress: float = np.nan
    seconds: float = 0.0
    error: str = ""


def measured(plan: Plan, columns: Iterable[Column], values: Any) -> np.ndarray:
    """The measure from readings (..., len(columns)), shape (...). [SI]"""
    at = {c: i for i, c in enumerate(columns)}
    own = np.asarray(values)[..., [at[c] for c in plan.measure_columns]]
    return np.asarray(np.linalg.norm(own, axis=-1))


def root_job(plan: Plan, setting: int, grade: str, folder: str | Path) -> Job:
    """The job that all branches of a setting and grade are like."""
    # workers may stand elsewhere: folder and case file are told from the root
    case = replace(plan.case, source_file=str(Path(plan.case.source_file).resolve()))
    return Job(str(Path(folder).resolve()), replace(plan, case=case), setting, grade, (), "", "")


def evaluate(
    plan: Plan,
    setting: int,
    schedules: Iterable[Moves],
    grade: str,
    folder: str | Path,
    executor: Executor,
    progress: Progress | None = None,
    arrived: Arrived | None = None,
    ahead: Callable[[int], float] | None = None,
) -> dict[Moves, Outcome]:
    """Outcomes of sequences at a grade, on shared branches.

    Parameters
    ----------
    plan : Plan
    setting : int
        Number in `plan.settings`.
    schedules : iterable of rows of moves
    grade : str
    folder : path
        Study folder; branches that lie there are not computed again.
    executor : Executor
    progress : callable(share, text), optional
    arrived : callable(dict), optional
        Given the outcomes of sequences as soon as they are whole. They come spread over those
        given, so that the first few speak for all of them.
    ahead : callable(welds), optional
        From the number of welds here, how many like them follow afterwards: they count in the
        time left.

    Returns
    -------
    dict
        Sequence -> Outcome, in the order given.
    """
    tell = progress or (lambda share, text: None)
    schedules = list(schedules)
    root = root_job(plan, setting, grade, folder)
    try:
        bound = bind(root)
    except WeldsimError as error:  # a setting that cannot be meshed is a row like any failed one
        return {m: Outcome(error=str(error).splitlines()[0]) for m in schedules}
    tree = PrefixTree(root.plan, root, bound.symmetries)
    for moves in spread(schedules):
        tree.add(moves)
    total = len(tree.jobs)
    clock = _Clock(total, total + (ahead(total) if ahead else 0.0), getattr(executor, "room", None))
    found = _Found(plan, tree, folder, schedules)

    def told(record: dict[str, Any]) -> None:
        ended = found.by(record)
        if ended and arrived:
            arrived(ended)
        clock.count(record)
        tell(clock.done / total, f"weld {clock.done} of {total}, {clock.left_words()}")

    turns = {job.name: turn for turn, job in enumerate(tree.jobs.values())}
    carry_out(executor, tree.first, tree.children, told, turns)
    return {moves: found.outcomes[moves] for moves in schedules}


class _Found:
    """Outcomes of schedules as their last welds come in."""

    def __init__(
        self, plan: Plan, tree: PrefixTree, folder: str | Path, schedules: Sequence[Moves]
    ) -> None:
        self.plan, self.tree, self.folder = plan, tree, folder
        self.whole = tree.whole(schedules)
        self.records: dict[str, dict[str, Any]] = {}
        self.outcomes: dict[Moves, Outcome] = {}

    def by(self, record: dict[str, Any]) -> dict[Moves, Outcome]:
        """What a branch that is there now makes whole."""
        if "error" in record:
            self.records[record["name"]] = record
        ended = {
            moves: _outcome(self.plan, self.tree, moves, self.folder, self.records)
            for moves in self.whole.get(record["name"], ())
        }
        self.outcomes.update(ended)
        return ended


def spread(items: Sequence[Moves]) -> list[Moves]:
    """The same items, so that any number from the front lie evenly among all of them."""
    bits = max(len(items) - 1, 1).bit_length()
    turns = sorted(range(1 << bits), key=lambda n: f"{n:0{bits}b}"[::-1])
    return [items[n] for n in turns if n < len(items)]


class _Clock:
    """Time left of welds that cost about alike, some of which may lie there already."""

    def __init__(self, total: int, work: float, room: int | None) -> None:
        self.total, self.work, self.room = total, work, room
        self.done, self.seconds, self.began = 0, 0.0, time.perf_counter()

    def count(self, record: Mapping[str, Any]) -> None:
        self.done += 1
        self.seconds += record.get("seconds", 0.0)

    def left_words(self) -> str:
        """By what a weld took its worker, so that welds read from the folder do not mislead."""
        each = self.seconds / self.done / (self.room or 1)
        if self.room is None:  # nobody says how many at a time
            each = (time.perf_counter() - self.began) / self.done
        return f"about {_duration(each * (self.work - self.done))} left"


def _outcome(
    plan: Plan, tree: PrefixTree, moves: Moves, folder: str | Path, kept: dict[str, dict[str, Any]]
) -> Outcome:
    names, view = tree.path(moves)
    records = []
    for name in names:
        if name not in kept:
            kept[name] = read_branch(folder, name) or {"error": "an earlier weld failed"}
        records.append(kept[name])
        if "error" in kept[name]:
            return Outcome(error=kept[name]["error"])
    if not records[-1]["times"]:
        return Outcome(error="the case ends before its last weld: [solve] end")
    columns = [Column(*c) for c in records[-1]["columns"]]
    last = np.array(records[-1]["readings"][-1][view])
    out = {
        "readings": Readings(dict(zip(columns, last.tolist(), strict=True))),
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


def _duration(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"
