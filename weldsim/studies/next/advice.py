"""Readings after some welds against a study's branches: what explains them, and how to go on.

What is predicted is the plan's measure, in all its columns. A column that was read stands where it
was read; one that was not stands where the model has it, moved by what the readings say of the
unknowns. What is still to come is scaled as the unknowns scale what each weld did so far.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

import numpy as np

from weldsim.errors import CaseError, WeldsimError
from weldsim.schema.column import Column, Readings
from weldsim.studies.next.estimate import Ahead, Estimate, Unknown, chance_inside, estimate
from weldsim.studies.next.given import (
    ASSUMED_SHARE,
    OpenedStudy,
    Read,
    check_measure,
    in_one_unit,
)
from weldsim.studies.next.grade_step import carried_past, carried_readings
from weldsim.studies.next.odds import StillToCome, chance_nearer
from weldsim.studies.next.past import Past, last_of, past_of, plans_of_past, rows_of_past
from weldsim.studies.next.unknowns import unknowns_of
from weldsim.studies.next.whole_task import WholeTask, welds_missing
from weldsim.studies.plan.drift import Drift
from weldsim.studies.plan.executor import Executor, executor_of
from weldsim.studies.plan.outcomes import Progress, evaluate
from weldsim.studies.plan.shop_spread import ShopSpread
from weldsim.studies.plan.space import LARGEST_FULL_STUDY, Moves, Plan

NINE_OF_TEN = 1.645  # standard deviations that hold nine of ten normal values


@dataclass(frozen=True)
class Advice:
    """What is known after a reading, and the ways to go on, best first.

    Attributes
    ----------
    columns : tuple of Column
        That were read.
    reading, expected : ndarray, shape (R,)
        Values read and what the model has there. [SI]
    unknowns : tuple of Unknown
    estimate : Estimate
        What the readings say of them.
    directions : tuple of Ahead
        Ranked by the chance of ending inside the tolerance, then by how far off.
    drift : Drift or None
        Error of the study that predictions rest on; None where a share is assumed.
    looked_at : int or None
        How many ways are compared where they are too many to compute them all; else None.
    odds : float or None
        Chance that the first way ends nearer to zero than the second; None with one way.
    spread : ShopSpread or None
        Of the shop, where it was given.
    """

    columns: tuple[Column, ...]
    reading: np.ndarray
    expected: np.ndarray
    unknowns: tuple[Unknown, ...]
    estimate: Estimate
    directions: tuple[Ahead, ...]
    drift: Drift | None = None
    looked_at: int | None = None
    odds: float | None = None
    spread: ShopSpread | None = None


def ways_on(
    plan: Plan, done: Moves, record: dict[str, Any] | None
) -> tuple[dict[int, list[Moves]], int | None]:
    """Setting -> schedules that begin with the moves done, and how many if some are left out.

    More than `LARGEST_FULL_STUDY` are not computed: of those the ones the study looked at are
    taken.

    Raises
    ------
    CaseError
        If there is none.
    """
    settings = range(len(plan.settings))
    most = LARGEST_FULL_STUDY // len(settings)
    left = list(islice(plan.continuations(done), most + 1))
    where = f"{plan.case.source_file}: after {plan.text(done)}"
    if not left:
        raise CaseError(f"{where}: no sequence that begins so is allowed")
    if len(left) <= most:
        return dict.fromkeys(settings, left), None
    out: dict[int, list[Moves]] = {}
    numbers = {s.written: n for n, s in enumerate(plan.settings)}
    for row in record["rows"] if record else ():
        moves = tuple((s, w) for s, w in row["moves"])
        number = numbers.get(tuple(row["setting"]))
        if number is not None and moves[: len(done)] == tuple(done):
            out.setdefault(number, []).append(moves)
    if not out:
        raise CaseError(
            f"{where}: more than {LARGEST_FULL_STUDY} sequences are left and no study looked at "
            "any of them, allowed: a [plan] with first, last, before or travel that leaves fewer"
        )
    return out, sum(map(len, out.values()))


def advise(
    study: OpenedStudy,
    done: Moves,
    read: Read,
    workers: int | Executor | None = None,
    cluster: str | None = None,
    progress: Progress | None = None,
    spread: ShopSpread | None = None,
) -> Advice:
    """Explain a reading and rank the ways to go on.

    Parameters
    ----------
    study : OpenedStudy
        Of something that a gauge reads; see `open_study`. Branches that are missing in its folder
        are computed and kept there.
    done : row of moves
        Welded so far; see `read_moves`.
    read : Read
        What was read; see `read_readings`.
    workers : int or Executor, optional
        Processes, or an executor that is open already; one process a core when left out.
    cluster : str, optional
        Address of a Dask scheduler, or "local" for one of this machine's own.
    progress : callable(share, text), optional
        Told how far the work is, 0 to 1.
    spread : ShopSpread, optional
        How far parts of this shop scatter: what hand, fit-up and metal still add counts.

    Returns
    -------
    Advice
        What explains the reading, and the ways to go on, best first.

    Raises
    ------
    CaseError
        If the plan is of something no gauge reads, or there is no way on.
    """
    plan, done = study.plan, tuple(done)
    check_measure(plan)
    tell = progress or (lambda share, text: None)
    left, looked_at = ways_on(plan, done, study.record)
    unknowns = unknowns_of(plan)
    with executor_of(workers, cluster) as executor:
        task = WholeTask(tell, welds_of_advice(study, done, left, unknowns))
        past = past_of(plan, study.folder, done, unknowns, executor, task)
        past = carried_past(study, past)
        come = StillToCome.of(
            spread, len(plan.measure_columns), len(plan.words) - len(done), len(plan.words)
        )
        known = _known(study, in_one_unit(plan, read, past.now), past, unknowns, come)
        directions = _directions(study, done, left, known, executor, task)
    expected = np.array([past.now[c] for c in read.columns])
    odds = known.odds(*directions[:2]) if len(directions) > 1 else None
    return Advice(
        read.columns, read.values, expected, unknowns, known.estimate, directions, study.drift,
        looked_at, odds, spread,
    )  # fmt: skip


def welds_of_advice(
    study: OpenedStudy,
    done: Moves,
    left: Mapping[int, list[Moves]],
    unknowns: tuple[Unknown, ...],
) -> list[int]:
    """Welds to be computed in each part: the past and its changes, then each setting's ways on.

    Parameters
    ----------
    study : OpenedStudy
        Whose folder holds some of them.
    done : row of moves
        Welded so far.
    left : mapping of int to list of rows of moves
        Setting -> sequences that begin so.
    unknowns : tuple of Unknown
        Each changes the past once.

    Returns
    -------
    list of int
        In the order of the parts.
    """
    plan, folder = study.plan, study.folder
    try:
        past = [
            welds_missing(p, plan, 0, rows_of_past(done), folder)
            for p, _ in plans_of_past(plan, unknowns)
        ]
        return past + [welds_missing(plan, plan, n, rows, folder) for n, rows in left.items()]
    except WeldsimError:  # said by the run itself
        return [len(done)] * (len(unknowns) + 1) + [1] * len(left)


def expected_after(
    study: OpenedStudy, done: Moves, workers: int | Executor | None = None
) -> Readings:
    """What the gauges should read after some welds, if all is as the case says.

    Parameters
    ----------
    study : OpenedStudy
        Branches that are missing in its folder are computed and kept there.
    done : row of moves
        Welded so far; see `read_moves`.
    workers : int or Executor, optional
        See `advise`.

    Returns
    -------
    Readings
        Of all gauges. [SI]
    """
    with executor_of(workers) as executor:
        found = last_of(study.plan, 0, tuple(done), study.folder, executor, lambda s, t: None)
    return carried_readings(study, found)


def _directions(
    study: OpenedStudy,
    done: Moves,
    left: Mapping[int, list[Moves]],
    known: _Known,
    executor: Executor,
    task: WholeTask,
) -> tuple[Ahead, ...]:
    """The ways to go on, best first; `left` is setting -> schedules, each a part of the task."""
    plan, out = study.plan, []
    for number, schedules in left.items():
        told, ahead = task.part()
        behind: Mapping[Column, float] = known.past.now
        if number != 0:
            behind = last_of(plan, number, done, study.folder, executor, told, ahead)
            behind = carried_readings(study, behind)
        ends = evaluate(
            plan, number, schedules, plan.section.grade, study.folder, executor, told, ahead=ahead
        )
        for moves, end in ends.items():
            if not end.error:
                final = carried_readings(study, end.readings)
                to_come = np.array([final[c] - behind[c] for c in plan.measure_columns])
                mean, covariance = known.predicted(to_come)
                chance = chance_inside(mean, covariance, plan.tolerance.value)
                out.append(Ahead(moves[len(done) :], mean, covariance, chance, number, to_come))
    if not out:
        raise CaseError(f"{plan.case.source_file}: no way on from there could be computed")
    return tuple(sorted(out, key=lambda a: (-round(a.chance, 3), a.off, a.setting, a.moves)))


@dataclass(frozen=True)
class _Known:
    """What readings say of the unknowns, and where the measure stands now, M columns.

    Attributes
    ----------
    plan, past, drift, estimate
        Of the study; the past as the model has it; error of the study; factors of the unknowns.
    place : ndarray, shape (M,)
        [SI]
    variance : ndarray, shape (M,)
        But for that of the factors.
    slopes : ndarray, shape (M, U)
        Change with each factor: none where the column was read.
    shared : ndarray, shape (M, U)
        Covariance with the factors: a reading's own error moves both.
    come : StillToCome
        What of the shop's spread is still to come.
    """

    plan: Plan
    past: Past
    drift: Drift | None
    estimate: Estimate
    place: np.ndarray
    variance: np.ndarray
    slopes: np.ndarray
    shared: np.ndarray
    come: StillToCome

    def predicted(self, ahead: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean (M,) and covariance (M, M) of the end of one way to go on. [SI]

        Where the measure stands, plus what is to come (`ahead`, as the model has it under the
        setting of this way) as the unknowns scale it.
        """
        columns, factors = self.plan.measure_columns, self.estimate.factors - 1
        mean = self.place + ahead * (1 + self.past.relative(columns) @ factors)
        return mean, self._common(ahead, ahead) + np.diag(self._own(ahead) ** 2)

    def odds(self, first: Ahead, second: Ahead) -> float:
        """Chance that one way ends nearer to zero than another."""
        ways = (first, second)
        blocks = [[self._common(a.to_come, b.to_come) for b in ways] for a in ways]
        own = np.concatenate([self._own(w.to_come) for w in ways])
        covariance = np.block(blocks) + np.diag(own**2)
        return chance_nearer(np.array([w.mean for w in ways]), covariance)

    def _common(self, one: np.ndarray, other: np.ndarray) -> np.ndarray:
        """Covariance (M, M) of the ends of two ways, but for what strikes each by itself."""
        relative = self.past.relative(self.plan.measure_columns)
        a, b = (self.slopes + np.outer(ahead, relative) for ahead in (one, other))
        spread = a @ self.estimate.covariance @ b.T
        # what a reading's error does to place and factors
        both = self.shared @ b.T + a @ self.shared.T
        return np.diag(self.variance + self.come.alike**2) + spread + both

    def _own(self, ahead: np.ndarray) -> np.ndarray:
        """Standard deviations (M,) of what strikes one way by itself. [SI]"""
        to_come = dict(zip(self.plan.measure_columns, ahead, strict=True))
        model = [_model_error(self.plan, c, to_come, self.drift) for c in to_come]
        return np.hypot(model, self.come.own)


def _model_error(
    plan: Plan, column: Column, values: Mapping[Column, float], drift: Drift | None
) -> float:
    """Standard deviation of what the model has in a column. [SI]

    The study's own error where the column is of its measure, else a share of how far all that is
    looked at in that unit stands off: a side that is to stand still is no surer than the other.
    """
    alike = np.array([v for c, v in values.items() if c.unit == column.unit])
    if drift is None or column not in plan.measure_columns:
        return ASSUMED_SHARE * float(np.linalg.norm(alike))
    if drift.carried:
        return drift.error(alike) / NINE_OF_TEN
    return min(drift.share, ASSUMED_SHARE) * float(np.linalg.norm(alike)) + drift.rest


def _known(
    study: OpenedStudy, read: Read, past: Past, unknowns: tuple[Unknown, ...], come: StillToCome
) -> _Known:
    """Factors of the unknowns from all readings, and the present: columns that were read stand
    there, others where the model has them with the factors."""
    plan, drift = study.plan, study.drift
    looked_at = {c: past.now[c] for c in (*plan.measure_columns, *read.columns)}
    expected = np.array([past.now[c] for c in read.columns])
    slopes = np.array([past.slopes[c][-1] for c in read.columns])
    # the model's own error of what lies behind counts as much as the eye's
    own = np.array([_model_error(plan, c, looked_at, drift) for c in read.columns])
    found = estimate(read.values, expected, slopes, unknowns, np.hypot(read.noise, own))
    at = {c: i for i, c in enumerate(read.columns)}
    now = {c: past.now[c] for c in plan.measure_columns}
    rows = []
    for column in plan.measure_columns:
        slope = past.slopes[column][-1]
        if column in at:
            i = at[column]
            noise = read.noise[i] ** 2
            rows.append((read.values[i], noise, np.zeros_like(slope), noise * found.gain[:, i]))
        else:
            place = now[column] + slope @ (found.factors - 1)
            variance = _model_error(plan, column, now, drift) ** 2
            rows.append((place, variance, slope, np.zeros_like(slope)))
    place, variance, slopes, shared = (np.array(p) for p in zip(*rows, strict=True))
    return _Known(plan, past, drift, found, place, variance, slopes, shared, come)
