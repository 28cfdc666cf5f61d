"""The ranked table: one row for a sequence and its mirror images, all ends stated at one grade.

Pure bookkeeping on outcomes: what was run again at the finer grade stands as it ended there, the
rest where the ranking has it, multiplied as `drift` found it; so no row is compared with a row of
another grade.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from weldsim.schema.tolerance import verdict
from weldsim.studies.plan.drift import Drift, apart, drift_between, spot
from weldsim.studies.plan.outcomes import Outcome
from weldsim.studies.plan.shop_spread import ShopSpread
from weldsim.studies.plan.space import Moves, Plan

Key = tuple[int, Moves]  # number of a setting, and a sequence
TWO_ROWS = 2**0.5  # error of a difference over that of either row


@dataclass(frozen=True)
class Row:
    """One line of the table: a sequence, its setting, and what is known of it.

    Attributes
    ----------
    setting : int
        Number in `plan.settings`.
    moves : tuple of (seam, direction)
        One of those that end alike.
    fast, confirmed : Outcome
        Of the ranking, and of the finer run where there is one.
    end : float
        The measure at the end, at the grade of the whole table (`Study.grade`). [SI]
    error : float or None
        Estimated error of `end`: the step from the ranking's grade to that of the table; where the
        latter was not run, that step as it is foreseen, and the error of foreseeing it. None where
        there is none. [SI]
    worst : float
        Its largest value on the way, at that grade too. [SI]
    grade : str
        Of the finest run of this row.
    images : tuple of rows of moves
        Its mirror images among the sequences looked at: they end as far off.
    interval : (float, float) or None
        Between what ends the measure is expected, None where nothing says so. From `error` here;
        a study of the shop's spread may put a wider one. [SI]
    coarser : Outcome or None
        At a grade coarser than the ranking's, where that was run too.
    """

    setting: int
    moves: Moves
    fast: Outcome
    confirmed: Outcome | None
    end: float
    error: float | None
    worst: float
    grade: str
    images: tuple[Moves, ...] = ()
    interval: tuple[float, float] | None = None
    coarser: Outcome | None = None

    @property
    def best(self) -> Outcome:
        """The finer of the two runs."""
        return self.confirmed or self.fast

    @property
    def count(self) -> int:
        """How many sequences it stands for."""
        return 1 + len(self.images)


@dataclass(frozen=True)
class UnderWay:
    """How far a study is that has not ended.

    Attributes
    ----------
    share : float
        Of the work, 0 to 1.
    text : str
        What is computed, and about how long it takes yet.
    """

    share: float
    text: str


@dataclass(frozen=True)
class Study:
    """What a study has found; rows in order, the recommended one first.

    Attributes
    ----------
    plan : Plan
    rows : tuple of Row
        Mirror images share one.
    searched : bool
        Whether a search proposed the sequences; else all that are allowed are run.
    seconds : float
        Wall time.
    branches : int
        How many lie in the study folder.
    drift : Drift or None
        How the ranking grade is off; None without an estimate.
    under_way : UnderWay or None
        While it is computed: rows are those known by then.
    spread : ShopSpread or None
        How far parts of the shop scatter, where a band was made.
    """

    plan: Plan
    rows: tuple[Row, ...]
    searched: bool
    seconds: float
    branches: int
    drift: Drift | None = None
    under_way: UnderWay | None = None
    spread: ShopSpread | None = None

    @property
    def grade(self) -> str:
        """The grade at which the ends of all rows are stated."""
        section = self.plan.section
        return section.confirm_grade if _is_carried(self.drift) else section.grade

    @property
    def count(self) -> int:
        """How many sequences the rows stand for."""
        return sum(row.count for row in self.rows)

    def spot(self, row: Row) -> np.ndarray:
        """Where a row ends, at the grade of the table.

        Parameters
        ----------
        row : Row
            One of `rows`.

        Returns
        -------
        ndarray, (C,)
            In the columns of the measure. [SI]
        """
        if self.drift is None or not self.drift.carried:
            return spot(self.plan, row.fast)
        if row.confirmed:
            return spot(self.plan, row.confirmed)
        return self.drift.carry(spot(self.plan, row.fast), _coarser_spot(self.plan, row.coarser))

    @property
    def error_of_difference(self) -> float | None:
        """Estimated error of the difference of two ends that lie close; what a coarse mesh does to
        all rows alike is no part of it. None where nothing says so. [SI]"""
        return None if self.drift is None else TWO_ROWS * self.drift.rest

    def error_between(self, a: Row, b: Row) -> float | None:
        """Estimated error of the difference of two rows' ends.

        What the drift leaves strikes each row by itself; what it takes off all rows by the same
        factors cancels, but for the doubt about the factors, which counts for what lies between
        the two spots. (Variance of the difference of two predictions of one regression.)

        Parameters
        ----------
        a, b : Row
            Two of `rows`.

        Returns
        -------
        float or None
            None where there is no estimate. [SI]
        """
        if self.drift is None or a.best.error or b.best.error:
            return None
        between = float(np.linalg.norm(self.spot(a) - self.spot(b)))
        return float(self.drift.rest * np.hypot(TWO_ROWS, between / self.drift.reach))

    def told_apart(self, a: Row, b: Row) -> bool | None:
        """Whether two rows end further apart than the estimated error of their difference.

        Parameters
        ----------
        a, b : Row
            Two of `rows`.

        Returns
        -------
        bool or None
            None where there is no estimate.
        """
        error = self.error_between(a, b)
        return None if error is None else bool(abs(a.end - b.end) > error)

    def level_with_first(self) -> int:
        """How many rows cannot be told apart from the first.

        Returns
        -------
        int
            The first counted.
        """
        first = self.rows[0]
        return 1 + sum(self.told_apart(first, row) is False for row in self.rows[1:])


def _coarser_spot(plan: Plan, outcome: Outcome | None) -> np.ndarray | None:
    return None if outcome is None or outcome.error else spot(plan, outcome)


def _is_carried(drift: Drift | None) -> bool:
    return drift is not None and drift.carried


def is_late(plan: Plan, outcome: Outcome) -> bool:
    """Whether a sequence takes longer than the plan allows."""
    longest = plan.section.longest
    return longest is not None and outcome.time > longest


def to_confirm(plan: Plan, good: Iterable[Key], groups: Mapping[Key, Key]) -> list[Key]:
    """The best few, and the middle and last one so that the error is not that of good ones alone.

    Mirror images tie and share their branches: they count as one and come along for nothing.
    """
    count = plan.section.confirm
    by_group: dict[Key, list[Key]] = {}
    for key in good:
        by_group.setdefault(groups[key], []).append(key)
    distinct = list(by_group.values())
    picked = distinct[:count]
    if count and len(distinct) > 2 * count:
        picked += [distinct[len(distinct) // 2], distinct[-1]]
    return [key for group in picked for key in group]


def ranked(
    plan: Plan,
    fast: Mapping[Key, Outcome],
    finer: Mapping[Key, Outcome],
    groups: Mapping[Key, Key],
    coarser: Mapping[Key, Outcome] | None = None,
) -> tuple[Row, ...]:
    """Rows in order, best first; of the best few the one that ended best when it was run again."""
    coarser = coarser or {}
    drift = drift_between(plan, fast, finer, groups, coarser)
    images: dict[Key, list[Key]] = {}
    for key in fast:
        images.setdefault(groups[key], []).append(key)
    rows = [_row(plan, alike, fast, finer, drift, coarser) for alike in images.values()]

    def place(row: Row) -> tuple[bool, bool, float, int, Moves]:
        failed = bool(row.fast.error)
        return failed, is_late(plan, row.best), row.end, row.setting, row.moves

    # which few are the best the ranking says: ends of two grades are not compared
    rows.sort(key=lambda r: (bool(r.fast.error), is_late(plan, r.fast), r.fast.final, r.moves))
    few = {(r.setting, r.moves) for r in rows[: plan.section.confirm] if r.confirmed}
    rows.sort(key=place)
    if drift is not None and drift.carried:
        return tuple(_surest_first(plan, rows, drift))
    first = [r for r in rows if (r.setting, r.moves) in few]
    first.sort(key=lambda r: (is_late(plan, r.best), r.best.final, r.setting, r.moves))
    return (*first, *(r for r in rows if (r.setting, r.moves) not in few))


def _surest_first(plan: Plan, rows: list[Row], drift: Drift) -> list[Row]:
    """Of those that cannot be told apart from the first, one that was run again leads."""
    level = [
        row for row in rows
        if not row.best.error and is_late(plan, row.best) == is_late(plan, rows[0].best)
        and abs(row.end - rows[0].end) <= TWO_ROWS * drift.rest
    ]  # fmt: skip
    lead = next((row for row in level if row.confirmed), rows[0])
    return [lead, *(row for row in rows if row is not lead)]


def overlooked(study: Study) -> list[Key]:
    """The best few that were not run again and are expected to end nearer than any that was: the
    finer grade, or a row's own step to it, did not bear the ranking out."""
    if not _is_carried(study.drift):
        return []
    plan, sure = study.plan, [row.end for row in study.rows if row.confirmed]
    better = [
        row for row in study.rows
        if row.confirmed is None and not row.best.error and row.end < min(sure)
        and not is_late(plan, row.best)
    ]  # fmt: skip
    better.sort(key=lambda row: row.end)
    few = better[: plan.section.confirm]
    return [(row.setting, moves) for row in few for moves in (row.moves, *row.images)]


def _row(
    plan: Plan,
    alike: list[Key],
    fast: Mapping[Key, Outcome],
    finer: Mapping[Key, Outcome],
    drift: Drift | None,
    coarser: Mapping[Key, Outcome],
) -> Row:
    """The row of sequences that are mirror images of each other."""
    key = next((k for k in alike if k in finer and not finer[k].error), alike[0])
    outcome, sure = fast[key], finer.get(key)
    if sure is not None and sure.error:
        sure = None
    end, worst, error = outcome.final, outcome.worst, None
    if drift is not None and not outcome.error:
        there = spot(plan, outcome)
        error = drift.error(there)
        if drift.carried:
            carried = drift.carry(there, _coarser_spot(plan, coarser.get(key)))
            end = float(np.linalg.norm(carried))
            worst *= end / outcome.final if outcome.final else 1.0
            # as a run at the finer grade would state it, and that this one was not made
            error += float(np.linalg.norm(carried - there))
        if sure is not None:
            # a step may be small by luck: no row is held surer than the rest are
            error = max(apart(plan, outcome, sure), drift.rest)
            if drift.carried:
                end, worst = sure.final, sure.worst
    grade = plan.section.confirm_grade if sure else plan.section.grade
    interval = None if error is None else (max(end - error, 0.0), end + error)
    rest = tuple(moves for _, moves in alike if moves != key[1])
    return Row(
        *key, outcome, sure, end, error, worst, grade, rest, interval, coarser.get(key)
    )  # fmt: skip


def row_verdict(plan: Plan, row: Row) -> str:
    """Whether a row ends inside the tolerance, in words of `tolerance.verdict`."""
    if row.best.error:
        return "failed"
    if is_late(plan, row.best):
        return "takes too long"
    if row.error is None:
        inside = row.end <= plan.tolerance.value
        return ("inside" if inside else "outside") + ", no estimated error"
    return verdict(row.end, row.error, plan.tolerance)
