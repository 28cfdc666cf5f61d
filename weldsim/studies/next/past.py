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
    progress: Progress,
) -> Past:
    """Readings weld by weld under the first setting, and their slopes by finite differences."""
    count = len(unknowns) + 1

    def walked(p: Plan, k: int) -> dict[Column, np.ndarray]:
        return _walked(p, folder, done, executor, lambda s, t: progress((k + s) / count, t))

    base = walked(plan, 0)
    room = largest_efficiency(settled(plan)) * (1 + RELATIVE_STEP) <= 1
    slopes: dict[Column, list] = {c: [] for c in base}
    for k, unknown in enumerate(unknowns, 1):
        step = RELATIVE_STEP if room or unknown.name != "efficiency" else -RELATIVE_STEP
        if unknown.zero:  # a gap that opens: faces part at once, so as far as it may be open
            step = unknown.spread
        moved = walked(settled(plan, unknown, 1 + step), k)
        for c, row in slopes.items():
            row.append((moved[c] - base[c]) / step)
    return Past(base, {c: np.stack(rows, axis=-1) for c, rows in slopes.items()})


def _walked(
    plan: Plan, folder: str | Path, done: Moves, executor: Executor, tell: Progress
) -> dict[Column, np.ndarray]:
    """Column -> readings at the start and after each of the moves done, (W + 1,). [SI]"""
    rows = [done[:n] for n in range(1, len(done) + 1)]
    ends = evaluate(plan, 0, rows, plan.section.grade, folder, executor, tell)
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
    plan: Plan, setting: int, done: Moves, folder: str | Path, executor: Executor, tell: Progress
) -> Readings:
    """Readings after the moves done, under a setting. [SI]"""
    end = evaluate(plan, setting, [done], plan.section.grade, folder, executor, tell)[done]
    if end.error:
        raise CaseError(f"{plan.case.source_file}: {plan.text(done)}: {end.error}")
    return end.readings
