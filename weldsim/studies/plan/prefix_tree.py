"""The branches that some schedules need: a prefix tree of moves, each row of them once.

A branch is a row of moves from the start of a job. Schedules that begin alike share it, and so do
mirror images, which are brought to one canonical form first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from weldsim.studies.plan.branches import Job, with_moves
from weldsim.studies.plan.space import Moves, Plan
from weldsim.studies.plan.symmetry import Symmetry, canonical


class PrefixTree:
    """Branches by the rows of moves that lead to them.

    Attributes
    ----------
    jobs : dict
        Row of moves in canonical form -> Job.
    children : dict
        Name of a branch -> jobs that go on from it.
    first : list of Job
        Those that go on from the start.
    """

    def __init__(self, plan: Plan, root: Job, symmetries: Sequence[Symmetry]) -> None:
        self.plan, self.root, self.symmetries = plan, root, symmetries
        self.jobs: dict[Moves, Job] = {}
        self.children: dict[str, list[Job]] = {}
        self.first: list[Job] = []

    def add(self, moves: Moves) -> None:
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

    def _job(self, row: Moves, parent: str) -> Job:
        setting = self.plan.settings[self.root.setting]
        return with_moves(self.root, row, self.plan.identity(setting, self.root.grade, row), parent)

    def path(self, moves: Moves) -> tuple[list[str], int]:
        """Names of a schedule's branches, and the view in which they are this schedule's."""
        form, image = canonical(self.symmetries, moves)
        names = [self.jobs[form[:d]].name for d in range(1, len(form) + 1)]
        return names, self._inverse(image)

    def whole(self, schedules: Iterable[Moves]) -> dict[str, list[Moves]]:
        """Name of a last branch -> the schedules that are whole once it is there."""
        found: dict[str, list[Moves]] = {}
        for moves in schedules:
            found.setdefault(self.path(moves)[0][-1], []).append(moves)
        return found

    def _inverse(self, image: int) -> int:
        if not self.symmetries:
            return 0
        back = self.symmetries[image].matrix.T
        return next(i for i, s in enumerate(self.symmetries) if np.array_equal(s.matrix, back))
