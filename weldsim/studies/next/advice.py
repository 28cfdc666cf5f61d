"""`weldsim next`: readings after some welds against a study's branches; see `next_weld`.

What is predicted is the plan's measure, in all its columns. A column that was read stands where it
was read; one that was not stands where the model has it, moved by what the readings say of the
unknowns. What is still to come is scaled as the unknowns scale what each weld did so far.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice

import numpy as np

from weldsim.errors import CaseError
from weldsim.studies.next.estimate import Ahead, Estimate, Unknown, chance_inside, estimate
from weldsim.studies.next.given import (
    Read,
    check_measure,
    in_one_unit,
    open_study,
    read_moves,
    read_readings,
)
from weldsim.studies.next.past import Past, last_of, past_of
from weldsim.studies.next.unknowns import unknowns_of
from weldsim.studies.plan.ranking import ALL, evaluate
from weldsim.studies.plan.space import Plan

FAST_ERROR = 0.25  # of a movement, when the study has no error of its own
SI = 1e-3  # gauge columns are in mm and mrad


@dataclass(frozen=True)
class Advice:
    """What is known after a reading, and the ways to go on, best first.

    Attributes
    ----------
    columns : gauge columns that were read
    reading, expected : values read and what the model has there, in their units
    unknowns, estimate : what explains them
    ways : ranked by the chance of ending inside the tolerance, then by how far off
    notes : what the spread of a prediction rests on, and what was not looked at
    """

    columns: tuple[str, ...]
    reading: np.ndarray
    expected: np.ndarray
    unknowns: tuple[Unknown, ...]
    estimate: Estimate
    directions: tuple[Ahead, ...]
    notes: tuple[str, ...]


def ways_on(plan: Plan, done, record: dict | None) -> tuple[dict[int, list], str]:
    """Setting -> schedules that begin with the moves done, and in words what is left out.

    More than `ALL` are not computed: of those the ones the study looked at are taken.

    Raises
    ------
    CaseError
        If there is none.
    """
    settings = range(len(plan.settings))
    most = ALL // len(settings)
    left = list(islice(plan.continuations(done), most + 1))
    where = f"{plan.case.source_file}: after {plan.text(done)}"
    if not left:
        raise CaseError(f"{where}: no order that goes on from there is allowed")
    if len(left) <= most:
        return dict.fromkeys(settings, left), ""
    out: dict[int, list] = {}
    numbers = {s.changes: n for n, s in enumerate(plan.settings)}
    for row in record["rows"] if record else ():
        moves = tuple((s, w) for s, w in row["moves"])
        number = numbers.get(tuple(row["setting"]))
        if number is not None and moves[: len(done)] == tuple(done):
            out.setdefault(number, []).append(moves)
    if not out:
        raise CaseError(
            f"{where}: there are more than {ALL} ways on and no study looked at any of them, "
            "allowed: a [plan] with first, last, before or travel that leaves fewer"
        )
    count = sum(map(len, out.values()))
    return out, (
        f"there are more than {ALL} ways on: only the {count} that the study looked at are compared"
    )


def advise(
    plan: Plan, folder, done, columns, reading, found, noise=None, error=None, progress=None,
    record=None,
) -> Advice:  # fmt: skip
    """Explain a reading and rank the ways to go on.

    Parameters
    ----------
    plan : Plan
        Of something that a gauge reads.
    folder : path
        Of the study; branches that are missing are computed and kept there.
    done : row of moves welded so far
    columns, reading : what was read, in the columns' units
    found : crew
    noise : float, optional
        Standard deviation of each reading in its unit; `READ_OFF` when left out.
    error : (share, rest), optional
        How the study's ranking is off: share of a movement, and rest [SI]; a quarter of each
        movement when left out. A number is a rest alone.
    record : dict, optional
        Of the study; see `ways_on`.

    Returns
    -------
    Advice
    """
    check_measure(plan)
    if isinstance(error, float):
        error = (0.0, error)
    progress, done = progress or (lambda share, text: None), tuple(done)
    left, looked = ways_on(plan, done, record)
    unknowns = unknowns_of(plan)
    past = past_of(plan, folder, done, unknowns, found, lambda s, t: progress(0.5 * s, t))
    read = in_one_unit(plan, columns, reading, noise, past.now)
    known = _explained(plan, read, past, unknowns, error)
    here = _present(plan, read, past, known, error)
    directions = []
    for k, (number, schedules) in enumerate(left.items()):

        def tell(share, text, k=k):
            progress(0.5 + 0.5 * (k + share) / len(left), text)

        behind = past.now if number == 0 else last_of(plan, number, done, folder, found, tell)
        ends = evaluate(plan, number, schedules, plan.section.grade, folder, found, tell)
        directions += [
            _ahead(plan, number, moves[len(done) :], end.columns, behind, here, past, known, error)
            for moves, end in ends.items()
            if not end.error
        ]
    if not directions:
        raise CaseError(f"{plan.case.source_file}: no way on from there could be computed")
    directions.sort(key=lambda a: (-round(a.chance, 3), a.off, a.setting, a.moves))
    expected = np.array([past.now[c] for c in columns])
    notes = tuple(n for n in (looked, _error_words(plan, error)) if n)
    return Advice(
        tuple(columns), np.asarray(reading), expected, unknowns, known, tuple(directions), notes
    )


def _model_error(plan: Plan, column: str, values: dict, error) -> float:
    """Standard deviation of what the model has in a column, in its unit.

    The study's own error where the column is of its measure, else a share of how far all that is
    looked at in that unit stands off: a side that is to stand still is no surer than the other.
    """
    share, rest = (FAST_ERROR, 0.0)
    if error is not None and column in plan.measure_columns:
        share, rest = error
    unit = column.rpartition("_")[2]
    alike = [v for c, v in values.items() if c.rpartition("_")[2] == unit]
    return share * float(np.linalg.norm(alike)) + rest / SI


def _explained(plan: Plan, read: Read, past: Past, unknowns, error) -> Estimate:
    """Factors of the unknowns from all readings."""
    looked_at = {c: past.now[c] for c in (*plan.measure_columns, *read.columns)}
    expected = np.array([past.now[c] for c in read.columns])
    slopes = np.array([past.slopes[c][-1] for c in read.columns])
    # the model's own error of what lies behind counts as much as the eye's
    own = np.array([_model_error(plan, c, looked_at, error) for c in read.columns])
    return estimate(read.values, expected, slopes, unknowns, np.hypot(read.noise, own))


@dataclass(frozen=True)
class Present:
    """Where the measure stands now, M columns.

    Attributes
    ----------
    place : (M,) in the columns' units
    variance : (M,) but for that of the factors
    slopes : (M, U) change with each factor: none where the column was read
    shared : (M, U) covariance with the factors: a reading's own error moves both
    """

    place: np.ndarray
    variance: np.ndarray
    slopes: np.ndarray
    shared: np.ndarray


def _present(plan: Plan, read: Read, past: Past, known: Estimate, error) -> Present:
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
            own = _model_error(plan, column, now, error) ** 2
            rows.append((place, own, slope, np.zeros_like(slope)))
    return Present(*(np.array(part) for part in zip(*rows, strict=True)))


def _ahead(
    plan: Plan, setting, moves, end, behind, here: Present, past: Past, known: Estimate, error
) -> Ahead:
    """One way to go on: where the measure stands, plus what is to come as the unknowns scale it.

    `behind` is what the model reads after the moves done, under the setting of this way: so a pause
    or a current may change now, and counts for what is still to come.
    """
    columns = plan.measure_columns
    ahead = np.array([end[c] - behind[c] for c in columns])
    relative = past.relative(columns)
    mean = here.place + ahead * (1 + relative @ (known.factors - 1))
    slopes = here.slopes + np.outer(ahead, relative)
    to_come = dict(zip(columns, ahead, strict=True))
    own = np.array([_model_error(plan, c, to_come, error) for c in columns])
    both = here.shared @ slopes.T  # what a reading's error does to the place and to the factors
    covariance = (
        np.diag(here.variance + own**2) + slopes @ known.covariance @ slopes.T + both + both.T
    )
    mean, covariance = SI * mean, SI**2 * covariance
    chance = chance_inside(mean, covariance, plan.tolerance.value)
    return Ahead(tuple(moves), mean, covariance, chance, setting)


def _error_words(plan: Plan, error) -> str:
    words = (
        "spread of a prediction: reading, unknowns, and the study's stated error, of which at most "
        f"{FAST_ERROR:.0%} of a movement count: a mesh that is rough makes all ways too short alike"
        if error is not None
        else f"spread of a prediction: reading, unknowns, and {FAST_ERROR:.0%} of the movement to "
        "come, a guess: no finer run has been compared"
    )
    if len(plan.settings) > 1:
        words += f"; what lies behind was welded with {plan.settings[0].label}"
    return words


def study_error(record: dict | None) -> tuple[float, float] | None:
    """How the ranking of a study is off: share of a movement, and rest. [SI]

    Of a large share most is a factor that all ways have in common, which tells none from another:
    no more than `FAST_ERROR` of it counts.
    """
    drift = record.get("drift") if record else None
    if not drift or record["unit"] not in ("mrad", "mm", "mm/m"):
        return None
    return min(drift["share"], FAST_ERROR), SI * drift["rest"]


__all__ = [
    "Advice", "advise", "open_study", "read_moves", "read_readings",
    "study_error", "unknowns_of",
]  # fmt: skip
