"""What an advice takes, before it is begun: the welds that are missing, and what a weld takes."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from itertools import islice

import numpy as np

from weldsim.errors import StoreError
from weldsim.runs.cost import cost_of
from weldsim.studies.next.advice import ways_on, welds_of_advice
from weldsim.studies.next.given import OpenedStudy
from weldsim.studies.next.unknowns import unknowns_of
from weldsim.studies.next.whole_task import branches_of
from weldsim.studies.plan.branches import read_branch
from weldsim.studies.plan.space import Moves

LOOKED_AT = 20  # sequences of a study whose welds say what a weld takes here


@dataclass(frozen=True)
class AdviceCost:
    """What is to be computed for an advice.

    Attributes
    ----------
    welds : int
        That the study's folder does not hold yet.
    each : float
        Processor time of one. [s]
    measured : bool
        Whether that is from welds of this study; otherwise from the size of its mesh.
    """

    welds: int
    each: float
    measured: bool

    @property
    def seconds(self) -> float:
        """Processor time of all of them. [s]"""
        return self.welds * self.each


def advice_cost(study: OpenedStudy, done: Moves) -> AdviceCost:
    """Welds that an advice has to compute, and what each takes.

    Parameters
    ----------
    study : OpenedStudy
        See `open_study`.
    done : row of moves
        Welded so far.

    Returns
    -------
    AdviceCost
        The welds done count once for each unknown besides; nothing where all lies there.

    Raises
    ------
    CaseError
        If there is no way on.
    """
    plan, done = study.plan, tuple(done)
    left, _ = ways_on(plan, done, study.record)
    welds = sum(welds_of_advice(study, done, left, unknowns_of(plan)))
    taken = _taken(study, done)
    if taken:
        return AdviceCost(welds, float(np.mean(taken)), True)
    setting, moves = plan.settings[0], next(iter(next(iter(left.values()))))
    run = cost_of(plan.bound(setting, moves), plan.section.grade, error_estimate=False)
    return AdviceCost(welds, run.seconds / max(1, len(moves)), False)


def _taken(study: OpenedStudy, done: Moves) -> list[float]:
    """Processor time of welds of the study, by branches that begin as what is done. [s]"""
    rows, found = list(islice(study.plan.continuations(done), LOOKED_AT)), []
    for path in branches_of(study.plan, study.plan, 0, rows, study.folder):
        with suppress(StoreError):
            record = read_branch(study.folder, path.stem) or {}
            if record.get("processor_seconds"):
                found.append(float(record["processor_seconds"]))
    return found
