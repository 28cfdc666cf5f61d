"""What the model reads while welds are made one after the other; see `advice`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from weldsim.errors import CaseError
from weldsim.schema.column import Column, Readings
from weldsim.simulation.steps import start_state
from weldsim.studies.next.estimate import Unknown
from weldsim.studies.next.unknowns import largest_efficiency, settled
from weldsim.studies.next.whole_task import Following, WholeTask
from weldsim.studies.plan.branches import bind
from weldsim.studies.plan.executor import Executor
from weldsim.studies.plan.outcomes import Progress, evaluate, root_job
from weldsim.studies.plan.space import Moves, Plan

RELATIVE_STEP = 0.05  # change of an unknown in the run that measures what it moves


@dataclass(frozen=True)
class Past:
    """What the model reads while some welds are made, and how the unknowns scale that.

    Attributes
    ----------
    readings : dict
        Column -> ndarray, shape (W + 1,): at the start and after each of W welds. [SI]
    slopes : dict
        Column -> ndarray, shape (W + 1, U): change of these with each of U factors. [SI]
    """

    readings: dict[Column, np.ndarray]
    slopes: dict[Column, np.ndarray]

    @property
    def now(self) -> dict[Column, float]:
        """What is read after the last of the welds. [SI]"""
        return {c: float(v[-1]) for c, v in self.readings.items()}

    def relative(self, columns: Sequence[Column]) -> np.ndarray:
        """Relative change of a weld's movement with each factor, (U,).

        Least squares over the welds, each with its own movement: those that undo each other do
        not count as nothing.
        """
        moved = np.array([np.diff(self.readings[c]) for c in columns])
        change = np.array([np.diff(self.slopes[c], axis=0) for c in columns])
        size = float((moved**2).sum())
        scale = np.einsum("cw,cwu->u", moved, change)
        return scale / size if size > 0 else np.zeros_like(scale)


def past_of(
    plan: Plan,
    folder: str | Path,
    done: Moves,
    unknowns: Sequence[Unknown],
    executor: Executor,
    task: WholeTask,
) -> Past:
    """Readings weld by weld under the first setting, and their slopes by finite differences; parts
    of the task as in `plans_of_past`."""
    own, *others = plans_of_past(plan, unknowns)
    base = _walked(own[0], folder, done, executor, task)
    slopes: dict[Column, list] = {c: [] for c in base}
    for changed, step in others:
        moved = _walked(changed, folder, done, executor, task)
        for c, row in slopes.items():
            row.append((moved[c] - base[c]) / step)
    return Past(base, {c: np.stack(rows, axis=-1) for c, rows in slopes.items()})


def plans_of_past(plan: Plan, unknowns: Sequence[Unknown]) -> list[tuple[Plan, float]]:
    """What the welds done are run under: the plan, and with each unknown changed by a step."""
    room = largest_efficiency(settled(plan)) * (1 + RELATIVE_STEP) <= 1
    steps = [
        u.spread if u.zero  # a gap that opens: faces part at once, so as far as it may be open
        else RELATIVE_STEP if room or u.name != "efficiency" else -RELATIVE_STEP
        for u in unknowns
    ]  # fmt: skip
    changed = [settled(plan, u, 1 + s) for u, s in zip(unknowns, steps, strict=True)]
    return [(plan, 0.0), *zip(changed, steps, strict=True)]


def rows_of_past(done: Moves) -> list[Moves]:
    """The moves done as they were after each weld."""
    return [done[:n] for n in range(1, len(done) + 1)]


def _walked(
    plan: Plan, folder: str | Path, done: Moves, executor: Executor, task: WholeTask
) -> dict[Column, np.ndarray]:
    """Column -> readings at the start and after each of the moves done, (W + 1,). [SI]"""
    rows = rows_of_past(done)
    tell, ahead = task.part()
    ends = evaluate(plan, 0, rows, plan.section.grade, folder, executor, tell, ahead=ahead)
    for row in rows:
        if ends[row].error:
            raise CaseError(f"{plan.case.source_file}: {plan.text(row)}: {ends[row].error}")
    start = _start(plan, folder)
    return {
        c: np.array([start.get(c, 0.0), *(ends[row].readings[c] for row in rows)])
        for c in ends[done].readings
    }


def _start(plan: Plan, folder: str | Path) -> Mapping[Column, float]:
    """What the gauges read before anything is welded: a preset, else nothing."""
    if not any(plan.case_under(plan.settings[0]).preset):
        return {}
    model = bind(root_job(plan, 0, plan.section.grade, folder)).model
    return model.read(start_state(model))


def last_of(
    plan: Plan, setting: int, done: Moves, folder: str | Path, executor: Executor, tell: Progress,
    ahead: Following | None = None,
) -> Readings:  # fmt: skip
    """Readings after the moves done, under a setting. [SI]"""
    grade = plan.section.grade
    end = evaluate(plan, setting, [done], grade, folder, executor, tell, ahead=ahead)[done]
    if end.error:
        raise CaseError(f"{plan.case.source_file}: {plan.text(done)}: {end.error}")
    return end.readings
