"""What the model reads while welds are made one after the other; see `next_study`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from weldsim.errors import CaseError
from weldsim.studies.next.unknowns import largest_efficiency, settled
from weldsim.studies.plan.ranking import evaluate
from weldsim.studies.plan.space import Plan

STEP = 0.05  # change of an unknown in the run that measures what it moves


@dataclass(frozen=True)
class Past:
    """What the model reads while some welds are made, and how the unknowns scale that.

    Attributes
    ----------
    readings : column -> (W + 1,) at the start and after each weld
    slopes : column -> (W + 1, U) change of these with each factor
    """

    readings: dict[str, np.ndarray]
    slopes: dict[str, np.ndarray]

    @property
    def now(self) -> dict[str, float]:
        return {c: float(v[-1]) for c, v in self.readings.items()}

    def relative(self, columns) -> np.ndarray:
        """Relative change of a weld's movement with each factor, (U,).

        Least squares over the welds, each with its own movement: those that undo each other do
        not count as nothing.
        """
        moved = np.array([np.diff(self.readings[c]) for c in columns])
        change = np.array([np.diff(self.slopes[c], axis=0) for c in columns])
        size = float((moved**2).sum())
        scale = np.einsum("cw,cwu->u", moved, change)
        return scale / size if size > 0 else np.zeros_like(scale)


def past_of(plan: Plan, folder, done, unknowns, found, progress) -> Past:
    """Readings weld by weld under the first setting, and their slopes by runs `STEP` apart."""
    count = len(unknowns) + 1

    def walked(p, k):
        return _walked(p, folder, done, found, lambda s, t: progress((k + s) / count, t))

    base = walked(plan, 0)
    room = largest_efficiency(settled(plan)) * (1 + STEP) <= 1
    slopes = {c: [] for c in base}
    for k, unknown in enumerate(unknowns, 1):
        step = STEP if room or unknown.name != "efficiency" else -STEP
        moved = walked(settled(plan, unknown, 1 + step), k)
        for c, row in slopes.items():
            row.append((moved[c] - base[c]) / step)
    return Past(base, {c: np.stack(rows, axis=-1) for c, rows in slopes.items()})


def _walked(plan: Plan, folder, done, found, tell) -> dict[str, np.ndarray]:
    """Column -> readings at the start and after each of the moves done, (W + 1,)."""
    rows = [done[:n] for n in range(1, len(done) + 1)]
    ends = evaluate(plan, 0, rows, plan.section.grade, folder, found, tell)
    for row in rows:
        if ends[row].error:
            raise CaseError(f"{plan.case.source_file}: {plan.text(row)}: {ends[row].error}")
    start = _start(plan, folder)
    return {
        c: np.array([start.get(c, 0.0), *(ends[row].columns[c] for row in rows)])
        for c in ends[done].columns
    }


def _start(plan: Plan, folder) -> dict[str, float]:
    """What the gauges read before anything is welded: a preset, else nothing."""
    from weldsim.simulation.steps import start_state
    from weldsim.studies.plan.branches import Job, bind

    if not any(plan.bound(plan.settings[0], next(plan.schedules())).preset):
        return {}
    case = plan.case
    job = Job(
        str(Path(folder).resolve()), case.source_text, case.source_file, case.overrides, 0,
        plan.section.grade, (), "", "",
    )  # fmt: skip
    model = bind(job).model
    return model.read(start_state(model)).display()


def last_of(plan: Plan, setting: int, done, folder, found, tell) -> dict[str, float]:
    """Readings after the moves done, under a setting."""
    end = evaluate(plan, setting, [done], plan.section.grade, folder, found, tell)[done]
    if end.error:
        raise CaseError(f"{plan.case.source_file}: {plan.text(done)}: {end.error}")
    return end.columns
