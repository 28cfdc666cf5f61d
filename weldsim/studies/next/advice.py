"""Readings after some welds against a study's branches: what explains them, and how to go on.

What is predicted is the plan's measure, in all its columns. A column that was read stands where it
was read; one that was not stands where the model has it, moved by what the readings say of the
unknowns. What is still to come is scaled as the unknowns scale what each weld did so far.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from weldsim.errors import CaseError
from weldsim.schema.column import Column
from weldsim.studies.next.estimate import Ahead, Estimate, Unknown, chance_inside, estimate
from weldsim.studies.next.given import Read, check_measure, in_one_unit
from weldsim.studies.next.past import Past, last_of, past_of
from weldsim.studies.next.unknowns import unknowns_of
from weldsim.studies.plan.drift import Drift
from weldsim.studies.plan.executor import Executor
from weldsim.studies.plan.outcomes import Progress, evaluate
from weldsim.studies.plan.space import LARGEST_FULL_STUDY, Moves, Plan

ASSUMED_SHARE = 0.25  # of a movement: error of the ranking grade when a study states none


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
    """

    columns: tuple[Column, ...]
    reading: np.ndarray
    expected: np.ndarray
    unknowns: tuple[Unknown, ...]
    estimate: Estimate
    directions: tuple[Ahead, ...]
    drift: Drift | None = None
    looked_at: int | None = None


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
        raise CaseError(f"{where}: no order that goes on from there is allowed")
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
            f"{where}: there are more than {LARGEST_FULL_STUDY} ways on and no study looked at any "
            "of them, allowed: a [plan] with first, last, before or travel that leaves fewer"
        )
    return out, sum(map(len, out.values()))


def advise(
    plan: Plan,
    folder: str | Path,
    done: Moves,
    read: Read,
    executor: Executor,
    record: dict[str, Any] | None = None,
    drift: Drift | None = None,
    progress: Progress | None = None,
) -> Advice:
    """Explain a reading and rank the ways to go on.

    Parameters
    ----------
    plan : Plan
        Of something that a gauge reads.
    folder : path
        Of the study; branches that are missing are computed and kept there.
    done : row of moves
        Welded so far.
    read : Read
        What was read; see `read_readings`.
    executor : Executor
    record : dict, optional
        Of the study, as plan.json has it; see `ways_on`.
    drift : Drift, optional
        How the study's ranking is off; as the record has it, else `ASSUMED_SHARE` of each movement,
        when left out.
    progress : callable(share, text), optional

    Returns
    -------
    Advice

    Raises
    ------
    CaseError
        If the plan is of something no gauge reads, or there is no way on.
    """
    check_measure(plan)
    tell, done = progress or (lambda share, text: None), tuple(done)
    drift = drift or study_drift(record)
    left, looked_at = ways_on(plan, done, record)
    unknowns = unknowns_of(plan)
    past = past_of(plan, folder, done, unknowns, executor, lambda s, t: tell(0.5 * s, t))
    alike = in_one_unit(plan, read, past.now)
    known = _explained(plan, alike, past, unknowns, drift)
    here = _present(plan, alike, past, known, drift)
    directions = []
    for k, (number, schedules) in enumerate(left.items()):

        def told(share: float, text: str, k: int = k) -> None:
            tell(0.5 + 0.5 * (k + share) / len(left), text)

        behind = past.now if number == 0 else last_of(plan, number, done, folder, executor, told)
        ends = evaluate(plan, number, schedules, plan.section.grade, folder, executor, told)
        for moves, end in ends.items():
            if not end.error:
                to_come = np.array([end.readings[c] - behind[c] for c in plan.measure_columns])
                mean, covariance = _predicted(plan, to_come, here, past, known, drift)
                chance = chance_inside(mean, covariance, plan.tolerance.value)
                directions.append(Ahead(moves[len(done) :], mean, covariance, chance, number))
    if not directions:
        raise CaseError(f"{plan.case.source_file}: no way on from there could be computed")
    directions.sort(key=lambda a: (-round(a.chance, 3), a.off, a.setting, a.moves))
    expected = np.array([past.now[c] for c in read.columns])
    return Advice(
        read.columns, read.values, expected, unknowns, known, tuple(directions), drift, looked_at
    )


def _model_error(
    plan: Plan, column: Column, values: Mapping[Column, float], drift: Drift | None
) -> float:
    """Standard deviation of what the model has in a column. [SI]

    The study's own error where the column is of its measure, else a share of how far all that is
    looked at in that unit stands off: a side that is to stand still is no surer than the other.
    """
    share, rest = ASSUMED_SHARE, 0.0
    if drift is not None and column in plan.measure_columns:
        share, rest = drift.share, drift.rest
    alike = [v for c, v in values.items() if c.unit == column.unit]
    return share * float(np.linalg.norm(alike)) + rest


def _explained(
    plan: Plan, read: Read, past: Past, unknowns: tuple[Unknown, ...], drift: Drift | None
) -> Estimate:
    """Factors of the unknowns from all readings."""
    looked_at = {c: past.now[c] for c in (*plan.measure_columns, *read.columns)}
    expected = np.array([past.now[c] for c in read.columns])
    slopes = np.array([past.slopes[c][-1] for c in read.columns])
    # the model's own error of what lies behind counts as much as the eye's
    own = np.array([_model_error(plan, c, looked_at, drift) for c in read.columns])
    return estimate(read.values, expected, slopes, unknowns, np.hypot(read.noise, own))


@dataclass(frozen=True)
class Present:
    """Where the measure stands now, M columns.

    Attributes
    ----------
    place : ndarray, shape (M,)
        [SI]
    variance : ndarray, shape (M,)
        But for that of the factors.
    slopes : ndarray, shape (M, U)
        Change with each factor: none where the column was read.
    shared : ndarray, shape (M, U)
        Covariance with the factors: a reading's own error moves both.
    """

    place: np.ndarray
    variance: np.ndarray
    slopes: np.ndarray
    shared: np.ndarray


def _present(plan: Plan, read: Read, past: Past, known: Estimate, drift: Drift | None) -> Present:
    """Columns that were read stand there; others where the model has them with the factors."""
    at = {c: i for i, c in enumerate(read.columns)}
    now = {c: past.now[c] for c in plan.measure_columns}
    rows = []
    for column in plan.measure_columns:
        slope = past.slopes[column][-1]
        if column in at:
            i = at[column]
            noise = read.noise[i] ** 2
            rows.append((read.values[i], noise, np.zeros_like(slope), noise * known.gain[:, i]))
        else:
            place = now[column] + slope @ (known.factors - 1)
            own = _model_error(plan, column, now, drift) ** 2
            rows.append((place, own, slope, np.zeros_like(slope)))
    return Present(*(np.array(part) for part in zip(*rows, strict=True)))


def _predicted(
    plan: Plan, ahead: np.ndarray, here: Present, past: Past, known: Estimate, drift: Drift | None
) -> tuple[np.ndarray, np.ndarray]:
    """Mean (M,) and covariance (M, M) of the end of one way to go on. [SI]

    Where the measure stands, plus what is to come (`ahead`, as the model has it under the setting
    of this way) as the unknowns scale it.
    """
    columns = plan.measure_columns
    relative = past.relative(columns)
    mean = here.place + ahead * (1 + relative @ (known.factors - 1))
    slopes = here.slopes + np.outer(ahead, relative)
    to_come = dict(zip(columns, ahead, strict=True))
    own = np.array([_model_error(plan, c, to_come, drift) for c in columns])
    both = here.shared @ slopes.T  # what a reading's error does to the place and to the factors
    covariance = (
        np.diag(here.variance + own**2) + slopes @ known.covariance @ slopes.T + both + both.T
    )
    return mean, covariance


def study_drift(record: dict[str, Any] | None) -> Drift | None:
    """How the ranking of a study is off, from its record; None where it does not say.

    Of a large share most is a factor that all ways have in common, which tells none from another:
    no more than `ASSUMED_SHARE` of it counts.
    """
    drift = record.get("drift") if record else None
    if not drift or record["unit"] not in ("mrad", "mm", "mm/m"):
        return None
    return Drift(min(drift["share"], ASSUMED_SHARE), 1e-3 * drift["rest"], 0)
